"""The video nets of one specimen: sync, picture, interrupt and composite output as waveforms, for fixed and programmed
timing."""

from __future__ import annotations

import numpy as np

from simulated_instruments.board import video
from simulated_instruments.board.clocks import ClockTree
from simulated_instruments.board.condition import Condition
from simulated_instruments.board.levels import HIGH, LOW, SHORT, UNDRIVEN, Palette
from simulated_instruments.board.palettes import Palettes
from simulated_instruments.board.signals import FIXED, Signals
from simulated_instruments.board.tolerance import Tolerance
from simulated_instruments.board.waveform import Constant, Joined, Waveform

INTERRUPTS = ("INT", "IRQ")


class VideoNets:
    """Waveforms of the nets in `video.NETS`."""

    def __init__(self, signals: Signals, condition: Condition, tolerance: Tolerance, clocks: ClockTree) -> None:
        self._signals, self._condition, self._clocks = signals, condition, clocks
        self._tolerance, self._palettes = tolerance, Palettes(tolerance)
        self._timing = signals.video

    def wave(self, net: str, clock: float | None, programmed: float | None, content: str) -> Waveform:
        """`net` with the clock running since `clock` and timing as intended since `programmed` (None: never)."""
        palette = self._palettes.of(net)
        if net == "VIDEO" and self._condition.output_volts is not None:
            return Constant(self._condition.output_volts)
        still = self._still(net, palette)
        if clock is None or not self._clocks.runs(self._timing.clock) or self._condition.video_dead:
            return still
        if self._timing.kind == FIXED:
            return self._regular(net, palette, clock, content)
        before = self._unprogrammed(net, palette, clock)
        if programmed is None:
            return before
        return Joined([clock, programmed], [before, self._regular(net, palette, programmed, content)])

    def _still(self, net: str, palette: Palette) -> Waveform:
        """`net` while its source does not move: what a dead or unclocked one leaves, and what follows from that."""
        code = self._condition.sync_code if self._condition.video_dead else LOW
        if net in INTERRUPTS:
            return Constant(palette.volts(UNDRIVEN))
        if net == "VIDEO":
            # Separate syncs are active high, a composite one is active low; an open net reads high.
            in_sync = (code == LOW) == (self._timing.kind == FIXED)
            return Constant(palette.volts(video.COMPOSITE_SYNC if in_sync else video.COMPOSITE_BLACK))
        return Constant(palette.volts(code if net != "PICTURE" else LOW))

    def _regular(self, net: str, palette: Palette, origin: float, content: str) -> Waveform:
        timing = self._timing
        hertz = self._clocks.hertz(timing.clock)
        if net == "HSYNC":
            edges, codes = video.line_sync(timing)
            return palette.wave(edges / hertz, codes, timing.line / hertz, origin)
        edges, codes = self._field_pattern(net, content)
        return palette.wave(edges / hertz, codes, timing.field / hertz, origin)

    def _field_pattern(self, net: str, content: str) -> video.Edges:
        timing = self._timing
        if net in INTERRUPTS:
            return video.interrupt(timing)
        if net == "CSYNC":
            return video.composite_sync(timing)
        if net == "VSYNC":
            return video.field_sync(timing)
        dots = video.picture(timing, content, self._tolerance.generator(f"screen {content}"))
        if self._condition.picture_code is not None:
            dots = still(self._condition.picture_code)
        if net == "PICTURE":
            return dots
        dots = self._as_seen("PICTURE", dots)
        if timing.kind == FIXED:
            return video.composite(self._as_seen("CSYNC", video.composite_sync(timing)), dots)
        lines, fields = video.line_sync(timing), video.field_sync(timing)
        mixed = video.separate(self._as_seen("HSYNC", lines), self._as_seen("VSYNC", fields), timing)
        return video.composite(mixed, dots)

    def _as_seen(self, net: str, edges: video.Edges) -> video.Edges:
        """What the output stage sees of `net`: its edges, or the level at which the net or the stage's own leg
        stays."""
        code = self._condition.seen.get(net, self._condition.held.get(net))
        return edges if code is None else still(LOW if code in (LOW, SHORT) else HIGH)

    def _unprogrammed(self, net: str, palette: Palette, clock: float) -> Waveform:
        """A controller whose registers hold what they came up with: perhaps line pulses, never a field."""
        rate = video.unprogrammed_line(self._clocks.hertz(self._timing.clock), self._tolerance)
        if rate == 0.0 or net not in ("HSYNC", "VIDEO"):
            return self._still(net, palette)
        edges, codes = video.line_sync(self._timing)
        edges = edges / self._clocks.hertz(self._timing.clock)
        if net == "HSYNC":
            return palette.wave(edges, codes, 1.0 / rate, clock)
        return palette.wave(edges, 1 - codes, 1.0 / rate, clock)


def still(code: int) -> video.Edges:
    """The edges of a net that stays at a level."""
    return np.zeros(1), np.full(1, LOW if code in (LOW, SHORT) else HIGH, dtype=np.int64)
