"""Where sync lies in a video signal: the levels of its tip and of what is not sync. It times nothing."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from autobench.signals.edges import find_edges
from autobench.signals.histogram import Histogram, count_samples
from autobench.signals.levels import find_levels
from autobench.signals.trace import Trace

# Sync is 30 % of a full signal and blanking may be all there is: the first cut is placed low enough for both.
FIRST_CUT = 0.15
# Back porch: this share of the pulse's own width after it ends, for as long again (4.7 µs sync, 5.8 µs porch).
PORCH_FROM, PORCH_TO = 0.15, 0.45
MOST_PULSES = 400
# A difference below so many standard deviations of noise is no sync.
LEAST_NOISE = 6.0


@dataclass(frozen=True)
class SyncLevels:
    """Volts of the sync `tip` and of the `inactive` level (blanking); `noise` is the standard deviation about them."""

    tip: float
    inactive: float
    noise: float


@dataclass(frozen=True, eq=False)
class Pulses:
    """Sync pulses: when they begin and how long they last, in seconds."""

    starts: NDArray[np.float64]
    widths: NDArray[np.float64]


def separate_levels(trace: Trace) -> SyncLevels | None:
    """Levels of a line that carries sync only; its pulses are the rarer level. `None` with one level."""
    levels = find_levels(trace)
    if levels.count < 2:
        return None
    if levels.low_share <= 0.5:
        return SyncLevels(levels.low, levels.high, levels.noise)
    return SyncLevels(levels.high, levels.low, levels.noise)


def composite_levels(trace: Trace) -> SyncLevels | None:
    """Sync tip and blanking of a composite signal, `None` where nothing looks like sync.

    The tip is the mode near the bottom; blanking is measured on the back porch of each pulse, since a bright picture
    may put any other level in the histogram.
    """
    histogram = count_samples(trace)
    if histogram.finite < 16 or not histogram.highest > histogram.lowest:
        return None
    bottom, top = robust_range(histogram)
    tip = lowest_mode(histogram, bottom, top)
    noise = histogram.noise((tip - histogram.origin) / histogram.width, 16.0)
    noise = noise if math.isfinite(noise) else histogram.width / math.sqrt(12.0)
    if top - tip < LEAST_NOISE * noise or top - tip < 3.0 * trace.resolution:
        return None
    blanking = tip + FIRST_CUT * (top - tip) * 2.0
    for _ in range(2):
        found = porch_level(trace, tip, blanking)
        if found is None:
            return None
        blanking = found
        if not blanking - tip > max(LEAST_NOISE * noise, 2.0 * trace.resolution):
            return None
    return SyncLevels(tip, blanking, noise)


def robust_range(histogram: Histogram) -> tuple[float, float]:
    """The 0.1 % and 99.9 % levels in volts: a stray spike must not set the scale."""
    summed = np.cumsum(histogram.counts) / histogram.finite
    low = int(np.searchsorted(summed, 0.001))
    high = int(np.searchsorted(summed, 0.999))
    return histogram.volts(low), histogram.volts(min(high, summed.size - 1))


def lowest_mode(histogram: Histogram, bottom: float, top: float) -> float:
    """Mode in volts of the lowest tenth of the range."""
    start = round((bottom - histogram.origin) / histogram.width)
    end = start + max(1, round(0.1 * (top - bottom) / histogram.width))
    return histogram.volts(start + int(np.argmax(histogram.counts[start : end + 1])))


def porch_level(trace: Trace, tip: float, blanking: float) -> float | None:
    """Median in volts of what follows the pulses below half way to `blanking`; `None` without three pulses."""
    middle, band = 0.5 * (tip + blanking), 0.15 * (blanking - tip)
    edges = find_edges(trace, middle - band, middle, middle + band)
    ends = edges.rising[1:] if edges.rising.size and not edges.first_high else edges.rising
    widths = edges.low_widths()[: ends.size]
    ends = ends[: widths.size]
    if widths.size < 3:
        return None
    usual = float(np.median(widths))
    picked = np.flatnonzero((widths > 0.75 * usual) & (widths < 1.5 * usual))
    picked = picked[:: max(1, picked.size // MOST_PULSES)]
    levels = []
    for end in ends[picked].tolist():
        start = math.ceil((end - trace.start + PORCH_FROM * usual) / trace.interval)
        stop = max(start + 1, math.floor((end - trace.start + PORCH_TO * usual) / trace.interval))
        porch = trace.samples[start:stop]
        if porch.size and np.isfinite(porch).all():
            levels.append(trace.volts(float(porch.mean(dtype=np.float64))))
    return float(np.median(levels)) if levels else None
