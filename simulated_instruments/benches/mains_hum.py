"""Hum at the mains' frequency, as a voltage between two things that should be at one. It knows neither of them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class MainsHum:
    """A sine of `volts` (V, peak) at `hertz`, with `phase` (rad) at time 0."""

    hertz: float
    volts: float
    phase: float

    def samples(self, times: Array) -> Array:
        """Volts at `times` (s)."""
        found: Array = self.volts * np.sin(2.0 * math.pi * self.hertz * times + self.phase)
        return found

    def mean(self, start: float, stop: float) -> float:
        """Mean volts over [start, stop]: nothing over whole periods, which is why meters integrate over them."""
        speed = 2.0 * math.pi * self.hertz
        if stop <= start:
            return self.volts * math.sin(speed * stop + self.phase)
        swing = math.cos(speed * start + self.phase) - math.cos(speed * stop + self.phase)
        return self.volts * swing / (speed * (stop - start))
