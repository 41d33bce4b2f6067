"""Seeded chance for simulated instruments: the same seed and key give the same value, whatever was drawn before.

Keys are hashed with a published hash, so that a value is the same on every machine and in every process. It must not
keep a generator that is drawn from in turn: then the order of readings would change them.
"""

from __future__ import annotations

import functools
import hashlib
from collections import Counter

import numpy as np


def generator(seed: int, *key: str | float) -> np.random.Generator:
    """A generator of its own for this seed and key."""
    text = "\x1f".join([str(seed), *(str(part) for part in key)])
    return np.random.default_rng(int.from_bytes(hashlib.blake2b(text.encode(), digest_size=16).digest(), "big"))


@functools.lru_cache(maxsize=4096)
def trait(seed: int, largest: float, *key: str | float) -> float:
    """A lasting error of one specimen: uniform within ±`largest`, in the unit of `largest`."""
    return float(generator(seed, "trait", *key).uniform(-largest, largest))


class ReadingNoise:
    """Normal noise, one value a reading: the n-th reading with a key has its own value."""

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self._readings: Counter[tuple[str | float, ...]] = Counter()

    def draw(self, *key: str | float) -> float:
        """Standard normal noise of the next reading with this key."""
        self._readings[key] += 1
        return float(generator(self.seed, "noise", *key, self._readings[key]).standard_normal())
