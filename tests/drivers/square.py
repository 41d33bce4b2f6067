"""A square wave for the scope tests, exact at any time: the truth is in its few numbers. Nothing here is checked."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulated_instruments.devices.terminals import Edges


@dataclass
class Square:
    """The same square wave on every input, from `begins` on; before that it is low. Everything exact at any time."""

    low: float = 0.2
    high: float = 3.8
    rate: float = 1e6
    duty: float = 0.3
    begins: float = 0.0

    def samples(self, channel: int, times: NDArray[np.float64], input_ohms: float) -> NDArray[np.float64]:
        cycles = (times - self.begins) * self.rate
        up = (cycles - np.floor(cycles) < self.duty) & (times >= self.begins)
        return np.where(up, self.high, self.low)

    def extremes(
        self, channel: int, edges: NDArray[np.float64], input_ohms: float
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        at = self.samples(channel, edges, input_ohms)
        cycles = np.maximum((edges - self.begins) * self.rate, -0.5)
        rises, falls = np.floor(cycles), np.floor(cycles - self.duty)
        highest = np.where(np.diff(rises) > 0, self.high, at[:-1])
        return np.where((np.diff(falls) > 0) & (cycles[1:] > self.duty), self.low, at[:-1]), highest

    def crossing(self, channel: int, level: float, rising: bool, start: float, stop: float) -> float | None:
        if not self.low < level < self.high:
            return None
        first = self.begins + (0.0 if rising else self.duty / self.rate)
        found = first + max(0, math.ceil((start - first) * self.rate)) / self.rate
        return found if start <= found <= stop else None

    def edges(self, channel: int, level: float, start: float, stop: float) -> Edges:
        """Rising edges for a counter."""
        first = math.ceil((start - self.begins) * self.rate - 1e-6)
        last = math.floor((stop - self.begins) * self.rate + 1e-6)
        if not self.low < level < self.high or last < first:
            return Edges(0)
        return Edges(last - first + 1, self.begins + first / self.rate, self.begins + last / self.rate)

    def swing(self, channel: int, start: float, stop: float) -> tuple[float, float, float]:
        """Lowest, highest and mean volts."""
        return self.low, self.high, self.low + self.duty * (self.high - self.low)

    def key(self, channel: int) -> str:
        return f"square {channel}"
