"""The alias gate: whether a rate, or a line that seems stuck, may be an artefact of sampling. It measures nothing.

Every gate returns `None` where the capture can be trusted, else a reason in words a technician can act on.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from autobench.quantity import show

# Samples wanted for each period of what is expected, and for its shortest pulse (common practice).
A_PERIOD = 10.0
A_PULSE = 5.0
# A second capture must be this much faster before it can contradict or confirm the first.
FASTER = 4.0
# From rung to rung of the ladder of time bases (common practice: a second look ten times faster).
STEP = 10.0


@dataclass(frozen=True)
class Expected:
    """What is known of a line beforehand: its rate in Hz and its shortest pulse in seconds; `None` where it is not."""

    rate: float | None = None
    shortest: float | None = None


@dataclass(frozen=True)
class Look:
    """One rung of the ladder: `sample_rate` in Sa/s over `seconds`, with or without the extremes of each interval."""

    sample_rate: float
    seconds: float
    peak_detect: bool = False


def ladder(expected: Expected, fastest: float, points: int, longest: float, peak_detect: bool) -> tuple[Look, ...]:
    """Captures to take one after another until one shows edges: fast first, then ever slower.

    The first is fast enough for what is expected (the `fastest` sample rate where nothing is, or where that does not
    reach), of `points` samples. Where the scope has peak detection the next one covers all of `longest` seconds at
    once, since it misses no pulse; else each is ten times slower, until one covers them. Raises `ValueError` for a
    rate, a number or a time not above zero.
    """
    if not (fastest > 0.0 and points > 0 and longest > 0.0):
        raise ValueError("a ladder needs a sample rate, samples and a time above zero")
    needed = needed_rate(expected)
    rate = fastest if needed is None else min(fastest, needed)
    looks = [Look(rate, points / rate)]
    if peak_detect and looks[0].seconds < longest:
        return (looks[0], Look(points / longest, longest, True))
    while looks[-1].seconds < longest * (1.0 - 1e-9):
        slower = max(looks[-1].sample_rate / STEP, points / longest)
        looks.append(Look(slower, points / slower))
    return tuple(looks)


def still_gate(looks: Sequence[Look], expected: Expected) -> str | None:
    """Whether a line that showed no edges in any of `looks` may be called still; `None` where it may."""
    if not looks:
        return "not looked at yet"
    rates = [look.sample_rate for look in looks if not look.peak_detect]
    if any(look.peak_detect for look in looks):
        return stuck_gate(max(rates, default=0.0), expected, peak_detect=True)
    return stuck_gate(min(rates), expected, faster=max(rates) if len(rates) > 1 else None)


def alias_of(rate: float, sample_rate: float) -> float:
    """The rate in Hz at which a signal of `rate` appears when sampled at `sample_rate`."""
    folded = math.fmod(abs(rate), sample_rate)
    return min(folded, sample_rate - folded)


def needed_rate(expected: Expected) -> float | None:
    """The sample rate that shows what is expected: 10 samples a period, 5 a pulse; `None` where nothing is known."""
    wanted = []
    if expected.rate is not None and expected.rate > 0.0:
        wanted.append(A_PERIOD * expected.rate)
    if expected.shortest is not None and expected.shortest > 0.0:
        wanted.append(A_PULSE / expected.shortest)
    return max(wanted, default=None)


def rate_gate(
    measured: float, sample_rate: float, expected: Expected, second: tuple[float, float] | None = None
) -> str | None:
    """Whether a `measured` rate in Hz may be an alias.

    `second` is the rate measured in another capture and its sample rate: an alias changes with the sample rate, a true
    rate does not, and that settles it where nothing was expected.
    """
    needed = needed_rate(expected)
    if second is not None and is_apart(sample_rate, second[1]):
        agreed = math.isclose(measured, second[0], rel_tol=0.01)
        sample_rate = max(sample_rate, second[1])
        if agreed and needed is not None and sample_rate < needed:
            return too_slow(sample_rate, needed, expected)
        if agreed:
            return None
        return (
            f"{show(measured, 'Hz')} became {show(second[0], 'Hz')} on another time base: at least one is an alias; "
            f"use one faster than {show(sample_rate, 'Sa/s')}"
        )
    if needed is not None and sample_rate < needed:
        return too_slow(sample_rate, needed, expected)
    if measured > sample_rate / A_PERIOD * 1.01:
        return (
            f"{show(measured, 'Hz')} has less than ten samples a period at {show(sample_rate, 'Sa/s')}: "
            f"may be an alias; use a faster time base"
        )
    if needed is None:
        return "nothing is known of this line's rate: may be an alias until a faster time base shows the same"
    return None


def stuck_gate(
    sample_rate: float, expected: Expected, peak_detect: bool = False, faster: float | None = None
) -> str | None:
    """Whether a line that shows no edges may be moving all the same.

    Peak detection sees every pulse, so it needs no more; else the capture must be fast enough for what is expected, and
    a capture at `faster` samples a second must have shown no edges either: a pulse train at a multiple of the sample
    rate stands still.
    """
    if peak_detect:
        return None
    fastest = max(sample_rate, faster or 0.0)
    needed = needed_rate(expected)
    if needed is not None and fastest < needed:
        return too_slow(fastest, needed, expected)
    if faster is None or not is_apart(sample_rate, faster):
        return "still in one capture only: may be moving in step with the samples; capture again on a faster time base"
    return None


def too_slow(sample_rate: float, needed: float, expected: Expected) -> str:
    """The reason of a capture too slow for what is expected, and what it would then show."""
    words = f"{show(sample_rate, 'Sa/s')} is too slow: {show(needed, 'Sa/s')} are needed"
    if expected.rate is not None and expected.rate > 0.0 and sample_rate < 2.0 * expected.rate:
        return (
            f"{words}; {show(expected.rate, 'Hz')} would appear as {show(alias_of(expected.rate, sample_rate), 'Hz')}"
        )
    return words


def is_apart(first: float, second: float) -> bool:
    """Whether two sample rates differ enough for an alias to show itself.

    Four times faster, or slower, will do; whole multiples fold alike only where the signal is slow enough for both.
    """
    return max(first, second) >= FASTER * min(first, second)
