"""The clocks of one specimen: oscillator, divider chain or gate array, exact ratios, and the wait pattern that is one
of them."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

import numpy as np

from simulated_instruments.board.condition import Condition
from simulated_instruments.board.levels import HIGH, LOW, UNDRIVEN, Palette
from simulated_instruments.board.palettes import Palettes
from simulated_instruments.board.signals import Signals
from simulated_instruments.board.stepped import Stepped
from simulated_instruments.board.tolerance import Tolerance
from simulated_instruments.board.waveform import Constant, Waveform

# Duty of the oscillator's buffer, which depends on its threshold; dividers give one half.
DUTY = (0.44, 0.56)
DIVIDED_DUTY = (0.48, 0.52)


class ClockTree:
    """Frequencies and waveforms of the clock nets. All start together when the oscillator has started."""

    def __init__(self, signals: Signals, condition: Condition, tolerance: Tolerance, palettes: Palettes) -> None:
        self.signals, self.condition = signals, condition
        self._tolerance, self._palettes = tolerance, palettes
        self.nets = frozenset({signals.master_net, *signals.divided})

    @cached_property
    def master(self) -> float:
        """Hz of the crystal of this specimen."""
        cut = self._tolerance.factor("crystal", self.signals.spread)
        return self.signals.master * cut * self.condition.master_factor

    def runs(self, net: str) -> bool:
        """Whether `net` has a clock once the oscillator runs."""
        return not self.condition.master_dead and self.condition.branch(net) > 0.0

    def hertz(self, net: str) -> float:
        """Frequency of a clock net that runs."""
        factor = 1.0 if net == self.signals.master_net else self.condition.branch(net)
        return self.master / self.signals.ratio(net) * factor

    def wave(self, net: str, since: float | None) -> Waveform:
        """The clock net, running since `since` (None: its oscillator does not run)."""
        palette = self._palettes.of(net)
        if net == self.signals.cpu_clock and self.condition.clock_volts is not None:
            palette = weakened(palette, self.condition.clock_volts)
        if self.condition.master_dead:
            # A counter without its clock stays at whatever it woke up with.
            woke = LOW if self._tolerance.uniform(f"idle {net}", 0.0, 1.0) < 0.5 else HIGH
            return Constant(palette.volts(self.condition.clock_code if net == self.signals.master_net else woke))
        if since is None:
            return Constant(palette.volts(LOW))
        if not self.runs(net):
            return Constant(palette.volts(self.condition.branch_code))
        period = 1.0 / self.hertz(net)
        limits = DUTY if net == self.signals.master_net else DIVIDED_DUTY
        duty = self._tolerance.uniform(f"duty {net}", *limits)
        return square(palette, period, duty, since)

    def own(self, net: str, since: float | None) -> Waveform:
        """What the divider gives at its own leg of `net`, where a break keeps that from the net itself."""
        if since is None or net == self.signals.master_net or self.condition.branch(net) > 0.0:
            return self.wave(net, since)
        period = self.signals.ratio(net) / self.master
        return square(self._palettes.of(net), period, self._tolerance.uniform(f"duty {net}", *DIVIDED_DUTY), since)

    def waits(self, palette: Palette, since: float | None) -> Waveform:
        """The wait line: pulled up, or let go in one CPU clock of every aligned slot, where T2 is to end."""
        aligned, net = self.signals.aligned, self.signals.cpu_clock
        if not aligned:
            return Constant(palette.volts(UNDRIVEN))
        if since is None or not self.runs(net):
            return Constant(palette.volts(HIGH))
        period = aligned / self.hertz(net)
        return square(palette, period, 1.0 / aligned, since + period / aligned)

    def divider_kind(self, kinds: Mapping[str, str]) -> str:
        """The kind of part that divides."""
        return "divider" if "divider" in kinds else "gate array"


def weakened(palette: Palette, volts: float) -> Palette:
    """The same, with a high of `volts` that comes slowly."""
    targets, constants = palette.targets.copy(), palette.constants.copy()
    targets[HIGH], constants[HIGH] = volts, 2.0 * constants[HIGH]
    return Palette(targets, constants)


def square(palette: Palette, period: float, duty: float, origin: float) -> Stepped:
    """High for the share `duty` of each period from `origin` on."""
    return palette.wave(np.array([0.0, duty * period]), np.array([HIGH, LOW]), period, origin)
