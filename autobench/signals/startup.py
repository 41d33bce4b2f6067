"""What happens after power-on: the reset pulse against its rail, and the order of events. It knows no limits."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from autobench.quantity import Estimate
from autobench.signals.edges import find_edges
from autobench.signals.families import Family
from autobench.signals.trace import Trace


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
