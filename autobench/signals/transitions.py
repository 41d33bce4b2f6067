"""Transition duration, overshoot and slew of a two-level waveform after IEEE Std 181. It counts no edges."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from autobench.signals.edges import Edges
from autobench.signals.levels import Levels
from autobench.signals.trace import Samples, Trace

# More edges than this bring nothing to a median; they are taken evenly over the trace.
MOST_EDGES = 40
# Samples on either side of a crossing that are looked at first.
NEAR = 16
# Rise time times bandwidth of a first-order response: ln 9 / 2π, rounded as the trade does.
RISE_TIMES_BANDWIDTH = 0.35


@dataclass(frozen=True)
class Transitions:
    """Medians over edges of one polarity.

    `duration` in seconds from 10 % to 90 % (NaN where no edge could be followed from one to the other), `overshoot` as
    a share of the amplitude beyond the level the edge leads to, `slew` in V/s at the middle, `seen` edges looked at.
    """

    duration: float
    overshoot: float
    slew: float
    seen: int


def find_transitions(trace: Trace, levels: Levels, edges: Edges, falling: bool = False) -> Transitions:
    """Transitions of the rising (or falling) edges of a trace; all NaN without edges."""
    picked = picked_edges(levels, edges, falling)
    if not picked.size:
        return Transitions(math.nan, math.nan, math.nan, 0)
    durations, overshoots = [], []
    for before, after, crossing in around(trace, edges, picked, falling):
        samples = trace.samples[before : after + 1].astype(np.float64)
        volts = (samples - trace.reference) * trace.step + trace.offset
        scaled = (volts - levels.low) / levels.amplitude
        if falling:
            scaled = 1.0 - scaled
        durations.append(ten_to_ninety(scaled, crossing - before) * trace.interval)
        overshoots.append(float(np.fmax.reduce(scaled[crossing - before :], initial=0.0)) - 1.0)
    duration = median_of_known(durations)
    slew = 0.8 * levels.amplitude / duration if duration > 0.0 else math.nan
    return Transitions(duration, max(0.0, float(np.median(overshoots))), slew, len(picked))


def transition_duration(trace: Trace, levels: Levels, edges: Edges, falling: bool = False) -> float:
    """The `duration` that `find_transitions` gives, without the rest of it: in seconds, NaN where no edge could be
    followed."""
    ends = [trace.sample(levels.low + share * levels.amplitude) for share in (0.1, 0.9)]
    first, second = ends[::-1] if falling else ends
    durations = []
    for before, after, crossing in around(trace, edges, picked_edges(levels, edges, falling), falling):
        start = last_beyond(trace.samples, before, crossing, first, falling)
        end = first_beyond(trace.samples, crossing, after + 1, second, falling)
        if start is None or end is None:
            continue
        steps = [float(value) for value in (*trace.samples[start : start + 2], *trace.samples[end - 1 : end + 1])]
        # Counted from `before`, so that the digits do not hang on how late in the record an edge lies.
        leave = start - before + share_of_step(steps[0], steps[1], first)
        arrive = end - before - 1 + share_of_step(steps[2], steps[3], second)
        durations.append((arrive - leave) * trace.interval if arrive > leave else math.nan)
    return median_of_known(durations)


def last_beyond(samples: Samples, begin: int, end: int, level: float, falling: bool) -> int | None:
    """The last sample from `begin` to before `end` at or below `level` (at or above it for a `falling` edge)."""
    middle = max(begin, end - NEAR)  # nearly all edges are steep: few samples tell, and bare numbers are quicker
    for number, value in enumerate(reversed(samples[middle:end].tolist()), start=1):
        if value >= level if falling else value <= level:
            return end - number
    rest = samples[begin:middle]
    found = np.flatnonzero(rest >= level if falling else rest <= level)
    return begin + int(found[-1]) if found.size else None


def first_beyond(samples: Samples, begin: int, end: int, level: float, falling: bool) -> int | None:
    """The first sample from `begin` to before `end` at or above `level` (at or below it for a `falling` edge)."""
    middle = min(end, begin + NEAR)
    for number, value in enumerate(samples[begin:middle].tolist()):
        if value <= level if falling else value >= level:
            return begin + number
    rest = samples[middle:end]
    found = np.flatnonzero(rest <= level if falling else rest >= level)
    return middle + int(found[0]) if found.size else None


def picked_edges(levels: Levels, edges: Edges, falling: bool) -> NDArray[np.int64]:
    """The numbers of the edges that are looked at; none of a trace without two levels."""
    own = edges.falling if falling else edges.rising
    if levels.count < 2 or own.size == 0:
        return np.empty(0, dtype=np.int64)
    return np.unique(np.linspace(0, own.size - 1, min(own.size, MOST_EDGES)).astype(np.int64))


def median_of_known(values: list[float]) -> float:
    """The median of the finite ones; NaN without any."""
    known = [value for value in values if math.isfinite(value)]
    return float(np.median(known)) if known else math.nan


def around(trace: Trace, edges: Edges, numbers: NDArray[np.int64], falling: bool) -> list[tuple[int, int, int]]:
    """Of each edge the first and last sample between its neighbours, and the first one after the crossing itself."""
    own, other = (edges.falling, edges.rising) if falling else (edges.rising, edges.falling)
    here = own[numbers]
    places = other.searchsorted(here)
    last = max(trace.samples.size - 1, 0)
    # Beyond the first and the last of the other edges lies the end of the record.
    ends = np.concatenate(([trace.start], other, [trace.start + last * trace.interval]))
    befores = np.where(places == 0, 0.0, np.ceil((ends[places] - trace.start) / trace.interval))
    afters = np.where(places == other.size, last, np.floor((ends[places + 1] - trace.start) / trace.interval))
    crossings = np.minimum(last, np.floor((here - trace.start) / trace.interval) + 1)
    befores, afters = np.minimum(befores, crossings - 1), np.maximum(afters, crossings)
    whole = np.stack([befores, afters, crossings], axis=1).astype(np.int64)
    return [(before, after, crossing) for before, after, crossing in whole.tolist()]


def ten_to_ninety(scaled: NDArray[np.float64], crossing: int) -> float:
    """Samples, with fractions, from the last 10 % before a rising crossing to the first 90 % after it; else NaN."""
    below = (scaled[:crossing] <= 0.1).nonzero()[0]
    above = (scaled[crossing:] >= 0.9).nonzero()[0]
    if below.size == 0 or above.size == 0:
        return math.nan
    start, end = int(below[-1]), crossing + int(above[0])
    leave = start + share_of_step(float(scaled[start]), float(scaled[start + 1]), 0.1)
    arrive = end - 1 + share_of_step(float(scaled[end - 1]), float(scaled[end]), 0.9)
    return arrive - leave if arrive > leave else math.nan


def share_of_step(left: float, right: float, level: float) -> float:
    """Where a straight line from `left` to `right` reaches `level`, as a share of the step; half where it does not."""
    rise = right - left
    share = (level - left) / rise if math.isfinite(rise) and rise != 0.0 else 0.5
    return share if 0.0 <= share <= 1.0 else 0.5


def corrected_duration(measured: float, bandwidth: float) -> float:
    """A 10 % to 90 % duration in seconds without what a scope of `bandwidth` Hz adds: √(t² − (0.35/B)²).

    Holds for edges and scopes of nearly Gaussian response (common practice). NaN where the scope's own rise is all
    that was seen.
    """
    own = RISE_TIMES_BANDWIDTH / bandwidth
    return math.sqrt(measured**2 - own**2) if measured > own else math.nan
