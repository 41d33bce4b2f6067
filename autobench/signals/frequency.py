"""Frequency from all edges of a trace, with its standard uncertainty. It knows neither nominal values nor limits.

A trace whose edges do not keep step (a strobe, a gapped clock) has no period; this module says so instead of giving
the slope of a line through them. Counting is `autobench.signals.activity`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from autobench.quantity import Estimate
from autobench.signals.edges import Edges
from autobench.signals.interpolation import IN_A_ROW, refine, widest_gap
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
    deviation of one edge in seconds; `edges` how many were used; `random` the relative standard uncertainty of the
    frequency without the time base, for ratios within one capture.
    """

    frequency: Estimate
    regular: bool
    jitter: float
    edges: int
    random: float


@dataclass(frozen=True)
class Clarity:
    """How well one edge can be placed: `jitter` its standard deviation and `grain` its rounding, both in seconds.

    A grain is not averaged away by more edges, since sampling in step with the signal rounds them all alike. `duration`
    is the faster 10 % to 90 % transition and `interval` that of the samples, in seconds; 0 where they are not known.
    """

    jitter: float
    grain: float
    duration: float = 0.0
    interval: float = 0.0


def edge_clarity(trace: Trace, noise: float, rising: Transitions, falling: Transitions) -> Clarity:
    """Predict from `noise` (V rms, rounding included), slew and the sample interval how well edges can be placed."""
    slews = [side.slew for side in (rising, falling) if math.isfinite(side.slew)]
    durations = [side.duration for side in (rising, falling) if math.isfinite(side.duration)]
    if not slews or min(durations) < trace.interval:  # no sample on the edge: it lies anywhere between two
        return Clarity(trace.interval / math.sqrt(12.0), trace.interval, 0.0, trace.interval)
    slew = min(slews)
    jitter = INTERPOLATION * noise / slew if math.isfinite(noise) else 0.0
    grain = trace.resolution / slew if noise < DITHER * trace.resolution else 0.0
    return Clarity(jitter, grain, min(durations), trace.interval)


def find_period(edges: Edges, clarity: Clarity, time_base: float = 0.0) -> Period | None:
    """Least squares over all rising and falling edges: one period, a start for each polarity.

    The uncertainty is the scatter seen (with few edges the predicted one, if larger) by √(12/(n(n² − 1))) for each
    polarity, joined with the grain over the whole length (two independent ends) and with `time_base`, the relative
    half-width of the instrument's clock (rectangular). Of edges that have samples on them the interpolation error is
    fitted as well (`autobench.signals.interpolation`). `None` with fewer than two edges of one polarity.
    """
    sides = [side for side in (edges.rising, edges.falling) if side.size >= 2]
    if not sides:
        return None
    row = fit_row(sides)
    least = clarity.jitter if row.degrees < ENOUGH else clarity.jitter / 2.0
    jitter = max(row.jitter, least)
    period, random = row.period, jitter / math.sqrt(row.spread)
    grain = clarity.grain
    regular = jitter <= STRAYING * period
    if regular and clarity.duration > 0.0:
        refined = refine(sides, period, clarity.interval, clarity.duration)
        if refined is not None:
            period, jitter = refined.period, max(refined.jitter, least)
            random = refined.uncertainty * jitter / refined.jitter
    elif regular and clarity.interval > 0.0 and row.degrees >= IN_A_ROW:
        grain *= widest_gap(period, clarity.interval)
    random = math.hypot(random, grain / math.sqrt(6.0) / (max(side.size for side in sides) - 1)) / period
    relative = math.hypot(random, time_base / math.sqrt(3.0))
    typed = row.degrees >= ENOUGH and grain == 0.0 and time_base == 0.0
    frequency, count = 1.0 / period, sum(side.size for side in sides)
    how = f"least squares over {count} edges"
    estimate = Estimate(frequency, "Hz", frequency * relative, float(row.degrees) if typed else math.inf, how)
    return Period(estimate, regular, jitter, count, random)


@dataclass(frozen=True)
class Row:
    """Edges as one evenly spaced row of each polarity: period, scatter of one edge, its degrees, and leverage."""

    period: float
    jitter: float
    degrees: int
    spread: float


def fit_row(sides: Sequence[Times]) -> Row:
    """One period through all sides by least squares; each has a start of its own."""
    most = max(sides, key=len)
    near = float(most[-1] - most[0]) / (most.size - 1)
    moments = [moments_about(side, near) for side in sides]
    spread = math.fsum(moment.spread for moment in moments)
    change = math.fsum(moment.along for moment in moments) / spread
    degrees = sum(side.size for side in sides) - 1 - len(sides)
    strays = math.fsum(moment.strays(change) for moment in moments)
    return Row(near + change, math.sqrt(strays / degrees) if degrees > 0 else 0.0, degrees, spread)


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
