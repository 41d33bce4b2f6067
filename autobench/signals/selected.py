"""What a line is while others say that it is driven: at a level, or between. It does not say who drives it.

A part is given time to answer, so each access counts with its last moment: the one in which its reader looks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from autobench.signals.edges import find_edges
from autobench.signals.families import Family
from autobench.signals.trace import Trace

Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Selected:
    """`accesses` in the record, and the shares of them (0 … 1) that end with the line low, high or between."""

    accesses: int
    low: float
    high: float
    between: float

    @property
    def at_level(self) -> float:
        """Share of the accesses in which the line is at a level; 0 without any."""
        return self.low + self.high


@dataclass(frozen=True)
class Telling:
    """A line that says when another is driven: while it is at `level` (`low` or `high`)."""

    trace: Trace
    receiver: Family
    level: str

    def mask(self) -> Mask:
        """The samples in which it says so. Between the levels it says nothing."""
        if self.level == "low":
            return np.asarray(self.trace.samples <= self.trace.sample(self.receiver.low_in))
        return np.asarray(self.trace.samples >= self.trace.sample(self.receiver.high_in))


def while_selected(line: Trace, receiver: Family, telling: Sequence[Telling]) -> Selected:
    """`line` at the end of every access that all of `telling` agree on. Raises `ValueError` for traces of another
    capture."""
    active = np.ones(line.samples.size, dtype=bool)
    for one in telling:
        if one.trace.interval != line.interval or one.trace.samples.size != line.samples.size:
            raise ValueError("only lines of one capture can be compared")
        active &= one.mask()
    changes = np.diff(active.astype(np.int8), prepend=0, append=0)
    begins, ends = np.flatnonzero(changes == 1), np.flatnonzero(changes == -1)
    whole = (begins > 0) & (ends < active.size)
    # The last sample may lie within the edge that ends the access, where there is more than one.
    looks = np.maximum(ends - 2, begins)[whole]
    if not looks.size:
        return Selected(0, 0.0, 0.0, 0.0)
    seen = line.samples[looks]
    low = float(np.mean(seen <= line.sample(receiver.low_in)))
    high = float(np.mean(seen >= line.sample(receiver.high_in)))
    return Selected(int(looks.size), low, high, 1.0 - low - high)


@dataclass(frozen=True)
class Delays:
    """Seconds from each fall of a line to the next fall of another; `starts` falls of the first, `count` that were
    followed."""

    starts: int
    count: int
    least: float
    typical: float
    most: float


def falls(trace: Trace, receiver: Family) -> NDArray[np.float64]:
    """When a line falls, in seconds, as its receiver sees it."""
    middle = 0.5 * (receiver.low_in + receiver.high_in)
    return find_edges(trace, receiver.low_in, middle, receiver.high_in).falling


def delays_between(first: Trace, second: Trace, receivers: tuple[Family, Family]) -> Delays:
    """Delays from falls of `first` to the next fall of `second`, before `first` falls again."""
    starts, ends = falls(first, receivers[0]), falls(second, receivers[1])
    if starts.size < 2:
        return Delays(int(starts.size), 0, np.nan, np.nan, np.nan)
    after = np.searchsorted(ends, starts[:-1])
    followed = after < ends.size
    gaps = ends[after[followed]] - starts[:-1][followed]
    gaps = gaps[gaps < np.diff(starts)[followed]]
    if not gaps.size:
        return Delays(int(starts.size), 0, np.nan, np.nan, np.nan)
    return Delays(int(starts.size), int(gaps.size), float(gaps.min()), float(np.median(gaps)), float(gaps.max()))


def falls_while(strobe: Trace, receiver: Family, telling: Telling) -> int:
    """How often `strobe` falls while another line of the capture says so."""
    times = falls(strobe, receiver)
    places = np.rint((times - strobe.start) / strobe.interval).astype(np.int64)
    return int(np.count_nonzero(telling.mask()[np.clip(places, 0, strobe.samples.size - 1)]))
