"""The amplitude histogram of a trace, in one pass, with what neighbouring samples say of the noise. Knows no levels."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from autobench.signals.trace import Trace

BINS = 256
# Counting in blocks keeps the widened indices in the cache; at once they would take eight bytes a sample.
BLOCK = 1 << 17
# Floating-point samples closer together than this are all the same: no voltage is that small.
LEAST_SPAN = 1e-100


@dataclass(frozen=True, eq=False)
class Histogram:
    """`counts` of 256 bins; the middle of bin b lies at `origin` + b · `width` volts.

    `pairs` (256 × 256) counts pairs of neighbouring samples, every other one. `size` samples in all, `finite` of them
    numbers, `clipped` of them at the ends of the converter; `lowest` and `highest` are the extremes in volts.
    """

    counts: NDArray[np.int64]
    pairs: NDArray[np.int64]
    origin: float
    width: float
    size: int
    finite: int
    clipped: int
    lowest: float
    highest: float

    def volts(self, position: float) -> float:
        """Volts of a bin number; fractions allowed."""
        return self.origin + position * self.width

    def noise(self, position: float, most: float) -> float:
        """Standard deviation in volts of the samples about `position` (a bin number), from neighbours' differences.

        Differences leave out what changes slowly (ringing, droop). The window opens from two bins to four standard
        deviations, at most ± `most` bins, so that the corners of edges stay outside. Rounding sets the floor: a whole
        bin wide, it has the standard deviation width/√12. NaN where no two neighbours lie there.
        """
        reach, deviation = min(2.0, most), math.nan
        for _ in range(12):
            deviation = self.deviation(position, reach)
            wanted = min(most, 4.0 * deviation)
            if not wanted > reach * 1.02:
                break
            reach = wanted
        return self.width * max(deviation, math.sqrt(1.0 / 12.0))

    def noise_of_steps(self) -> float:
        """Standard deviation in volts of the samples about a slow waveform, from what most neighbours differ by.

        The middle half of the differences, so that edges do not count; at least that of rounding, width/√12.
        """
        bins = np.arange(BINS)
        apart = np.bincount(np.abs(bins[:, None] - bins[None, :]).ravel(), weights=self.pairs.ravel(), minlength=BINS)
        if not apart.any():
            return self.width / math.sqrt(12.0)
        # Median of |difference| of two normal samples: 0.6745 √2 standard deviations; bins are a whole one wide.
        shares = np.cumsum(apart) / apart.sum()
        place = int(np.searchsorted(shares, 0.5))
        below = float(shares[place - 1]) if place else 0.0
        median = place - 0.5 + (0.5 - below) / (float(shares[place]) - below) if place else 0.0
        return self.width * max(median / (0.6745 * math.sqrt(2.0)), math.sqrt(1.0 / 12.0))

    def deviation(self, position: float, reach: float) -> float:
        """Standard deviation in bins of the pairs that lie within ± `reach` bins of `position`; NaN without any."""
        low, high = max(0, math.ceil(position - reach)), min(BINS, math.floor(position + reach) + 1)
        window = self.pairs[low:high, low:high]
        total = int(window.sum())
        if total == 0:
            return math.nan
        offsets = np.arange(window.shape[0])
        squares = (offsets[:, None] - offsets[None, :]) ** 2
        return math.sqrt(float((window * squares).sum()) / total / 2.0)


def count_samples(trace: Trace) -> Histogram:
    """Histogram of a trace of any content; floating-point samples are sorted into 256 bins from lowest to highest."""
    if trace.coded:
        codes = np.ascontiguousarray(trace.samples).view(np.uint8)
        origin, width, finite = trace.volts(0.0), trace.step, codes.size
        lost = 0
    else:
        codes, origin, width, lost = sort_into_bins(trace)
        finite = codes.size
    pairs = count_pairs(codes)
    counts = pairs.sum(axis=0) + pairs.sum(axis=1)
    if codes.size % 2:
        counts[codes[-1]] += 1
    filled = np.flatnonzero(counts)
    lowest = origin + float(filled[0]) * width if filled.size else math.nan
    highest = origin + float(filled[-1]) * width if filled.size else math.nan
    clipped = lost + count_clipped(trace, counts)
    return Histogram(counts, pairs, origin, width, trace.samples.size, finite, clipped, lowest, highest)


def count_pairs(codes: NDArray[np.uint8]) -> NDArray[np.int64]:
    """How often each pair of neighbouring codes occurs (every other pair), two codes read as one number."""
    words = codes[: codes.size // 2 * 2].view(np.uint16)
    pairs: NDArray[np.int64] = np.bincount(words[:BLOCK], minlength=BINS * BINS)
    for start in range(BLOCK, words.size, BLOCK):
        pairs += np.bincount(words[start : start + BLOCK], minlength=BINS * BINS)
    return pairs.reshape(BINS, BINS)


def sort_into_bins(trace: Trace) -> tuple[NDArray[np.uint8], float, float, int]:
    """Bins of the finite samples, the middle of the first bin and the width in volts, and how many are infinite."""
    usable = np.isfinite(trace.samples)
    lost = int(trace.samples.size - usable.sum() - np.isnan(trace.samples).sum())
    values = trace.samples[usable].astype(np.float64)
    if values.size == 0:
        return np.zeros(0, np.uint8), 0.0, 0.0, lost
    low, high = float(values.min()), float(values.max())
    span = high - low
    if not span > LEAST_SPAN:
        return np.zeros(values.size, np.uint8), trace.volts(low), 0.0, lost
    width = span / (BINS - 1)
    scaled = (values - low) * ((BINS - 1) / span)
    return np.rint(scaled).astype(np.uint8), trace.volts(low), width * trace.step, lost


def count_clipped(trace: Trace, counts: NDArray[np.int64]) -> int:
    """Finite samples at or beyond the converter's ends."""
    if trace.clipped is None:
        return 0
    low, high = trace.clipped
    if trace.coded:
        codes = np.arange(BINS)
        return int(counts[(codes <= low) | (codes >= high)].sum())
    finite = np.isfinite(trace.samples)
    return int(((trace.samples <= low) | (trace.samples >= high))[finite].sum())
