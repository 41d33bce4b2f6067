"""Whether a tip touches anything: what the meter and the scope see of it. Asks nobody, moves nothing, judges no board.

A tip in the air reads a few millivolts on a 10 Mohm input (common practice), and so does a dead line: volts alone
cannot tell them apart. Where there are no volts the meter's own ohms source is the weak bias that tells: through a
contact it comes back, in the air it meets an open circuit. It is used only right after the same tips read no volts.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from autobench.documents.driver_sections import MeterRange
from autobench.instruments.meter import Meter, MeterReading
from autobench.signals.trace import Trace

NOTHING = 0.02  # V; at or below it the meter's tips may be in the air
# V; a scope's own offset error is of this size, so a trace that never leaves it may be one of a probe in the air.
FLAT = 0.35
LOGIC_LOW = 0.8  # V; the most any logic family takes for a low: a line that the meter sees above it is not low
OHMS_BELOW = 0.05  # V: with more there an ohms reading measures the charge, not the board
MOST_BIAS = 10e-6  # A; harmless to any part of the boards
SAME = 0.01  # share by which readings of a tip that stands still may differ
SAME_VOLTS, SAME_OHMS = 0.01, 0.1


class NoContactError(Exception):
    """Nothing shows that the tip touches the point: nothing may be concluded. The words say where."""


def touching_volts(meter: Meter) -> float | None:
    """Volts where the meter's tips are now; None if they touch nothing. The input is left on volts."""
    before, bias = quick_volts(meter), bias_range(meter)
    if abs(before) > NOTHING:
        return before
    if bias is None or quick(meter, "ohms", bias.range.value).estimate is None:
        return None
    # A tip that reached a live point meanwhile has a way through as well: it was in the air when it was looked at.
    after = quick_volts(meter)
    return after if abs(after) <= NOTHING else None


def quick_volts(meter: Meter) -> float:
    """One fast reading in volts; an overload reads as a very high voltage."""
    seen = quick(meter, "volts", 5.0)
    return seen.full_scale if seen.estimate is None else seen.estimate.value


def touching_ohms(meter: Meter, expected: float) -> float | None:
    """Ohms between the meter's tips now; None for an open circuit."""
    seen = quick(meter, "ohms", expected)
    return None if seen.estimate is None else seen.estimate.value


def quick(meter: Meter, function: str, expected: float) -> MeterReading:
    """One fast reading, for a look rather than for a verdict."""
    usual, meter.speed = meter.speed, "fast"
    try:
        return meter.volts(expected) if function == "volts" else meter.ohms(expected)
    finally:
        meter.speed = usual


def bias_range(meter: Meter) -> MeterRange | None:
    """The lowest ohms range whose source is weak enough for any part, or None where there is none."""
    ranges = meter.measures.ohms.ranges if meter.measures.ohms is not None else ()
    weak = (entry for entry in ranges if entry.drives is not None and entry.drives.value <= MOST_BIAS)
    return next(weak, ranges[-1] if ranges else None)


def is_flat(trace: Trace) -> bool:
    """Whether a trace never leaves the volts that a probe in the air shows as well."""
    if not trace.samples.size:
        return True
    ends = (trace.volts(float(trace.samples.min())), trace.volts(float(trace.samples.max())))
    return max(map(abs, ends)) < FLAT


@dataclass
class Steadiness:
    """How long a tip has read the same. `wanted` seconds are enough; `floor` is what counts as the same near zero."""

    wanted: float
    floor: float
    looks: list[tuple[float, float]] = field(default_factory=list)
    arrived: bool = False  # whether the tip was seen in the air: until then it may still be where it was before

    def add(self, now: float, value: float | None) -> None:
        """One look at `now` (s); None, or a value that is not the same, begins again."""
        if value is None:
            self.arrived = True
            self.looks.clear()
            return
        if self.looks and not self.same(value):
            self.looks.clear()
        self.looks.append((now, value))

    def same(self, value: float) -> bool:
        """Whether a value is the one that stood so far."""
        values = [seen for _, seen in self.looks]
        middle = sum(values) / len(values) if values else value
        return abs(value - middle) <= max(self.floor, SAME * abs(middle))

    @property
    def last(self) -> float | None:
        """The last look, if the tip touches."""
        return self.looks[-1][1] if self.looks else None

    @property
    def share(self) -> float:
        """Share of the wanted time that has passed, 0 to 1."""
        if len(self.looks) < 2:
            return 0.0
        passed = self.looks[-1][0] - self.looks[0][0]
        return 1.0 if passed >= self.wanted - 1e-9 else passed / self.wanted

    @property
    def enough(self) -> bool:
        """Whether it has stood long enough since it came from somewhere else."""
        return self.arrived and self.share >= 1.0
