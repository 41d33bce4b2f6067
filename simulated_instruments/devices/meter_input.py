"""The measuring side of a simulated 6½-digit multimeter: functions, ranges, autoranging, errors and noise.

Reads its terminals through a port and returns readings as the display would show them. It speaks no SCPI and keeps no
settings beyond the ranges; the command set is `simulated_instruments.devices.meter_conf_read`.
"""

from __future__ import annotations

from dataclasses import dataclass

from simulated_instruments.devices.noise import ReadingNoise, trait
from simulated_instruments.devices.terminals import MeterTerminals

LINE = 50.0  # Hz
OVERLOAD = 9.9e37  # SCPI-1999 vol. 1, 7.2.1.4
OVER_RANGE, UNDER_RANGE = 1.2, 0.1  # parts of a range: autoranging goes up beyond the one, down below the other
COMPLIANCE = 8.0  # V that the ohms source gives at most
OPEN_INPUT = 1e10  # ohms
DIVIDER_INPUT = 1e7  # ohms
LOWEST_DIVIDED_RANGE = 100.0  # V; from here up the input divider cannot be taken off
SPECIMEN = 0.8  # a specimen's own error, as a part of its class; noise and quantisation need the rest

# Integration in line cycles -> resolution as a part of range (what is asked for), noise and smallest step alike.
RESOLUTIONS = {0.02: 1e-4, 0.2: 1e-5, 1.0: 3e-6, 10.0: 1e-6, 100.0: 3e-7}
NOISES = {0.02: 3e-5, 0.2: 4e-6, 1.0: 1e-6, 10.0: 3e-7, 100.0: 1e-7}
STEPS = {0.02: 1e-4, 0.2: 1e-5, 1.0: 1e-6, 10.0: 1e-6, 100.0: 1e-7}


@dataclass(frozen=True)
class Function:
    """What a meter can measure: its ranges in its own unit, and its accuracy as parts of reading and of range.

    `currents` (A) are forced from HI to LO, one a range; `settles` and `range_times` (s) are waited, one a range.
    """

    name: str
    unit: str
    ranges: tuple[float, ...]
    of_reading: float
    of_range: float
    currents: tuple[float, ...] = ()
    settles: tuple[float, ...] = ()
    range_times: tuple[float, ...] = ()

    @property
    def fixed(self) -> bool:
        """Whether there is nothing to range."""
        return len(self.ranges) == 1


OHMS = (1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8)
OHMS_CURRENTS = (1e-3, 1e-3, 1e-4, 1e-5, 5e-6, 5e-7, 5e-8)
OHMS_SETTLES = (0.003, 0.003, 0.013, 0.025, 0.06, 0.2, 0.3)
OHMS_RANGE_TIMES = (0.05, 0.05, 0.05, 0.08, 0.1, 0.15, 0.15)
FUNCTIONS = {
    function.name: function
    for function in (
        Function(
            "VOLT", "V", (0.1, 1.0, 10.0, 100.0, 1000.0), 35e-6, 5e-6, (), (0.002,) * 3 + (0.005, 0.01), (0.03,) * 5
        ),
        Function("CURR", "A", (0.01, 0.1, 1.0, 3.0), 500e-6, 50e-6, (), (0.002,) * 4, (0.03,) * 4),
        Function("RES", "OHM", OHMS, 100e-6, 10e-6, OHMS_CURRENTS, OHMS_SETTLES, OHMS_RANGE_TIMES),
        Function("FRES", "OHM", OHMS, 100e-6, 10e-6, OHMS_CURRENTS, OHMS_SETTLES, OHMS_RANGE_TIMES),
        Function("CONT", "OHM", (1e3,), 100e-6, 20e-6, (1e-3,), (0.003,), (0.0,)),
        Function("DIOD", "V", (1.0,), 100e-6, 20e-6, (1e-3,), (0.003,), (0.0,)),
    )
}


@dataclass(frozen=True)
class Setup:
    """How one reading is made. `place` is the range's place in the function's ranges."""

    function: Function
    place: int
    auto: bool
    cycles: float
    autozero: bool
    high_impedance: bool

    @property
    def aperture(self) -> float:
        """Seconds of integration."""
        return self.cycles / LINE

    def at(self, place: int) -> Setup:
        """The same in another range."""
        return Setup(self.function, place, self.auto, self.cycles, self.autozero, self.high_impedance)


class MeterInput:
    """The terminals of a meter, and this specimen's errors."""

    def __init__(self, terminals: MeterTerminals, seed: int, name: str) -> None:
        self.terminals = terminals
        self.seed = seed
        self.name = name
        self._noise = ReadingNoise(seed)
        self._driven: float | None = None

    def drive(self, function: Function, place: int) -> None:
        """Force the test current of a function and range, or none."""
        amps = function.currents[place] if function.currents else 0.0
        if amps != self._driven:
            self._driven = amps
            self.terminals.drive(amps, COMPLIANCE if amps else 0.0)

    def seen(self, setup: Setup) -> float:
        """What an ideal meter would read now, in the function's unit."""
        function = setup.function
        self.drive(function, setup.place)
        if function.name == "CURR":
            return 0.0  # the current jack is not wired: only its own errors are read
        divided = not setup.high_impedance or function.ranges[setup.place] >= LOWEST_DIVIDED_RANGE
        input_ohms = DIVIDER_INPUT if divided and not function.currents else OPEN_INPUT
        volts = self.terminals.volts(input_ohms, setup.aperture)
        if function.currents and function.unit == "OHM":
            return volts / function.currents[setup.place]
        return volts

    def ranged(self, setup: Setup) -> tuple[Setup, float]:
        """The setup after autoranging for what is at the terminals now, and the seconds that took."""
        seconds = 0.0
        ranges = setup.function.ranges
        went_down = came_back = False
        while setup.auto and not setup.function.fixed and not came_back:
            size = abs(self.seen(setup))
            if size > OVER_RANGE * ranges[setup.place] and setup.place + 1 < len(ranges):
                # Where its own load or test current moves the value, up after down would go on for ever.
                came_back, setup = went_down, setup.at(setup.place + 1)
            elif size < UNDER_RANGE * ranges[setup.place] and setup.place > 0:
                went_down, setup = True, setup.at(setup.place - 1)
            else:
                break
            seconds += setup.function.range_times[setup.place]
        return setup, seconds

    def reading(self, setup: Setup) -> float:
        """One reading with this specimen's errors, noise and steps; ±9.9E37 for an overload."""
        function, span = setup.function, setup.function.ranges[setup.place]
        key = (self.name, function.name, span)
        value = self.seen(setup)
        value *= 1 + trait(self.seed, SPECIMEN * function.of_reading, *key, "gain")
        value += span * trait(self.seed, SPECIMEN * function.of_range, *key, "offset")
        value += span * NOISES[setup.cycles] * self._noise.draw(self.name, self.terminals.key(), function.name)
        if abs(value) > (span if span == 1000.0 and function.name == "VOLT" else OVER_RANGE * span):
            return OVERLOAD if value > 0 else -OVERLOAD
        step = span * STEPS[setup.cycles]
        return round(value / step) * step + 0.0  # no negative zero
