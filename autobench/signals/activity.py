"""What a logic line does: moving, low, high, half-level, floating, slow or burst. It knows no line's duty, no limits.

The state is what the receiver on the line would see: thresholds are the logic family's, not the waveform's own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from autobench.quantity import Estimate
from autobench.signals.edges import Edges, find_edges, timing_edges
from autobench.signals.families import Family
from autobench.signals.histogram import Histogram, count_samples
from autobench.signals.levels import Levels, find_levels
from autobench.signals.plateaus import Plateaus, find_plateaus
from autobench.signals.trace import Trace
from autobench.signals.transitions import transition_duration

# Counting starts and stops at random within a period: two ends, each rounded evenly, give 1/√6 of a count.
COUNT_UNCERTAINTY = 1.0 / math.sqrt(6.0)
# A static line spends less than this share of the samples away from its level (sparkle, a spike).
STRAY_SHARE = 0.02
# Sample intervals an edge must last before its duration is the line's and not the record's.
RESOLVED = 3.0
# Nothing drives the line if it wanders this far (V) without an edge.
WANDER = 0.3
# A burst leaves more than this share of the record still, and this many of its own pauses.
STILL_SHARE, STILL_PAUSES = 0.4, 20.0


class State(StrEnum):
    """What a logic line does."""

    MOVING = "moving"
    LOW = "low"
    HIGH = "high"
    HALF_LEVEL = "half-level"
    FLOATING = "floating"
    SLOW = "slow"
    BURST = "burst"


@dataclass(frozen=True, eq=False)
class Activity:
    """`state` is `None` only where the trace has no numbers.

    `rate` is the mean rate of pulses by counting, in Hz; `pulses` how many (a cut pulse has one edge and counts half);
    `low_share` the share of samples the receiver takes as low, `high_share` as high; `low_level` and `high_level` the
    volts the line is at mostly while it is taken so (NaN where it never is): a low of 0.7 V may be one output winning
    against another. `smallest_pulse` in seconds (NaN with none); `transition` the slower 10 % to 90 % duration in
    seconds (NaN with none).
    """

    state: State | None
    rate: Estimate
    pulses: float
    low_share: float
    high_share: float
    low_level: float
    high_level: float
    smallest_pulse: float
    transition: float
    levels: Levels
    edges: Edges
    plateaus: Plateaus


def find_activity(trace: Trace, family: Family, histogram: Histogram | None = None) -> Activity:
    """The state of a line and its numbers, for a trace of any content and the family of what listens on the line.

    `histogram` saves counting the samples again where that has been done.

    Of a peak-detected trace the extremes on the side away from the line's usual level count, so that a pulse between
    two samples is one pulse; a line that was at both levels in most intervals gives no more than one pulse an interval.
    """
    if trace.peak_detect:
        return find_activity(away_from_rest(trace, family), family)
    histogram = count_samples(trace) if histogram is None else histogram
    levels = find_levels(trace, histogram)
    middle = 0.5 * (family.low_in + family.high_in)
    edges = find_edges(trace, family.low_in, middle, family.high_in)
    low_share, high_share = shares(histogram, family)
    sides = [transition_duration(trace, levels, edges, down) for down in (False, True)]
    known = [side for side in sides if math.isfinite(side)]
    transition = max(known, default=math.nan)
    plateaus = find_plateaus(trace, family.low_in, family.high_in)
    pulses = edges.count / 2.0  # the mean of both polarities; the larger of the two would count too many
    return Activity(
        state=None if levels.count == 0 else decide(trace, family, levels, edges, (low_share, high_share), transition),
        rate=mean_rate(pulses, trace.duration),
        pulses=pulses,
        low_share=low_share,
        high_share=high_share,
        low_level=level_between(histogram, -math.inf, family.low_in),
        high_level=level_between(histogram, family.high_in, math.inf),
        smallest_pulse=edges.smallest_pulse(),
        transition=transition,
        levels=levels,
        edges=edges,
        plateaus=plateaus,
    )


def away_from_rest(trace: Trace, family: Family) -> Trace:
    """Of a peak-detected trace the lowest values if the line is mostly high, else the highest, one an interval."""
    lowest, highest = trace.samples[0::2], trace.samples[1::2]
    count = min(lowest.size, highest.size)
    rests_high = float(np.count_nonzero(lowest >= trace.sample(family.high_in)))
    rests_low = float(np.count_nonzero(highest <= trace.sample(family.low_in)))
    samples = lowest[:count] if rests_high >= rests_low else highest[:count]
    return replace(trace, samples=samples, interval=2.0 * trace.interval, peak_detect=False)


def shares(histogram: Histogram, family: Family) -> tuple[float, float]:
    """Shares of the samples at or below the family's low input level, and at or above its high one."""
    if histogram.finite == 0:
        return 0.0, 0.0
    volts = histogram.origin + np.arange(histogram.counts.size) * histogram.width
    low = int(histogram.counts[volts <= family.low_in].sum())
    high = int(histogram.counts[volts >= family.high_in].sum())
    return low / histogram.finite, high / histogram.finite


def level_between(histogram: Histogram, low: float, high: float) -> float:
    """Median in volts of the samples from `low` to `high`, between bins by a straight line; NaN without any."""
    volts = histogram.origin + np.arange(histogram.counts.size) * histogram.width
    counts = np.where((volts >= low) & (volts <= high), histogram.counts, 0)
    summed = np.cumsum(counts)
    total = int(summed[-1])
    if total == 0:
        return math.nan
    place = int(np.searchsorted(summed, total / 2.0))
    below = float(summed[place - 1]) if place else 0.0
    return histogram.volts(place - 0.5 + (total / 2.0 - below) / float(counts[place]))


def decide(
    trace: Trace, family: Family, levels: Levels, edges: Edges, share: tuple[float, float], transition: float
) -> State:
    """The state, from the most to the least certain sign."""
    if edges.count:
        # An edge between two samples only looks as slow as the samples are apart.
        if transition > family.slowest and transition > RESOLVED * trace.interval:
            return State.SLOW
        return State.BURST if is_burst(trace, edges) else State.MOVING
    low, high = share
    if low >= 1.0 - STRAY_SHARE:
        return State.LOW
    if high >= 1.0 - STRAY_SHARE:
        return State.HIGH
    if family.open_low is not None and family.open_high is not None:
        settled = family.open_low <= levels.low and levels.high <= family.open_high
        return State.FLOATING if settled else State.HALF_LEVEL
    return State.FLOATING if wanders(trace, family, levels) else State.HALF_LEVEL


def wanders(trace: Trace, family: Family, levels: Levels) -> bool:
    """Whether a line without edges drifts (charge leaking away, hum), where two outputs that fight would step."""
    if levels.highest - levels.lowest - 8.0 * levels.noise < WANDER:
        return False
    edges = timing_edges(trace, levels)
    steps = [transition_duration(trace, levels, edges, down) for down in (False, True)]
    return not any(step <= family.slowest for step in steps)


def is_burst(trace: Trace, edges: Edges) -> bool:
    """Whether a single still stretch takes much of the record and dwarfs the pauses between the other edges."""
    if edges.count < 4:
        return False
    first = min(float(side[0]) for side in (edges.rising, edges.falling) if side.size)
    last = max(float(side[-1]) for side in (edges.rising, edges.falling) if side.size)
    stillest = max(first - trace.start, trace.start + trace.duration - last, edges.longest_pulse())
    return stillest >= STILL_SHARE * trace.duration and stillest > STILL_PAUSES * edges.usual_pulse()


def fills_record(trace: Trace, edges: Edges) -> bool:
    """Whether the edges go on from end to end, so that their period is also their mean rate.

    A train of pulses that starts late or stops early keeps step all the same; of such a line only counting gives the
    mean rate. The ends may be still for one and a half times the longest pulse and its gap.
    """
    if edges.count < 3:
        return False
    first = min(float(side[0]) for side in (edges.rising, edges.falling) if side.size)
    last = max(float(side[-1]) for side in (edges.rising, edges.falling) if side.size)
    room = 3.0 * edges.longest_pulse()
    return first - trace.start <= room and trace.start + trace.duration - last <= room


def mean_rate(pulses: float, seconds: float) -> Estimate:
    """Pulses per second by counting over `seconds`, each end of the window cutting a pulse anywhere."""
    if not seconds > 0.0:
        return Estimate(math.nan, "Hz", math.inf, how="no time to count in")
    return Estimate(pulses / seconds, "Hz", COUNT_UNCERTAINTY / seconds, how=f"{pulses:g} counted in {seconds:.3g} s")


def rate_ratio(first: Activity, second: Activity) -> Estimate:
    """Pulses of one line for each pulse of another captured together.

    Counting in one window leaves out the time base; what remains is the ±1 count of each. With nothing to divide by
    the ratio is no number.
    """
    if second.pulses == 0:
        return Estimate(math.nan, "", math.inf, how="the second line has no pulses")
    ratio = first.pulses / second.pulses
    uncertainty = COUNT_UNCERTAINTY / second.pulses * math.hypot(1.0, ratio)
    return Estimate(ratio, "", uncertainty, how=f"{first.pulses:g} to {second.pulses:g} pulses counted together")
