"""Plateaus between the logic levels: how often, at what level and how long. It does not say what causes them.

Two outputs that fight, or a bus that nothing drives, hold a line between the levels for a while; an edge only passes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from autobench.signals.trace import Trace

# An edge crosses the whole band; a plateau stays within this share of it.
FLATNESS = 0.5
MOST_RUNS = 2000


@dataclass(frozen=True)
class Plateaus:
    """`count` stays between the levels, the `longest` in seconds, and their `share` of all samples.

    `level` is that of the longest in volts; NaN with none.
    """

    count: int
    longest: float
    share: float
    level: float


def find_plateaus(trace: Trace, low: float, high: float, least: float = 50e-9) -> Plateaus:
    """Stays between `low` and `high` volts that last at least `least` seconds and are flat.

    Of more than two thousand stays a part, taken evenly, is looked at and the count scaled up.
    """
    nothing = Plateaus(0, 0.0, 0.0, math.nan)
    if trace.samples.size == 0 or not low < high:
        return nothing
    bottom, top = trace.sample(low), trace.sample(high)
    if trace.coded:
        bottom, top = math.floor(bottom), math.ceil(top)
    between = (trace.samples > bottom) & (trace.samples < top)
    edges = np.flatnonzero(between[1:] != between[:-1]) + 1
    if between[0]:
        edges = np.concatenate([[0], edges])
    if between[-1]:
        edges = np.concatenate([edges, [between.size]])
    starts, ends = edges[0::2], edges[1::2]
    long_enough = (ends - starts) * trace.interval >= least
    starts, ends = starts[long_enough], ends[long_enough]
    if starts.size == 0:
        return nothing
    part = np.unique(np.linspace(0, starts.size - 1, min(starts.size, MOST_RUNS)).astype(np.int64))
    flat = [
        (start, end)
        for start, end in zip(starts[part].tolist(), ends[part].tolist(), strict=True)
        if is_flat(trace, start, end, high - low)
    ]
    if not flat:
        return nothing
    scale = starts.size / part.size
    start, end = max(flat, key=lambda run: run[1] - run[0])
    level = float(np.median(trace.samples[start:end].astype(np.float64)))
    share = min(1.0, scale * sum(end - start for start, end in flat) / trace.samples.size)
    return Plateaus(round(scale * len(flat)), (end - start) * trace.interval, share, trace.volts(level))


def is_flat(trace: Trace, start: int, end: int, band: float) -> bool:
    """Whether the middle half of a stay keeps within a part of the band."""
    quarter = (end - start) // 4
    middle = trace.samples[start + quarter : max(end - quarter, start + quarter + 1)]
    spread = (float(middle.max()) - float(middle.min())) * trace.step
    return spread <= FLATNESS * band
