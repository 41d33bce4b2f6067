"""Edges of a waveform: when it crosses its middle, with hysteresis and linear interpolation. It knows no logic family.

Runts and glitches are counted apart: neither is quietly dropped, and neither is taken for a full pulse.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from autobench.signals.levels import Levels
from autobench.signals.trace import Trace

Positions = NDArray[np.int64]
Times = NDArray[np.float64]
# A pulse that crosses the hysteresis band but not this wider one (as a share of the amplitude) is a runt.
RUNT_BAND = 0.6
# Narrower than this share of the median pulse of its polarity: a glitch, where nothing better is known.
GLITCH_SHARE = 0.1
# A median of so many pulses, taken evenly, is as good as one of all.
MEDIAN_OF = 4096


@dataclass(frozen=True, eq=False)
class Edges:
    """Crossings of `middle` volts in seconds, `rising` and `falling` in turn, from below `low` to above `high` or back.

    `first_high` says whether the trace began above: then the first edge is a falling one.
    """

    rising: Times
    falling: Times
    low: float
    middle: float
    high: float

    @property
    def count(self) -> int:
        """Edges of both polarities."""
        return int(self.rising.size + self.falling.size)

    @property
    def first_high(self) -> bool:
        """Whether the first edge falls."""
        return self.falling.size > 0 and (self.rising.size == 0 or bool(self.falling[0] < self.rising[0]))

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
        shortest = [float(widths.min()) for widths in (self.high_widths(), self.low_widths()) if widths.size]
        return min(shortest, default=math.nan)

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


def find_edges(trace: Trace, low: float, middle: float, high: float) -> Edges:
    """Edges from below `low` to above `high` and back, placed where the trace crosses `middle` (all volts).

    Samples that are not numbers never start an edge. Raises `ValueError` unless low ≤ middle ≤ high; a level that is
    no number gives no edges.
    """
    if not all(math.isfinite(level) for level in (low, middle, high)):
        return Edges(NO_TIMES, NO_TIMES, low, middle, high)
    if not low <= middle <= high:
        raise ValueError(f"thresholds {low}, {middle}, {high} are out of order")
    up, down = alternating(trace, low, high)
    crossing = trace.sample(middle)
    rising = trace.times(interpolated(trace.samples, up, crossing))
    falling = trace.times(interpolated(trace.samples, down, crossing, falling=True))
    return Edges(rising, falling, low, middle, high)


def timing_edges(trace: Trace, levels: Levels, hysteresis: float = 0.2) -> Edges:
    """Edges at the 50 % level of a two-level waveform, `hysteresis` as a share of its amplitude; none for one level."""
    if levels.count < 2:
        return Edges(NO_TIMES, NO_TIMES, math.nan, math.nan, math.nan)
    half = 50.0 * hysteresis
    return find_edges(trace, levels.reference(50.0 - half), levels.reference(50.0), levels.reference(50.0 + half))


def alternating(trace: Trace, low: float, high: float) -> tuple[Positions, Positions]:
    """Samples at which the trace first is above `high` after being below `low`, and the reverse."""
    samples = trace.samples
    upper, lower = trace.sample(high), trace.sample(low)
    if trace.coded:  # whole numbers compare eight at a time
        upper, lower = math.ceil(upper), math.floor(lower)
    up, starts_high = onsets(samples >= upper)
    down, starts_low = onsets(samples <= lower)
    return in_turn(up, down, starts_high, starts_low)


NO_POSITIONS: Positions = np.zeros(0, np.int64)


def onsets(inside: NDArray[np.bool_]) -> tuple[Positions, bool]:
    """Where a run of true samples begins (not counting the first sample), and whether the first sample is true."""
    if inside.size == 0:
        return NO_POSITIONS, False
    return np.flatnonzero(inside[1:] > inside[:-1]) + 1, bool(inside[0])


def in_turn(up: Positions, down: Positions, starts_high: bool, starts_low: bool) -> tuple[Positions, Positions]:
    """Keep the first of each group of repeated onsets, so that ups and downs alternate."""
    if is_in_turn(up, down, starts_high, starts_low):
        return up, down
    places = np.concatenate([up, down])
    rises = np.zeros(places.size, bool)
    rises[: up.size] = True
    order = np.argsort(places, kind="stable")
    places, rises = places[order], rises[order]
    keep = np.ones(places.size, bool)
    keep[1:] = rises[1:] != rises[:-1]
    if places.size:  # the first edge needs a known state before it
        keep[0] = starts_low if rises[0] else starts_high
    places, rises = places[keep], rises[keep]
    return places[rises], places[~rises]


def is_in_turn(up: Positions, down: Positions, starts_high: bool, starts_low: bool) -> bool:
    """Whether the onsets alternate already, as those of a clean waveform do."""
    first, second, known = (up, down, starts_low) if starts_low else (down, up, starts_high)
    if not known or first.size == 0 or first.size - second.size not in (0, 1):
        return False
    shared = second.size
    return bool(np.all(first[:shared] < second) and np.all(second[: first.size - 1] < first[1:]))


def interpolated(samples: NDArray[Any], onset: Positions, level: float, falling: bool = False) -> Times:
    """Positions in samples, with fractions, of the last crossing of `level` before each onset.

    Walks back from the onsets all at once; edges take few samples where there are many of them.
    """
    whole = samples.dtype == np.uint8
    bound = (math.floor(level) if falling else math.ceil(level)) if whole else level
    after = onset.copy()
    left, right = samples[after - 1], samples[after]
    active = np.flatnonzero(left <= bound if falling else left >= bound)
    active = active[after[active] > 1]
    while active.size:
        places = after[active] - 1
        after[active] = places
        right[active] = left[active]
        before = samples[places - 1]
        left[active] = before
        active = active[((before <= bound) if falling else (before >= bound)) & (places > 1)]
    left = left.astype(np.float32 if whole else np.float64)
    with np.errstate(all="ignore"):
        share = (level - left) / (right - left)
    share[~((share >= 0.0) & (share <= 1.0))] = 0.5  # a sample that is no number, or thresholds all the same
    return np.asarray(after + (share - 1.0), np.float64)


def count_runts(trace: Trace, levels: Levels, edges: Edges) -> int:
    """Pulses that left one level, crossed the hysteresis band of `edges` and turned before the other level."""
    if levels.count < 2 or edges.count == 0:
        return 0
    side = 50.0 * RUNT_BAND
    low, high = levels.reference(50.0 - side), levels.reference(50.0 + side)
    if leaves_and_arrives(trace, edges, low, high):
        return 0
    up, down = alternating(trace, low, high)
    return max(0, (edges.count - int(up.size + down.size) + 1) // 2)


def leaves_and_arrives(trace: Trace, edges: Edges, low: float, high: float) -> bool:
    """Whether the wide band is entered exactly as often as there are edges, which counting shows without finding."""
    upper, lower = trace.sample(high), trace.sample(low)
    if not trace.coded:
        return False
    above, below = trace.samples >= math.ceil(upper), trace.samples <= math.floor(lower)
    entries = [int(np.count_nonzero(inside[1:] > inside[:-1])) for inside in (above, below)]
    return entries == [edges.rising.size, edges.falling.size]


def count_glitches(edges: Edges, shortest: float | None = None) -> int:
    """Pulses narrower than `shortest` seconds, or than a tenth of the median pulse of their polarity if not given."""
    count = 0
    for widths in (edges.high_widths(), edges.low_widths()):
        if widths.size:
            some = widths[:: max(1, widths.size // MEDIAN_OF)]
            limit = GLITCH_SHARE * float(np.median(some)) if shortest is None else shortest
            count += int(np.count_nonzero(widths < limit))
    return count
