"""Readings of a simulated multimeter: settings of each function, trigger model, reading times and reading memory.

What the command sets of meters share; the measuring itself is `MeterInput`. It reads no command parameters and must not
know what is connected.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from autobench.clock import Clock
from autobench.protocols.scpi import ScpiError
from simulated_instruments.devices.command_tree import Answer, Later
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.meter_input import FUNCTIONS, Function, MeterInput, Setup
from simulated_instruments.devices.terminals import MeterTerminals


@dataclass
class Ranging:
    """The settings of one function, as after `*RST`."""

    place: int
    auto: bool = True
    cycles: float = 10.0


@dataclass(frozen=True)
class Acquisition:
    """Readings under way: complete at `ready_at`, when `finish` makes them."""

    ready_at: float
    finish: Callable[[], list[float]]


def written(value: float) -> str:
    """A number as this meter answers it."""
    return f"{value:+.8E}"


def range_for(function: Function, size: float) -> int:
    """The place of the smallest range that holds `size`; raises -222 beyond the largest."""
    for place, span in enumerate(function.ranges):
        if abs(size) <= span:
            return place
    raise ScpiError(-222, f"{size:g} {function.unit}")


class ReadingMeter(Device):
    """`held_range` (V) and `held_cycles`: switches for a bench fault; the front panel holds a range or an integration
    time, whatever is sent.
    """

    def __init__(self, name: str, clock: Clock, terminals: MeterTerminals, seed: int = 0) -> None:
        super().__init__(name, clock, seed)
        self.input = MeterInput(terminals, seed, name)
        self.held_range: float | None = None
        self.held_cycles: float | None = None
        self.reset()

    def reset(self) -> None:
        self.preset(FUNCTIONS["VOLT"])

    def preset(self, function: Function) -> None:
        """What `CONFigure` and `MEASure` start from: every setting of every function, trigger included."""
        self.settings = {
            each.name: Ranging(len(each.ranges) // 2, cycles=1.0 if each.fixed else 10.0) for each in FUNCTIONS.values()
        }
        self.autozero = True
        self.high_impedance = False
        self.on_bus = False
        self.delay: float | None = None  # seconds; None for the meter's own choice
        self.samples = 1
        self.select(function)

    def select(self, function: Function) -> None:
        self.function = function
        self.idle()
        self.input.drive(function, self.settings[function.name].place)

    def idle(self) -> None:
        """Any new setting ends what is under way and forgets what was read."""
        self._waiting = False
        self._acquisition: Acquisition | None = None
        self._memory: list[float] | None = None
        self.operations_end = -math.inf

    def abandon(self) -> None:
        self.idle()

    def progress(self) -> None:
        if self._acquisition is not None and self.clock.now() >= self._acquisition.ready_at:
            self._memory = self._acquisition.finish()
            self._acquisition = None

    def setup(self) -> Setup:
        """How the next reading would be made."""
        ranging = self.settings[self.function.name]
        place, auto, cycles = ranging.place, ranging.auto, self.cycles_of(self.function.name)
        if self.held_range is not None and self.function.name == "VOLT":
            place, auto = range_for(self.function, self.held_range), False
        return Setup(self.function, place, auto, cycles, self.autozero, self.high_impedance)

    def cycles_of(self, name: str) -> float:
        """Line cycles that a reading of a function takes: those set, unless the front panel holds others."""
        return self.settings[name].cycles if self.held_cycles is None else self.held_cycles

    def plan(self) -> tuple[float, Callable[[], list[float]]]:
        """Seconds that the readings take from now on, and the function that makes them at the end of that time."""
        setup, seconds = self.input.ranged(self.setup())
        self.keep_range(setup)
        settle = setup.function.settles[setup.place] if self.delay is None else self.delay
        seconds += self.samples * (settle + setup.aperture * (2 if setup.autozero else 1))
        samples = self.samples

        def finish() -> list[float]:
            ranged, _ = self.input.ranged(setup)  # the value may have left the range it was found in
            self.keep_range(ranged)
            return [self.input.reading(ranged) for _ in range(samples)]

        return seconds, finish

    def keep_range(self, setup: Setup) -> None:
        ranging = self.settings[setup.function.name]
        if setup.auto and ranging.auto:
            ranging.place = setup.place

    def read(self) -> Answer:
        """`READ?`: readings go straight to the answer, not to the memory."""
        self._refuse_busy()
        if self.on_bus:
            raise ScpiError(-214)
        self.idle()
        seconds, finish = self.plan()
        return Later(seconds, lambda: ",".join(map(written, finish())))

    def initiate(self) -> Answer:
        self._refuse_busy()
        self._memory = None
        if self.on_bus:
            self._waiting = True
            self.operations_end = math.inf
        else:
            self._start()
        return None

    def _refuse_busy(self) -> None:
        self.progress()
        if self._waiting or self._acquisition is not None:
            raise ScpiError(-213)

    def _start(self) -> None:
        self._waiting = False
        seconds, finish = self.plan()
        self.operations_end = self.free_at + seconds
        self._acquisition = Acquisition(self.operations_end, finish)

    def trigger(self) -> Answer:
        if not self._waiting:
            raise ScpiError(-211)
        self._start()
        return None

    def abort(self) -> Answer:
        self.idle()
        return None

    def fetch(self) -> Answer:
        self.progress()
        if self._waiting:
            raise ScpiError(-214)
        if self._acquisition is not None:
            return Later(max(0.0, self._acquisition.ready_at - self.free_at), self._fetched)
        if self._memory is None:
            raise ScpiError(-230)
        return self._fetched()

    def _fetched(self) -> str:
        if self._acquisition is not None:
            self._memory, self._acquisition = self._acquisition.finish(), None
        return ",".join(map(written, self._memory or []))
