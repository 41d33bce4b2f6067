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

# Linear interpolation between two noisy samples, the crossing anywhere between them: sqrt(2/3) of the noise.
INTERPOLATION = math.sqrt(2.0 / 3.0)
# Less noise than this share of a step does not spread the rounding of the converter evenly.
DITHER = 0.4
# From so many degrees of freedom on the scatter seen is trusted; below, the predicted one if that is larger.
ENOUGH = 20
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
    spread = math.fsum(side.size * (side.size**2 - 1.0) / 12.0 for side in sides)
    product = math.fsum(along(side) for side in sides)
    period = product / spread
    count = sum(side.size for side in sides)
    degrees = count - 1 - len(sides)
    jitter = math.sqrt(math.fsum(strays(side, period) for side in sides) / degrees) if degrees > 0 else 0.0
    longest = max(side.size for side in sides) - 1
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


def along(times: NDArray[np.float64]) -> float:
    """Σ (i − mean i)(t − t₀): the numerator of the slope over the edge number."""
    numbers = np.arange(times.size) - (times.size - 1) / 2.0
    return float(numbers @ (times - times[0]))


def strays(times: NDArray[np.float64], period: float) -> float:
    """Sum of squared distances of edges from their best evenly spaced places."""
    rest = times - times[0]
    rest -= np.arange(times.size) * period
    rest -= rest.mean()
    return float(rest @ rest)
