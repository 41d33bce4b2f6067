"""Frequency from all edges of a trace, with its standard uncertainty. It knows neither nominal values nor limits.

A trace whose edges do not keep step (a strobe, a gapped clock) has no period; this module says so instead of giving
the slope of a line through them. Counting is `autobench.signals.activity`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from autobench.quantity import Estimate
from autobench.signals.edges import Edges
from autobench.signals.trace import Trace
from autobench.signals.transitions import Transitions

Times = NDArray[np.float64]
# Linear interpolation between two noisy samples, the crossing anywhere between them: sqrt(2/3) of the noise.
INTERPOLATION = math.sqrt(2.0 / 3.0)
# Less noise than this share of a step does not spread the rounding of the converter evenly.
DITHER = 0.4
# From so many degrees of freedom on the scatter seen is trusted; below, the predicted one if that is larger.
ENOUGH = 20
# Edges summed up together.
BLOCK = 1 << 15
# Edges that stray more than this share of a period do not keep step.
STRAYING = 0.05


@dataclass(frozen=True)
class Period:
    """What the edges say.

    `frequency` in Hz with the time base included; `regular` whether the edges keep step; `jitter` the standard
    deviation of one edge in seconds; `edges` how many were used.
    """

    frequency: Estimate
    regular: bool
    jitter: float
    edges: int


@dataclass(frozen=True)
class Clarity:
    """How well one edge can be placed: `jitter` its standard deviation and `grain` its rounding, both in seconds.

    A grain is not averaged away by more edges, since sampling in step with the signal rounds them all alike.
    """

    jitter: float
    grain: float


def edge_clarity(trace: Trace, noise: float, rising: Transitions, falling: Transitions) -> Clarity:
    """Predict from `noise` (V rms, rounding included), slew and the sample interval how well edges can be placed."""
    slews = [side.slew for side in (rising, falling) if math.isfinite(side.slew)]
    durations = [side.duration for side in (rising, falling) if math.isfinite(side.duration)]
    if not slews or min(durations) < trace.interval:  # no sample on the edge: it lies anywhere between two
        return Clarity(trace.interval / math.sqrt(12.0), trace.interval)
    slew = min(slews)
    jitter = INTERPOLATION * noise / slew if math.isfinite(noise) else 0.0
    return Clarity(jitter, trace.resolution / slew if noise < DITHER * trace.resolution else 0.0)


def find_period(edges: Edges, clarity: Clarity, time_base: float = 0.0) -> Period | None:
    """Least squares over all rising and falling edges: one period, a start for each polarity.

    The uncertainty is the scatter seen (with few edges the predicted one, if larger) by √(12/(n(n² − 1))) for each
    polarity, joined with the grain over the whole length (two independent ends) and with `time_base`, the relative
    half-width of the instrument's clock (rectangular). `None` with fewer than two edges of one polarity.
    """
    sides = [side for side in (edges.rising, edges.falling) if side.size >= 2]
    if not sides:
        return None
    most = max(sides, key=len)
    longest = most.size - 1
    near = float(most[-1] - most[0]) / longest
    moments = [moments_about(side, near) for side in sides]
    spread = math.fsum(moment.spread for moment in moments)
    change = math.fsum(moment.along for moment in moments) / spread
    period = near + change
    count = sum(side.size for side in sides)
    degrees = count - 1 - len(sides)
    strays = math.fsum(moment.strays(change) for moment in moments)
    jitter = math.sqrt(strays / degrees) if degrees > 0 else 0.0
    jitter = max(jitter, clarity.jitter if degrees < ENOUGH else clarity.jitter / 2.0)
    random = jitter / math.sqrt(spread)
    grain = clarity.grain / math.sqrt(6.0) / longest
    relative = math.hypot(random / period, grain / period, time_base / math.sqrt(3.0))
    typed = degrees >= ENOUGH and grain == 0.0 and time_base == 0.0
    frequency = 1.0 / period
    estimate = Estimate(
        frequency,
        "Hz",
        frequency * relative,
        float(degrees) if typed else math.inf,
        f"least squares over {count} edges",
    )
    return Period(estimate, jitter <= STRAYING * period, jitter, count)


@dataclass(frozen=True)
class Moments:
    """Sums over edges of one polarity, each less its place in an even row: of the rest along the edge number (from the
    middle), and of its squares about its mean; `spread` is the sum of squares of the numbers."""

    along: float
    squares: float
    spread: float

    def strays(self, change: float) -> float:
        """Sum of squared distances from a row whose period is longer by `change`, evenly placed."""
        return max(0.0, self.squares - 2.0 * change * self.along + change * change * self.spread)


def moments_about(times: Times, period: float) -> Moments:
    """Moments of edges about a row of nearly the right `period`: the rest is small, so that its sums lose no digits.

    In blocks, since a million edges at once would wait for memory; and without the threaded dot product, which waits
    for other processes.
    """
    middle = (times.size - 1) / 2.0
    total = along = squares = 0.0
    for start in range(0, times.size, BLOCK):
        numbers = np.arange(start, min(start + BLOCK, times.size), dtype=np.float64)
        rest = times[start : start + BLOCK] - float(times[0])
        rest -= numbers * period
        numbers -= middle
        total += float(rest.sum())
        along += float(np.einsum("i,i->", numbers, rest))
        squares += float(np.einsum("i,i->", rest, rest))
    return Moments(along, max(0.0, squares - total * total / times.size), times.size * (times.size**2 - 1.0) / 12.0)
