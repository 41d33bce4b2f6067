"""Edges of a waveform: when it crosses its middle, with hysteresis and linear interpolation. It knows no logic family.

Runts and glitches are counted apart: neither is quietly dropped, and neither is taken for a full pulse.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from autobench.signals.crossings import Thresholds, find_crossings
from autobench.signals.levels import Levels
from autobench.signals.trace import Trace

Times = NDArray[np.float64]
# A pulse that crosses the hysteresis band but not this wider one (as a share of the amplitude) is a runt.
RUNT_BAND = 0.6
# Narrower than this share of the median pulse of its polarity: a glitch, where nothing better is known.
GLITCH_SHARE = 0.1
# A median of so many pulses, taken evenly, is as good as one of all.
MEDIAN_OF = 4096
# Pulses looked at together.
BLOCK = 1 << 15


@dataclass(frozen=True, eq=False)
class Edges:
    """Crossings of `middle` volts in seconds, `rising` and `falling` in turn, from below `low` to above `high` or back.

    `first_high` says whether the trace began above: then the first edge is a falling one. `runts` are whole pulses that
    left one level and turned before the other, counted where a band was given for them.
    """

    rising: Times
    falling: Times
    low: float
    middle: float
    high: float
    runts: int = 0

    @property
    def count(self) -> int:
        """Edges of both polarities."""
        return int(self.rising.size + self.falling.size)

    @property
    def first_high(self) -> bool:
        """Whether the first edge falls. Two edges may come at one time, but the polarities take turns all the same."""
        if self.falling.size != self.rising.size or self.falling.size == 0:
            return self.falling.size > self.rising.size
        if self.falling[0] != self.rising[0]:
            return bool(self.falling[0] < self.rising[0])
        return bool(self.falling[-1] < self.rising[-1])

    def high_widths(self) -> Times:
        """Durations of whole high pulses in seconds."""
        ends = self.falling[1:] if self.first_high else self.falling
        return ends - self.rising[: ends.size]

    def low_widths(self) -> Times:
        """Durations of whole low pulses in seconds."""
        ends = self.rising if self.first_high else self.rising[1:]
        return ends - self.falling[: ends.size]

    def smallest_pulse(self) -> float:
        """The shortest whole pulse of either polarity in seconds; NaN where there is none."""
        return min((float(part.min()) for part in self.width_parts()), default=math.nan)

    def longest_pulse(self) -> float:
        """The longest whole pulse of either polarity in seconds; NaN where there is none."""
        return max((float(part.max()) for part in self.width_parts()), default=math.nan)

    def width_parts(self) -> Iterator[Times]:
        """Durations of all whole pulses, some thousands at a time: a million at once would wait for memory."""
        later_falling = self.falling[1:] if self.first_high else self.falling
        later_rising = self.rising if self.first_high else self.rising[1:]
        for starts, ends in ((self.rising, later_falling), (self.falling, later_rising)):
            for start in range(0, ends.size, BLOCK):
                yield ends[start : start + BLOCK] - starts[start : start + BLOCK][: ends.size - start]

    def usual_pulse(self) -> float:
        """Median duration of some thousand whole pulses taken evenly from both polarities; NaN with none."""
        some = [widths[:: max(1, widths.size // MEDIAN_OF)] for widths in (self.high_widths(), self.low_widths())]
        both = np.concatenate(some)
        return float(np.median(both)) if both.size else math.nan

    def duty(self) -> float:
        """High time over whole cycles (IEEE Std 181 duty factor); NaN without a whole cycle."""
        starts = self.rising if self.rising.size >= 2 else self.falling
        if starts.size < 2:
            return math.nan
        whole = float(starts[-1] - starts[0])
        if starts is self.rising:
            return float(self.high_widths()[: starts.size - 1].sum()) / whole
        return 1.0 - float(self.low_widths()[: starts.size - 1].sum()) / whole


NO_TIMES: Times = np.zeros(0)


def find_edges(trace: Trace, low: float, middle: float, high: float, full: tuple[float, float] | None = None) -> Edges:
    """Edges from below `low` to above `high` and back, placed where the trace crosses `middle` (all volts).

    Pulses that turn before the wider levels of `full` are counted as runts, where those are given. Samples that are not
    numbers never start an edge. Raises `ValueError` unless low ≤ middle ≤ high; a level that is no number gives no
    edges.
    """
    if not all(math.isfinite(level) for level in (low, middle, high)):
        return Edges(NO_TIMES, NO_TIMES, low, middle, high)
    if not low <= middle <= high:
        raise ValueError(f"thresholds {low}, {middle}, {high} are out of order")
    found = find_crossings(trace.samples, in_samples(trace, low, middle, high, full or (low, high)))
    for places in (found.upward, found.downward):  # in place: there may be a million
        places *= trace.interval
        places += trace.start
    return Edges(found.upward, found.downward, low, middle, high, found.stunted if full else 0)


def in_samples(trace: Trace, low: float, middle: float, high: float, full: tuple[float, float]) -> Thresholds:
    """Thresholds in volts as sample values, of codes the whole ones that select the same samples."""
    exact = trace.sample(middle)
    lower, full_lower = trace.sample(low), trace.sample(full[0])
    upper, full_upper = trace.sample(high), trace.sample(full[1])
    if not trace.coded:
        return Thresholds(exact, lower, exact, upper, full_lower, full_upper)
    below, above = math.floor(lower), math.ceil(upper)
    return Thresholds(exact, below, math.ceil(exact), above, math.floor(full_lower), math.ceil(full_upper))


def timing_edges(trace: Trace, levels: Levels, hysteresis: float = 0.2) -> Edges:
    """Edges at the 50 % level of a two-level waveform, `hysteresis` as a share of its amplitude; none for one level."""
    if levels.count < 2:
        return Edges(NO_TIMES, NO_TIMES, math.nan, math.nan, math.nan)
    half, side = 50.0 * hysteresis, 50.0 * max(RUNT_BAND, hysteresis)
    low, high = levels.reference(50.0 - half), levels.reference(50.0 + half)
    return find_edges(
        trace, low, levels.reference(50.0), high, full=(levels.reference(50.0 - side), levels.reference(50.0 + side))
    )


def count_glitches(edges: Edges, shortest: float | None = None) -> int:
    """Pulses narrower than `shortest` seconds, or than a tenth of the median pulse of their polarity if not given."""
    count = 0
    for widths in (edges.high_widths(), edges.low_widths()):
        if widths.size:
            some = widths[:: max(1, widths.size // MEDIAN_OF)]
            limit = GLITCH_SHARE * float(np.median(some)) if shortest is None else shortest
            count += int(np.count_nonzero(widths < limit))
    return count
