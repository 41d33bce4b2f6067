"""State levels of a waveform by the histogram method of IEEE Std 181. It knows no logic family and no limits."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from autobench.signals.histogram import Histogram, count_samples
from autobench.signals.trace import Trace

# Two modes closer than this are one level: in bins of the converter, in noise, and in spread of all samples (two equal
# levels lie two standard deviations apart, the half-modes of plain noise less than one).
LEAST_BINS = 3.0
LEAST_NOISE = 6.0
LEAST_SPREAD = 1.5
LEAST_SAMPLES = 3


@dataclass(frozen=True)
class Levels:
    """What the histogram says, all in volts; shares are of all samples.

    `count` is 0 (no numbers at all), 1 or 2. With one level `low` and `high` are the same; with none they are NaN.
    `noise` is the standard deviation about a level, `clipped` the share at the ends of the converter.
    """

    count: int
    low: float
    high: float
    noise: float
    lowest: float
    highest: float
    mean: float
    low_share: float  # below the 50 % level
    clipped: float
    samples: int

    @property
    def amplitude(self) -> float:
        """From the low level to the high level."""
        return self.high - self.low

    def reference(self, percent: float) -> float:
        """The reference level at `percent` from the low to the high level (IEEE Std 181, 5.3)."""
        return reference_level(self.low, self.high, percent)


def reference_level(low: float, high: float, percent: float) -> float:
    """s1 + x/100 · (s2 − s1), IEEE Std 181, 5.3."""
    return low + percent / 100.0 * (high - low)


def find_levels(trace: Trace, histogram: Histogram | None = None) -> Levels:
    """Levels of a trace of any content.

    The range from the lowest to the highest filled bin is cut into halves; the mode of each is a state level (IEEE Std
    181, 5.2), refined to the mean of the samples close to it, since a bin is too coarse a ruler.
    """
    histogram = count_samples(trace) if histogram is None else histogram
    clipped = histogram.clipped / histogram.size if histogram.size else 0.0
    if histogram.finite == 0:
        nan = math.nan
        return Levels(0, nan, nan, nan, nan, nan, nan, 0.0, clipped, histogram.size)
    counts = histogram.counts
    bins = np.arange(counts.size)
    centre = float(counts @ bins) / histogram.finite
    spread = math.sqrt(float(counts @ (bins - centre) ** 2) / histogram.finite)
    mean = histogram.volts(centre)
    low, high, noise = half_modes(histogram)
    two = high - low > max(LEAST_BINS if trace.coded else 0.0, LEAST_SPREAD * spread)
    two = two and (math.isnan(noise) or histogram.width * (high - low) > LEAST_NOISE * noise)
    if two and min(counts[bins <= (low + high) / 2].sum(), counts[bins > (low + high) / 2].sum()) >= LEAST_SAMPLES:
        lower, upper = (refine(trace, histogram, mode, (high - low) / 4.0, noise) for mode in (low, high))
        share = float(counts[bins < (low + high) / 2].sum()) / histogram.finite
        floor = noise if math.isfinite(noise) else histogram.width / math.sqrt(12.0)
        return Levels(2, lower, upper, floor, histogram.lowest, histogram.highest, mean, share, clipped, histogram.size)
    mode = float(mode_between(counts, 0, counts.size, int(spread / 2.0)))
    noise = histogram.noise(mode, max(3.0, 4.0 * spread))
    floor = noise if math.isfinite(noise) else histogram.width / math.sqrt(12.0)
    level = refine(trace, histogram, mode, max(1.0, 3.0 * spread), floor)
    return Levels(1, level, level, floor, histogram.lowest, histogram.highest, mean, 0.5, clipped, histogram.size)


def half_modes(histogram: Histogram) -> tuple[float, float, float]:
    """Bin numbers of the modes of the lower and upper half, and the noise about them in volts (NaN if not seen)."""
    counts = histogram.counts
    filled = np.flatnonzero(counts)
    first, last = int(filled[0]), int(filled[-1])
    middle = (first + last + 1) // 2
    half = int(max((last - first) / 64.0, (last - first) / 2.0 / math.sqrt(histogram.finite)))
    low = mode_between(counts, first, max(middle, first + 1), half)
    high = mode_between(counts, middle, last + 1, half)
    reach = max(1.0, (high - low) / 6.0)
    noises = [histogram.noise(mode, reach) for mode in (low, high)]
    known = [noise for noise in noises if math.isfinite(noise)]
    return float(low), float(high), max(known) if known else math.nan


def mode_between(counts: NDArray[np.int64], start: int, end: int, half: int) -> int:
    """The fullest bin from `start` to before `end`, of the fullest neighbourhood of ± `half` bins.

    A wide peak with few samples has many tops; summing neighbours first finds the peak, and then its top.
    """
    part = counts[start:end]
    if half > 0:
        summed = np.convolve(part, np.ones(2 * half + 1, np.int64), mode="full")[half : half + part.size]
        peak = int(np.argmax(summed))
        start += max(0, peak - half)
        part = part[max(0, peak - half) : peak + half + 1]
    return start + int(np.argmax(part))


def refine(trace: Trace, histogram: Histogram, mode: float, widest: float, noise: float) -> float:
    """Mean in volts of the samples within about three times the noise of a mode (in bins), at most `widest` bins."""
    width = histogram.width
    reach = 1.0 if width == 0.0 or not math.isfinite(noise) else 3.0 * noise / width
    reach = max(0.0, min(max(1.0, reach), widest))
    if not trace.coded:
        centre, half = trace.sample(histogram.volts(mode)), (reach + 0.5) * width / trace.step
        with np.errstate(all="ignore"):  # infinite samples and sums are left out by their comparison, not by a warning
            near = trace.samples[np.abs(trace.samples - centre) <= half]
            level = trace.volts(float(near.mean(dtype=np.float64))) if near.size else math.nan
        return level if math.isfinite(level) else histogram.volts(mode)
    bins = np.arange(histogram.counts.size)
    for _ in range(2):  # the second time about the first mean: a window about the mode pulls towards whole bins
        weights = histogram.counts * np.clip(reach + 0.5 - np.abs(bins - mode), 0.0, 1.0)
        total = float(weights.sum())
        mode = float(weights @ bins) / total if total > 0.0 else mode
    return histogram.volts(mode)
