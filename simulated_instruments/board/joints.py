"""Joints that open and close: by themselves, with warmth, or when the board is bent. Values only."""

from __future__ import annotations

import math
from dataclasses import dataclass

APART = 1e-8  # s; times nearer than this are one


@dataclass(frozen=True)
class Joint:
    """An element of the network (a track, contact or socket pin) that comes and goes.

    It is `ohms` (Ω) for `off` seconds after every `on` seconds, the first time `on` seconds after the board was made,
    once the board is at least `warmth` degrees warmer than cold, and only from `flexed` seconds on, when somebody
    begins to bend the board (`inf`: nobody ever does).
    """

    element: str
    ohms: float
    on: float
    off: float
    warmth: float = 0.0
    flexed: float = 0.0

    def is_open(self, time: float, warmth: float) -> bool:
        """Whether it does not conduct as it should at `time` (s) with the board `warmth` °C above cold."""
        if warmth < self.warmth or time < self.flexed:
            return False
        return (time + 2.0 * APART - self.flexed) % (self.on + self.off) >= self.on

    def next_change(self, time: float) -> float:
        """When it opens or closes next by time alone, after `time`."""
        if time < self.flexed:
            return self.flexed
        whole = self.on + self.off
        turn = self.flexed + math.floor((time - self.flexed) / whole) * whole
        # The next of its times that is really later: a step of nothing would lead nowhere.
        return next(
            moment for moment in (turn + self.on, turn + whole, turn + whole + self.on) if moment > time + APART
        )
