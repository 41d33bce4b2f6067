"""Plateaus between the logic levels: how often, at what level and how long. It does not say what causes them.

Two outputs that fight, or a bus that nothing drives, hold a line between the levels for a while; an edge only passes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from autobench.signals.trace import Trace

Places = NDArray[np.int64]

# An edge crosses the whole band; a plateau stays within this share of it.
FLATNESS = 0.5
# Fewer samples than this cannot show that a stay is flat: on a slow time base an edge leaves one between the levels.
LEAST_SAMPLES = 4
MOST_RUNS = 2000
BLOCK = 1 << 16


@dataclass(frozen=True)
class Plateaus:
    """`count` stays between the levels, the `longest` in seconds, and their `share` of all samples.

    `level` is that of the longest in volts; NaN with none.
    """

    count: int
    longest: float
    share: float
    level: float


NOTHING = Plateaus(0, 0.0, 0.0, math.nan)


def find_plateaus(trace: Trace, low: float, high: float, least: float = 50e-9) -> Plateaus:
    """Stays between `low` and `high` volts that last at least `least` seconds (and four samples) and are flat.

    Of more than two thousand stays a part, taken evenly, is looked at and the count scaled up.
    """
    if trace.samples.size == 0 or not low < high:
        return NOTHING
    starts, ends = find_stays(trace, low, high, max(LEAST_SAMPLES, math.ceil(least / trace.interval * (1.0 - 1e-9))))
    if starts.size == 0:
        return NOTHING
    part = np.unique(np.linspace(0, starts.size - 1, min(starts.size, MOST_RUNS)).astype(np.int64))
    flat = [
        (start, end)
        for start, end in zip(starts[part].tolist(), ends[part].tolist(), strict=True)
        if is_flat(trace, start, end, high - low)
    ]
    if not flat:
        return NOTHING
    scale = starts.size / part.size
    start, end = max(flat, key=lambda run: run[1] - run[0])
    level = float(np.median(trace.samples[start:end].astype(np.float64)))
    share = min(1.0, scale * sum(end - start for start, end in flat) / trace.samples.size)
    return Plateaus(round(scale * len(flat)), (end - start) * trace.interval, share, trace.volts(level))


def find_stays(trace: Trace, low: float, high: float, length: int) -> tuple[Places, Places]:
    """First sample of each stay strictly between the levels of at least `length` samples, and the first one after it.

    Every stay of that length holds one of every `length` samples, and the one half a length before or after it: so few
    samples of a line that switches cleanly are looked at twice.
    """
    samples = trace.samples
    bottom, top = trace.sample(low), trace.sample(high)
    if trace.coded:
        bottom, top = math.floor(bottom), math.ceil(top)
    pillars = samples[length - 1 :: length]
    standing = np.flatnonzero((pillars > bottom) & (pillars < top)) * length + (length - 1)
    half = length // 2
    sides: list[NDArray[Any]] = [
        np.take(samples, np.clip(standing + way, 0, samples.size - 1)) for way in (-half, half)
    ]
    standing = standing[np.logical_or.reduce([(side > bottom) & (side < top) for side in sides])]
    found = [np.zeros((2, 0), np.int64)]
    for first, last in regions(standing, length, samples.size):
        between = (samples[first:last] > bottom) & (samples[first:last] < top)
        corners = np.flatnonzero(between[1:] != between[:-1]) + 1
        corners = np.concatenate([[0] * bool(between[0]), corners, [between.size] * bool(between[-1])])
        found.append(corners.astype(np.int64).reshape(-1, 2).T + first)
    starts, ends = np.concatenate(found, axis=1)
    long_enough = ends - starts >= length
    return starts[long_enough], ends[long_enough]


def regions(standing: Places, length: int, size: int) -> list[tuple[int, int]]:
    """Stretches of whole blocks that hold all stays about the places `standing`, from first to before last sample.

    A stay that went on for `length` samples beyond its last standing place would have another one.
    """
    blocks = np.unique(np.concatenate([(standing - length) // BLOCK, standing // BLOCK, (standing + length) // BLOCK]))
    if blocks.size == 0:
        return []
    breaks = np.flatnonzero(np.diff(blocks) > 1)
    firsts = blocks[np.concatenate([[0], breaks + 1])] * BLOCK
    lasts = blocks[np.append(breaks, blocks.size - 1)] * BLOCK + BLOCK
    return [
        (max(0, int(first)), min(size, int(last))) for first, last in zip(firsts, lasts, strict=True) if first < size
    ]


def is_flat(trace: Trace, start: int, end: int, band: float) -> bool:
    """Whether the middle half of a stay keeps within a part of the band."""
    quarter = (end - start) // 4
    middle = trace.samples[start + quarter : max(end - quarter, start + quarter + 1)]
    spread = (float(middle.max()) - float(middle.min())) * trace.step
    return spread <= FLATNESS * band
