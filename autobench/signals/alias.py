"""The alias gate: whether a rate, or a line that seems stuck, may be an artefact of sampling. It measures nothing.

Every gate returns `None` where the capture can be trusted, else a reason in words a technician can act on.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from autobench.quantity import show

# Samples wanted for each period of what is expected, and for its shortest pulse (common practice).
A_PERIOD = 10.0
A_PULSE = 5.0
# A second capture must be this much faster before it can contradict or confirm the first.
FASTER = 4.0


@dataclass(frozen=True)
class Expected:
    """What is known of a line beforehand: its rate in Hz and its shortest pulse in seconds; `None` where it is not."""

    rate: float | None = None
    shortest: float | None = None


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
