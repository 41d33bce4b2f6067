"""Where samples cross a level for good: crossings confirmed by hysteresis, in one pass block by block.

It works on bare samples and sample numbers, and knows neither volts nor seconds nor what a crossing means.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from autobench.signals.trace import Samples

Places = NDArray[np.int64]
Flags = NDArray[np.bool_]
# Samples looked at together: the crossings of a busy clock then take some megabytes, and what a block costs in itself
# (some forty calls) is small.
BLOCK = 1 << 21


@dataclass(frozen=True)
class Thresholds:
    """In sample values: a run at or above `middle` counts once it reaches `upper`, one below once it reaches `lower`.

    A counted run that never gets to `full_upper` or down to `full_lower` is stunted. `exact` is the level crossings are
    placed at: for codes all others are whole numbers, so that samples compare as the bytes they are.
    """

    exact: float
    lower: float
    middle: float
    upper: float
    full_lower: float
    full_upper: float


@dataclass(frozen=True, eq=False)
class Crossings:
    """Sample numbers (with fractions) of the confirmed crossings, `upward` and `downward` in turn.

    `stunted` says how many whole runs between two crossings stayed stunted.
    """

    upward: NDArray[np.float64]
    downward: NDArray[np.float64]
    stunted: int


class Row:
    """Numbers appended in place: a row that is copied together from parts would be written twice."""

    def __init__(self) -> None:
        self.values: NDArray[np.float64] = np.empty(0)
        self.size = 0

    def room(self, count: int, more: float) -> NDArray[np.float64]:
        """Space for `count` numbers at the end; where the row is too short, for `more` times as many to come."""
        if self.size + count > self.values.size:
            grown = np.empty(self.size + count + math.ceil(1.02 * more * count))
            grown[: self.size] = self.values[: self.size]
            self.values = grown
        self.size += count
        return self.values[self.size - count : self.size]


@dataclass
class Progress:
    """What is carried from block to block: the run that goes on, the last confirmed one, and what was found."""

    begin: int = -1  # last sample before the run that goes on; -1: the trace began with it
    above: bool | None = None  # side of the last confirmed run, `None` while there is none
    full: bool = True  # whether that run has been full; the first, cut by the trace's beginning, counts as full
    stunted: int = 0
    upward: Row = field(default_factory=Row)
    downward: Row = field(default_factory=Row)


def find_crossings(samples: Samples, thresholds: Thresholds) -> Crossings:
    """Crossings of the middle, each placed by a straight line between the samples on either side of it.

    A run between two crossings counts once one of its samples reaches its threshold; runs that do not are taken for
    noise about the middle, and the crossing is the one at which the counting run began. What came before the first
    counting run is not known, so it begins with no crossing. Samples that are no numbers never reach anything.
    """
    progress = Progress()
    if samples.size and spans(samples, thresholds):
        for start in range(0, samples.size, BLOCK):
            advance(progress, samples, start, min(samples.size, start + BLOCK), thresholds)
    upward, downward = progress.upward, progress.downward
    return Crossings(upward.values[: upward.size], downward.values[: downward.size], progress.stunted)


def spans(samples: Samples, thresholds: Thresholds) -> bool:
    """Whether both thresholds are reached at all: a line that floats about the middle is not worth a closer look."""
    if samples.dtype == np.uint8:
        return bool(samples.min() <= thresholds.lower and samples.max() >= thresholds.upper)
    return bool(np.fmin.reduce(samples) <= thresholds.lower and np.fmax.reduce(samples) >= thresholds.upper)


def advance(progress: Progress, samples: Samples, start: int, end: int, thresholds: Thresholds) -> None:
    """Take in the samples from `start` to before `end`, and the crossing to the next one."""
    block = samples[start : end + 1]
    above = block >= thresholds.middle
    crossed = np.flatnonzero(above[1:] != above[:-1])
    corners = np.empty(crossed.size + 2, np.int64)
    corners[0], corners[-1] = 0, end - start
    np.add(crossed, 1, out=corners[1:-1])
    before = corners[:-1] + (start - 1)
    before[0], progress.begin = progress.begin, progress.begin if crossed.size == 0 else int(before[-1])
    if crossed.size and corners[-2] == corners[-1]:  # the next block begins with a run of its own
        corners, before = corners[:-1], before[:-1]
    counts, full = judge_runs(block[: end - start], corners, bool(above[0]), thresholds)
    confirmed, upward = confirm(progress, before, counts, full, bool(above[0]))
    shares = interpolate(samples, confirmed, thresholds.exact)
    for own, row in ((0 if upward else 1, progress.upward), (1 if upward else 0, progress.downward)):
        chosen = confirmed[own::2]
        np.add(chosen, shares[own::2], out=row.room(chosen.size, (samples.size - end) / BLOCK))


def confirm(progress: Progress, before: Places, counts: Flags, full: Flags, first_above: bool) -> tuple[Places, bool]:
    """Of the crossings `before` each run those at which a counting run of the other side begins; does the first rise?

    `first_above` is the side of the first run.
    """
    turned, whole = np.ones(before.size, bool), bool(counts.all())
    if not whole:
        sides = np.zeros(before.size, bool)
        sides[0 if first_above else 1 :: 2] = True
        before, full, sides = before[counts], full[counts], sides[counts]
        if before.size == 0:
            return before, True
        turned = np.ones(before.size, bool)
        turned[1:] = sides[1:] != sides[:-1]
        first_above = bool(sides[0])
        last_above = bool(sides[-1])
    else:
        last_above = first_above is (before.size % 2 == 1)
    turned[0] = progress.above is not None and first_above is not progress.above
    progress.above = last_above
    follow_fullness(progress, turned, full)
    # Runs that all count take turns, so that only the first can go on from the block before.
    chosen = before[0 if turned[0] else 1 :] if whole else before[turned]
    return chosen, first_above is bool(turned[0])


def interpolate(samples: Samples, before: Places, level: float) -> NDArray[Any]:
    """Shares of a step (0 … 1) at which straight lines from the samples `before` to the next ones cross `level`."""
    left, right = np.take(samples, before), np.take(samples[1:], before)
    if samples.dtype == np.uint8:  # single precision is finer than a code can tell
        shares = left.astype(np.float32)
        steps = right.astype(np.float32)
        steps -= shares
        np.subtract(level, shares, out=shares)
        shares /= steps
        return shares
    begins = left.astype(np.float64)
    with np.errstate(all="ignore"):
        share: NDArray[np.float64] = (level - begins) / (right.astype(np.float64) - begins)
    share[~((share >= 0.0) & (share <= 1.0))] = 0.5  # a sample that is no number
    return share


def judge_runs(block: Samples, corners: Places, first_above: bool, thresholds: Thresholds) -> tuple[Flags, Flags]:
    """Which runs from corner to corner (above and below in turn) count, and which are full.

    The sample in the middle of a run shows most of them full at once; only the others are searched from end to end.
    """
    counts, full = np.empty(corners.size - 1, bool), np.empty(corners.size - 1, bool)
    seen: NDArray[Any] = np.take(block, (corners[:-1] + corners[1:]) >> 1)
    for above in (True, False):
        own = slice(0 if above is first_above else 1, None, 2)
        full[own] = seen[own] >= thresholds.full_upper if above else seen[own] <= thresholds.full_lower
    if full.all():
        return full, full
    counts[:] = full
    unclear = np.flatnonzero(~full)
    edges = np.stack([corners[unclear], corners[unclear + 1]], axis=1).ravel()
    if edges[-1] == block.size:
        edges = edges[:-1]
    highest, lowest = np.fmax.reduceat(block, edges)[::2], np.fmin.reduceat(block, edges)[::2]
    up = (unclear % 2 == 0) == first_above
    counts[unclear] = np.where(up, highest >= thresholds.upper, lowest <= thresholds.lower)
    full[unclear] = np.where(up, highest >= thresholds.full_upper, lowest <= thresholds.full_lower)
    return counts, full


def follow_fullness(progress: Progress, turned: Flags, full: Flags) -> None:
    """Count the confirmed runs that end here without having been full."""
    if progress.full and full.all():
        return
    groups = np.flatnonzero(turned)
    if groups.size == 0 or groups[0] > 0:
        groups = np.concatenate([[0], groups])
    fullness = np.logical_or.reduceat(full, groups)
    if turned[0]:
        progress.stunted += not progress.full
    else:
        fullness[0] |= progress.full
    progress.stunted += int(np.count_nonzero(~fullness[:-1]))
    progress.full = bool(fullness[-1])
