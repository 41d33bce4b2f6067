"""The error of placing edges by straight lines between samples, fitted together with the period. It finds no edges.

The error repeats with the place of an edge between two samples. Where the sample rate is near a simple multiple of the
signal's rate the places creep slowly, and the error passes for a part of the period: the more so the steeper the edge.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Times = NDArray[np.float64]
# Harmonics of the place between two samples; the corner of a steep ramp still shows in the tenth.
HARMONICS = 12
# The harmonics of ramps, of charging curves and of smooth edges fall about as steeply as this power (computed).
FALL = 1.5
# The first harmonic's size, in sample intervals, before anything is known of it: that of a charging curve which takes
# one interval from 10 % to 90 %, and the power of that time with which it falls (computed). It weighs as little as this
# share of one coefficient that the edges do show.
FIRST_GUESS, GUESS_FALL, GUESS_WEIGHT = 0.15, 1.4, 0.002
# What at least remains possible for edges so steep that corners lie between neighbouring samples: then low harmonics
# may cancel by chance (computed).
STEEP_FLOOR = 0.026
STEEP = 1.8  # sample intervals from 10 % to 90 %
ROUNDS, STEPS = 2, 12
# With fewer edges than this there is nothing to fit, and with more the places creep through all intervals many times.
LEAST_EDGES, MOST_EDGES = 8, 8192
# So many edges in a row show which places between two samples a signal visits.
IN_A_ROW = 64


@dataclass(frozen=True)
class Refined:
    """A period in seconds with its standard uncertainty, and the standard deviation `jitter` of one edge in seconds."""

    period: float
    uncertainty: float
    jitter: float


def refine(sides: Sequence[Times], period: float, interval: float, duration: float) -> Refined | None:
    """Period of evenly spaced edges with the interpolation error fitted beside it, each polarity its own.

    `sides` are the times of rising and of falling edges in seconds, `period` a first fit, `interval` that of the
    samples and `duration` the faster 10 % to 90 % transition. The error is a Fourier series of the place between two
    samples whose coefficients fall off by `FALL`; their common size comes from the edges themselves (empirical Bayes),
    so that what the edges cannot show widens the uncertainty. `None` with too few or too many edges.
    """
    if not LEAST_EDGES <= sum(side.size for side in sides) <= MOST_EDGES:
        return None
    numbers: list[Times] = [np.arange(side.size, dtype=np.float64) - (side.size - 1) / 2.0 for side in sides]
    starts = [float(side.mean()) for side in sides]
    floor = STEEP_FLOOR if duration < STEEP * interval else 0.0
    guess = FIRST_GUESS * (interval / duration) ** GUESS_FALL
    longest = max(side.size for side in sides)
    for _ in range(ROUNDS):
        sums = Sums(len(sides))
        for turn, (side, number) in enumerate(zip(sides, numbers, strict=True)):
            row = (starts[turn] + number * period) / interval
            sums.add(turn, columns(row, number / longest), side / interval - row)
        solved, deviation, spread = shrunk_fit(sums, guess, floor)
        period += float(solved[0]) / longest * interval
        starts = [start + float(solved[1 + turn]) * interval for turn, start in enumerate(starts)]
    return Refined(period, spread / longest * interval, deviation * interval)


def columns(row: Times, number: Times) -> Times:
    """What an edge's rest may depend on: its number, the start, and the harmonics of its place between two samples."""
    angles = 2.0 * math.pi * np.outer(row % 1.0, np.arange(1, HARMONICS + 1))
    return np.concatenate([number[:, None], np.ones((row.size, 1)), np.cos(angles), np.sin(angles)], axis=1)


class Sums:
    """Normal equations of all polarities: one slope, then the starts, then the harmonics of each polarity."""

    def __init__(self, sides: int) -> None:
        self.free = 1 + sides
        self.normal = np.zeros((self.free + 2 * HARMONICS * sides,) * 2)
        self.product = np.zeros(self.normal.shape[0])
        self.total = 0.0
        self.count = 0

    def add(self, turn: int, design: Times, rest: Times) -> None:
        """Take in the edges of polarity number `turn`."""
        first = self.free + 2 * HARMONICS * turn
        places = np.concatenate([[0, 1 + turn], np.arange(first, first + 2 * HARMONICS)])
        # Not by matrix products: threaded ones wait for other processes many times longer than these take.
        self.normal[np.ix_(places, places)] += np.einsum("ij,ik->jk", design, design)
        self.product[places] += np.einsum("ij,i->j", design, rest)
        self.total += float(np.einsum("i,i->", rest, rest))
        self.count += rest.size


def shrunk_fit(sums: Sums, guess: float, floor: float) -> tuple[Times, float, float]:
    """Least squares in which the harmonics are held small: solution, scatter, uncertainty of the slope.

    The common size of the harmonics and the scatter are those that make the edges seen most probable (MacKay's fixed
    point of the evidence, Neural Computation 4 (1992) 415, from memory).
    """
    free, normal, product = sums.free, sums.normal, sums.product
    falls = np.tile(np.arange(1.0, HARMONICS + 1.0) ** (2.0 * FALL), (product.size - free) // HARMONICS)
    variance, size = max(sums.total / sums.count, 1e-16), guess**2
    for _ in range(STEPS):
        # Without noise, places visited in turn leave harmonics that cannot be told apart: they stay small all the same.
        held = normal + np.diag(np.concatenate([np.zeros(free), falls * (variance / size + 1e-9 * sums.count)]))
        inverse = np.linalg.inv(held)
        solved = inverse @ product
        left = sums.total - 2.0 * float(solved @ product) + float(solved @ normal @ solved)
        told = falls.size - float(np.sum(falls * np.diag(inverse)[free:])) * variance / size
        variance = max(left, 1e-18 * sums.count) / (sums.count - float(np.sum(inverse * normal)))
        seen = float(np.sum(falls * solved[free:] ** 2))
        size = max((seen + GUESS_WEIGHT * guess**2) / (max(told, 0.0) + GUESS_WEIGHT), floor**2, 1e-16)
    return solved, math.sqrt(variance), math.sqrt(variance * float(inverse[0, 0]))


def widest_gap(period: float, interval: float) -> float:
    """Widest gap, as a share of a sample interval, between the places at which edges in a row lie in it.

    One for a signal in step with the samples, a third where three places take turns: the more places, the better the
    rounding of edges between two samples averages out.
    """
    places = np.sort(np.arange(IN_A_ROW) * (period / interval) % 1.0)
    return float(np.max(np.diff(np.append(places, places[0] + 1.0))))
