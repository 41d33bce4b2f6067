"""What is going to happen on a bench by itself, in the order of the clock: a hand arrives, a tip slips off.

It keeps times and deeds and does none of them; the world does what is due before it answers anything.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterator
from itertools import count

Deed = Callable[[float], None]  # takes the time (s) it is done at


class Agenda:
    """Deeds to come. `whose` is what a deed moves (a tip, a knob), so that a later request can replace an earlier."""

    def __init__(self) -> None:
        self._order = count()
        self._deeds: list[tuple[float, int, str, Deed]] = []

    def add(self, time: float, whose: str, deed: Deed) -> None:
        """`deed` is to be done at `time` (s)."""
        heapq.heappush(self._deeds, (time, next(self._order), whose, deed))

    def drop(self, whose: str, after: float) -> None:
        """What `whose` was going to do later than `after` (s) is not done."""
        self._deeds = [entry for entry in self._deeds if entry[2] != whose or entry[0] <= after]
        heapq.heapify(self._deeds)

    def due(self, now: float) -> Iterator[tuple[float, Deed]]:
        """Deeds of times up to `now`, earliest first, each taken off as it is handed out; a deed may add further
        ones."""
        while self._deeds and self._deeds[0][0] <= now:
            time, _, _, deed = heapq.heappop(self._deeds)
            yield time, deed
