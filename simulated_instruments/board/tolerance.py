"""Seeded tolerances: the same seed and name always give the same number. It knows no part.

Every number has its own name, so that adding a part to a circuit changes no other part of any specimen.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from zlib import crc32

import numpy as np

from autobench.quantity import Span

# Production testing cuts the tails off: nothing further out than this was ever fitted.
TRUNCATED = 2.7  # standard deviations


@dataclass(frozen=True)
class Tolerance:
    """Draws of one specimen."""

    seed: int

    def generator(self, name: str) -> np.random.Generator:
        """A generator of its own for everything called `name`."""
        return np.random.default_rng([self.seed & 0xFFFF_FFFF_FFFF_FFFF, crc32(name.encode())])

    def factor(self, name: str, sigma: float) -> float:
        """1 ± `sigma`, normal, cut off at `TRUNCATED` standard deviations."""
        generator = self.generator(name)
        while True:
            steps = float(generator.standard_normal())
            if abs(steps) <= TRUNCATED:
                return 1.0 + sigma * steps

    def between(self, name: str, span: Span) -> float:
        """A value in `span` (both ends above 0), equally likely in each octave."""
        low, high = math.log(span.low or 1e-9), math.log(span.high or 1e-9)
        return math.exp(float(self.generator(name).uniform(low, high)))

    def uniform(self, name: str, low: float, high: float) -> float:
        """A value from `low` to `high`, equally likely everywhere."""
        return float(self.generator(name).uniform(low, high))

    def choice(self, name: str, choices: Sequence[str]) -> str:
        """One of `choices`."""
        return choices[int(self.generator(name).integers(len(choices)))]
