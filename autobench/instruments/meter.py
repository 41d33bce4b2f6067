"""A multimeter by its role: volts and ohms on fixed ranges, with the uncertainty its driver file states.

It picks the range from what is expected, and one range higher if that one overloads; it does not judge what it reads.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from autobench.documents.driver_sections import Function, Measures, MeterRange
from autobench.errors import BenchError, ReplyError
from autobench.instruments.accuracy import components, estimate
from autobench.instruments.dialect import Dialect
from autobench.judgement.uncertainty import Component
from autobench.quantity import Estimate, Span, show

# Besides its power-line cycles a reading costs auto-zero (as long again), settling and the bus, s.
READING_OVERHEAD = 1.0
MOST_REPEATS = 100
SETTING_BACK = 0.01  # share by which a setting may be read back otherwise than it was sent


@dataclass(frozen=True)
class MeterReading:
    """What one measurement gave.

    With `overload` set there is no estimate: the value is beyond `beyond` (in `unit`, the reach of the last range
    tried), or the meter had no number; for ohms that is an open circuit. `samples` are the single readings (infinite
    for an overload, NaN for no number), `components` the budget behind the estimate's uncertainty.
    """

    estimate: Estimate | None
    overload: bool
    unit: str
    samples: tuple[float, ...] = ()
    components: tuple[Component, ...] = ()
    full_scale: float = 0.0
    beyond: float | None = None
    reason: str | None = None


@dataclass(frozen=True)
class Setting:
    """How the meter stands now; a setting that is already there is not sent again."""

    function: str
    full_scale: float
    cycles: float


@dataclass
class Meter:
    """One multimeter. A reading lasts some cycles of the mains, of `line_frequency` Hz; `speed` names how many.

    Every method may raise the link's errors.
    """

    dialect: Dialect
    line_frequency: float = 50.0
    speed: str = "normal"
    setting: Setting | None = field(default=None, init=False)
    count: int = field(default=0, init=False)
    measures: Measures = field(init=False)

    def __post_init__(self) -> None:
        if self.dialect.driver.measures is None:
            raise BenchError(f"{self.name}: the driver '{self.dialect.driver.driver}' is not one of a meter")
        self.measures = self.dialect.driver.measures

    @property
    def name(self) -> str:
        """Its name in the bench file."""
        return self.dialect.name

    def identify(self) -> str:
        """What the instrument says it is."""
        return self.dialect.identify()

    def prepare(self) -> None:
        """Once a session: errors cleared, trigger set, input fixed at its stated resistance, zero measured once."""
        if self.dialect.can("remote"):
            self.dialect.perform("remote")
        self.dialect.clear()
        self.setting, self.count = None, 0
        for action in ("prepare", "fix input", "zero"):
            if self.dialect.can(action):
                self.dialect.perform(action, check=True)
        if self.dialect.can("cycles?"):
            self.require_cycles()

    def require_cycles(self) -> None:
        """Raise `BenchError` if the meter does not integrate as long as it was told to: it would read hum as volts."""
        wanted = self.select("volts", self.measures.volts, self.measures.volts.ranges[-1]).cycles
        answer = self.dialect.perform("cycles?")
        stands = answer.number if answer is not None else wanted
        if abs(stands - wanted) > SETTING_BACK * wanted:
            raise BenchError(
                f"{self.name}: its integration stays at {show(stands, '')} line cycles although {show(wanted, '')} was "
                "sent, so the hum its leads pick up is in every reading: set it free on its front panel, or to whole "
                "line cycles"
            )

    def local(self) -> None:
        """Give the front panel back, where the dialect has a command for it."""
        if self.dialect.can("local"):
            self.dialect.perform("local")

    def volts(self, expected: Span | float, repeats: int = 1) -> MeterReading:
        """Direct volts HI to LO; `expected` in V picks the range, `repeats` above 1 bring a type A part."""
        return self.measured("volts", self.measures.volts, expected, repeats, "V")

    def ohms(self, expected: Span | float, repeats: int = 1) -> MeterReading:
        """Ohms HI to LO, leads included; an open circuit comes back as an overload.

        Afterwards the meter is back on volts: its ohms source must not be on a rail that is powered next.
        """
        if self.measures.ohms is None:
            raise BenchError(f"{self.name}: the driver '{self.dialect.driver.driver}' has no ohms")
        reading = self.measured("ohms", self.measures.ohms, expected, repeats, "ohm")
        self.rest()
        return reading

    def rest(self) -> None:
        """On volts, where its input drives nothing."""
        if self.setting is None or self.setting.function != "volts":
            self.select("volts", self.measures.volts, self.measures.volts.ranges[-1])

    def measured(self, name: str, function: Function, expected: Span | float, repeats: int, unit: str) -> MeterReading:
        """One measurement on the range for `expected`; on an overload once more, one range higher."""
        if not 1 <= repeats <= MOST_REPEATS:
            raise ValueError(f"{repeats} repeats; from 1 to {MOST_REPEATS} are possible")
        first = range_for(function, expected)
        tried = function.ranges[first : first + 2]
        samples: tuple[float, ...] = ()
        for entry in tried:
            samples = self.samples_on(name, function, entry, repeats, unit)
            if all(math.isfinite(sample) for sample in samples):
                return self.reading(entry, samples, unit)
        last = tried[-1].range.value
        reach = last * (1.0 + self.measures.over_range)
        if any(math.isnan(sample) for sample in samples):
            return MeterReading(None, True, unit, samples, (), last, None, "the meter answered with no number")
        reason = f"beyond {show(reach, unit)}, the reach of the {show(last, unit)} range"
        parts = components(tried[-1].trust, reach, last)
        return MeterReading(None, True, unit, samples, parts, last, reach, reason)

    def reading(self, entry: MeterRange, samples: tuple[float, ...], unit: str) -> MeterReading:
        """Finite samples on one range as a reading with its budget."""
        scale = entry.range.value
        taken = f", mean of {len(samples)}" if len(samples) > 1 else ""
        how = f"{self.name} on its {show(scale, unit)} range{taken}"
        value, parts = estimate(samples, entry.trust, unit, full_scale=scale, how=how)
        return MeterReading(value, False, unit, samples, parts, scale)

    def samples_on(
        self, name: str, function: Function, entry: MeterRange, repeats: int, unit: str
    ) -> tuple[float, ...]:
        """Single readings on one range, at the meter's speed, after it has settled."""
        each = 2.0 * self.select(name, function, entry).cycles / self.line_frequency
        if not self.dialect.can("count"):
            return tuple(self.read(1, each, unit)[0] for _ in range(repeats))
        if self.count != repeats:
            self.dialect.perform("count", count=repeats, check=True)
            self.count = repeats
        return self.read(repeats, each, unit)

    def select(self, name: str, function: Function, entry: MeterRange) -> Setting:
        """Put the meter on one range at its speed and let it settle; nothing is sent where it stands so already."""
        wanted = Setting(name, entry.range.value, getattr(self.measures.speeds, self.speed).value)
        if self.setting != wanted:
            self.setting = None  # until it is done, it is not known how the meter stands
            names = self.measures.speed_names
            cycles = wanted.cycles if names is None else getattr(names, self.speed)
            self.dialect.perform(name, range=entry.called or wanted.full_scale, cycles=cycles, check=True)
            self.count = 0  # selecting a function may reset it
            self.dialect.clock.sleep((entry.settle or function.settle).value)
            self.setting = wanted
        return wanted

    def read(self, count: int, each: float, unit: str) -> tuple[float, ...]:
        """Trigger and read exactly `count` readings of `each` seconds; raises `ReplyError` for any other number."""
        within = self.dialect.driver.link.reply_within.value + count * (each + READING_OVERHEAD)
        answer = self.dialect.perform("read?", within=within, unit=unit)
        found: Sequence[float] = answer.numbers if answer else ()
        if len(found) != count:
            raise ReplyError(self.name, f"sent {len(found)} readings where {count} were asked for")
        return tuple(self.overloaded(value) for value in found)

    def overloaded(self, value: float) -> float:
        """`value`, infinite with its sign where the dialect means an overload by it."""
        over = self.measures.overload
        return math.copysign(math.inf, value) if over is not None and abs(value) >= over.value else value


def range_for(function: Function, expected: Span | float) -> int:
    """Index of the smallest range whose full scale holds what is expected, else of the largest.

    Of a span the larger end counts; where that end is open, twice the other one, since little is known about it.
    """
    if isinstance(expected, Span):
        low, high = abs(expected.low or 0.0), abs(expected.high or 0.0)
        most = max(low, high) if expected.high is not None else 2.0 * low
    else:
        most = abs(expected)
    for index, entry in enumerate(function.ranges):
        if entry.range.value >= most:
            return index
    return len(function.ranges) - 1
