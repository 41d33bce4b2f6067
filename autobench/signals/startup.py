"""What happens after power-on: how a rail rises, the reset pulse against it, the order of events. Knows no limits."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from autobench.quantity import Estimate
from autobench.signals.edges import find_edges
from autobench.signals.families import Family
from autobench.signals.histogram import count_samples
from autobench.signals.trace import Trace

# A fall back on the way up is more than noise from so many standard deviations, and from this share of the rail.
DIP_NOISE, DIP_SHARE = 6.0, 0.02


@dataclass(frozen=True)
class ResetPulse:
    """A reset line against its rail; times in seconds on the traces' own time base.

    `width` runs from the rail's crossing to the release (`None` where one of them was not seen); `released_at` is the
    first release, `releases` how often it happened and `last_release` when it last did (a looping reset has several);
    `transition` how long the first release took between the input levels; `held` whether the line still asserts
    reset at the end; `asserted` whether it did so at all once the rail was up.
    """

    rail_up_at: float | None
    released_at: float | None
    last_release: float | None
    width: Estimate | None
    releases: int
    transition: float | None
    asserted: bool
    held: bool


def find_reset(rail: Trace, reset: Trace, rail_up: float, family: Family, active_low: bool = True) -> ResetPulse:
    """The reset pulse of traces captured together from before power-on.

    `rail_up` is the rail voltage from which the pulse counts; `family` gives the levels at which the reset input sees
    its line asserted and released. The width's uncertainty is one sample at either end (rectangular).
    """
    up = first_crossing(rail, rail_up)
    edges = find_edges(reset, family.low_in, 0.5 * (family.low_in + family.high_in), family.high_in)
    middle = edges.rising if active_low else edges.falling
    after = middle if up is None else middle[middle >= up]
    released = arrival(reset, family, active_low, up)
    state = final_state(reset, family)
    held = state is (not active_low) if state is not None else False
    releases = int(after.size)
    if released is None:
        return ResetPulse(up, None, None, None, 0, None, asserted(reset, family, active_low, up), held)
    leave = departure(reset, family, active_low, released)
    width = None
    if up is not None:
        grain = math.hypot(rail.interval, reset.interval) / math.sqrt(12.0)
        width = Estimate(released - up, "s", grain, how="from the rail's crossing to the release")
    last = max(released, float(after[-1])) if releases else released
    transition = None if leave is None else released - leave
    return ResetPulse(up, released, last, width, max(1, releases), transition, True, held)


def first_crossing(trace: Trace, volts: float, rising: bool = True) -> float | None:
    """Seconds of the first crossing of `volts`, between samples; `None` where there is none."""
    edges = find_edges(trace, volts, volts, volts)
    times = edges.rising if rising else edges.falling
    return float(times[0]) if times.size else None


def arrival(trace: Trace, family: Family, active_low: bool, not_before: float | None) -> float | None:
    """When the line first reaches its released level after `not_before`, having been asserted."""
    level = family.high_in if active_low else family.low_in
    edges = find_edges(trace, family.low_in, level, family.high_in)
    times = edges.rising if active_low else edges.falling
    times = times if not_before is None else times[times >= not_before]
    return float(times[0]) if times.size else None


def departure(trace: Trace, family: Family, active_low: bool, released: float) -> float | None:
    """When the line last left its asserted level before `released`."""
    level = family.low_in if active_low else family.high_in
    edges = find_edges(trace, level, level, level)
    times = edges.rising if active_low else edges.falling
    times = times[times <= released]
    return float(times[-1]) if times.size else None


def final_state(trace: Trace, family: Family) -> bool | None:
    """Whether the line ends high (`True`), low (`False`), or neither or without numbers (`None`)."""
    last = trace.samples[-max(1, trace.samples.size // 50) :].astype(np.float64)
    last = last[np.isfinite(last)]
    if last.size == 0:
        return None
    volts = trace.volts(float(np.median(last)))
    if volts >= family.high_in:
        return True
    return False if volts <= family.low_in else None


def asserted(trace: Trace, family: Family, active_low: bool, after: float | None) -> bool:
    """Whether the line stood at its asserted level at any time after `after` (from the start if `None`)."""
    first = 0 if after is None else max(0, math.ceil((after - trace.start) / trace.interval))
    samples = trace.samples[first:]
    if active_low:
        return bool((samples <= trace.sample(family.low_in)).any())
    return bool((samples >= trace.sample(family.high_in)).any())


def movements(trace: Trace, family: Family, begin: float, end: float) -> int:
    """How often a line of a peak-detected trace moves from `begin` to before `end` (s): the pairs of extremes in which
    it was low and high, so that a line that pulses faster than they come is counted once a pair."""
    pair = 2.0 * trace.interval
    first = max(0, math.ceil((begin - trace.start) / pair))
    last = max(first, math.floor((end - trace.start) / pair))
    lowest, highest = trace.samples[0::2][first:last], trace.samples[1::2][first:last]
    count = min(lowest.size, highest.size)
    low, high = lowest[:count] <= trace.sample(family.low_in), highest[:count] >= trace.sample(family.high_in)
    return int(np.count_nonzero(low & high))


@dataclass(frozen=True)
class Event:
    """Something that happened first at `at` seconds, placed to ± `grain` (one sample)."""

    name: str
    at: float
    grain: float


def order_of_events(watched: Mapping[str, tuple[Trace, float, bool]]) -> tuple[Event, ...]:
    """Events in the order they happened: each name's trace, the volts to cross, and whether rising.

    What never happens is left out. Two events closer than the sum of their grains are not told apart in order;
    `same_time` says so.
    """
    events = []
    for name, (trace, volts, rising) in watched.items():
        at = first_crossing(trace, volts, rising)
        if at is not None:
            events.append(Event(name, at, trace.interval))
    return tuple(sorted(events, key=lambda event: event.at))


def same_time(first: Event, second: Event) -> bool:
    """Whether two events are too close to say which came first."""
    return abs(first.at - second.at) <= first.grain + second.grain


@dataclass(frozen=True)
class Rise:
    """How a rail came up, in seconds and volts (away from zero, for a negative rail too).

    `begun_at` and `done_at` are the first 10 % and 90 % of `nominal`, `None` where not reached; `duration` between
    them. `dip` is the deepest fall back on the way up, and `monotonic` whether it is no more than noise; `overshoot`
    how far beyond its final level the rail went; `sag` how far below it fell again after `done_at`, `None` without one.
    """

    begun_at: float | None
    done_at: float | None
    duration: float | None
    dip: float
    monotonic: bool
    overshoot: float
    sag: float | None


def find_rise(trace: Trace, nominal: float) -> Rise:
    """The rise of a rail of `nominal` volts (below zero for a negative one) captured from before power-on.

    A fall back counts from six times the noise and 2 % of nominal. Raises `ValueError` for a nominal of zero.
    """
    if nominal == 0.0:
        raise ValueError("a rail of 0 V does not rise")
    size, sign = abs(nominal), math.copysign(1.0, nominal)
    volts = sign * trace.in_volts()
    volts = np.where(np.isfinite(volts), volts, -np.inf)
    begun, done = (crossing_of(trace, sign * share * size) for share in (0.1, 0.9))
    first = 0 if begun is None else place_of(trace, begun)
    last = volts.size if done is None else place_of(trace, done)
    climb = volts[first : last + 1]
    climb = climb[np.isfinite(climb)]
    dip = float(np.max(np.maximum.accumulate(climb) - climb)) if climb.size else 0.0
    final = final_level(volts)
    noise = count_samples(trace).noise_of_steps()
    after = volts[last:][np.isfinite(volts[last:])] if done is not None else np.zeros(0)
    return Rise(
        begun_at=begun,
        done_at=done,
        duration=None if begun is None or done is None else done - begun,
        dip=dip,
        monotonic=dip <= max(DIP_NOISE * noise, DIP_SHARE * size),
        overshoot=max(0.0, float(volts.max()) - final) if volts.size and math.isfinite(final) else 0.0,
        sag=max(0.0, final - float(after.min())) if after.size and math.isfinite(final) else None,
    )


def crossing_of(trace: Trace, volts: float) -> float | None:
    """First crossing of `volts` away from zero."""
    return first_crossing(trace, volts, rising=volts > 0.0)


def place_of(trace: Trace, seconds: float) -> int:
    """The first sample after a time."""
    return min(max(0, math.ceil((seconds - trace.start) / trace.interval)), trace.samples.size)


def final_level(volts: NDArray[np.float64]) -> float:
    """Median of the last tenth; NaN without numbers there."""
    last = volts[-max(1, volts.size // 10) :] if volts.size else volts
    last = last[np.isfinite(last)]
    return float(np.median(last)) if last.size else math.nan
