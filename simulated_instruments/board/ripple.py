"""The ripple a board's own load makes on its rail: line and field of the video, and the steps of the CPU's work.

It knows amplitudes and times, no part. The three shares add up to the whole peak-to-peak figure when they coincide,
which within a few fields they do.
"""

from __future__ import annotations

import numpy as np

from simulated_instruments.board.waveform import Array

LINE_SHARE, FIELD_SHARE, WORK_SHARE = 0.40, 0.25, 0.35
STEPS = 4096
STEP = 2.3e-6  # s; about an instruction
BLANKED = 0.08  # share of a field in which the display logic rests


class Switching:
    """What a converter leaves on its output and its input: a triangle, `whole` volts peak to peak at `hertz`."""

    def __init__(self, whole: float, hertz: float) -> None:
        self.whole, self.hertz = whole, hertz

    def samples(self, times: Array) -> Array:
        """Volts at `times` (s)."""
        turns = times * self.hertz
        turns -= np.floor(turns)
        volts: Array = self.whole * (np.where(turns < 0.4, turns / 0.4, (1.0 - turns) / 0.6) - 0.5)
        return volts


class Ripple:
    """Volts about zero, `whole` peak to peak, for a line of `line` seconds and a field of `field` seconds."""

    def __init__(self, whole: float, line: float, field: float, generator: np.random.Generator) -> None:
        self.whole, self.line, self.field = whole, line, field
        steps = generator.uniform(-0.5, 0.5, STEPS)
        self._steps: Array = steps / float(np.ptp(steps))

    def samples(self, times: Array) -> Array:
        """Volts at `times` (s)."""
        line = times / self.line
        line -= np.floor(line)
        # Down while a line is drawn, up again in its blanking: 51 µs of 64 (BT.470).
        saw = np.where(line < 0.8, 0.5 - line / 0.8, (line - 0.8) / 0.2 - 0.5)
        field = times / self.field
        field -= np.floor(field)
        rest = np.where(field < BLANKED, 0.5, -0.5)
        work = self._steps[(np.floor(times / STEP)).astype(np.int64) % STEPS]
        volts: Array = self.whole * (LINE_SHARE * saw + FIELD_SHARE * rest + WORK_SHARE * work)
        return volts
