"""Whether two lines captured together carry the same: bridged, or one of them touched twice. It blames neither."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from autobench.signals.families import Family
from autobench.signals.trace import Trace

# Samples that differ within edges do not count: each line passes between its levels at its own moment.
LEAST_EDGES = 20
ALIKE = 0.999
BLOCK = 1 << 18


@dataclass(frozen=True)
class Likeness:
    """`share` of the samples that both receivers are sure of and that agree, of all that both are sure of (0 … 1).

    `seconds` is the time looked at, `edges` the fewer edges of the two lines in it, `variety` how many different
    lengths the pulses of the first one have: a program that goes round in a loop has a few, and in it two lines may
    happen to be alike.
    """

    share: float
    seconds: float
    edges: int
    variety: int = 0

    @property
    def identical(self) -> bool:
        """Whether enough was seen moving to call the lines one: varied traffic that never once differs."""
        return self.edges >= LEAST_EDGES and self.share >= ALIKE


def compare_lines(first: Trace, second: Trace, receivers: tuple[Family, Family]) -> Likeness:
    """Compare two traces of one capture, sample by sample, by what the receivers on the lines take them for.

    Raises `ValueError` where they are not of one capture (another interval or length).
    """
    if first.interval != second.interval or first.samples.size != second.samples.size:
        raise ValueError("only lines of one capture can be compared")
    sure = agreed = 0
    edges = [0, 0]
    last = [-1, -1]
    turns: list[NDArray[np.int64]] = []
    for start in range(0, first.samples.size, BLOCK):
        states = []
        for turn, (trace, family) in enumerate(zip((first, second), receivers, strict=True)):
            part = trace.samples[start : start + BLOCK]
            high, low = part >= trace.sample(family.high_in), part <= trace.sample(family.low_in)
            states.append((low, high))
            known = np.flatnonzero(low | high)
            values = np.concatenate([[last[turn]], high[known]]) if last[turn] >= 0 else high[known].astype(np.int64)
            changed = values[1:] != values[:-1]
            edges[turn] += int(np.count_nonzero(changed))
            if turn == 0:
                turns.append(start + known[changed if changed.size == known.size else np.append(False, changed)])
            last[turn] = int(values[-1]) if values.size else last[turn]
        (low, high), (other_low, other_high) = states
        agreed += int(np.count_nonzero((low & other_low) | (high & other_high)))
        sure += int(np.count_nonzero((low | high) & (other_low | other_high)))
    lengths = np.diff(np.concatenate(turns or [np.zeros(0, np.int64)])).astype(np.int64)
    return Likeness(agreed / sure if sure else 0.0, first.duration, min(edges), variety(lengths))


def variety(lengths: NDArray[np.int64]) -> int:
    """How many lengths there are, neighbouring ones counted as one: sampling alone makes two of each."""
    found = np.unique(lengths)
    return int(np.count_nonzero(np.diff(found, prepend=-2) > 1))
