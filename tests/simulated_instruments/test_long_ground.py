"""A probe on a long ground lead: a series resonance after every edge, and hash on a rail."""

from __future__ import annotations

import math

import numpy as np
import pytest

from simulated_instruments.board.waveform import Constant, search
from simulated_instruments.long_ground import DAMPING, KICKS, GroundLead, HashedRail, RingingNet

SIZES = np.random.default_rng(1).uniform(-1.0, 1.0, KICKS)
LEAD = GroundLead(0.15, 0.3, 5e6, SIZES)


class Step:
    """0 V, and 4 V from 1 µs on."""

    def samples(self, times: np.ndarray) -> np.ndarray:
        return np.where(times < 1e-6, 0.0, 4.0)

    def extremes(self, edges: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return self.samples(edges[:-1]), self.samples(edges[1:])

    def crossing(self, level: float, rising: bool, start: float, stop: float) -> float | None:
        return search(self, level, rising, start, stop)


def test_150_mm_and_12_pf_ring_at_119_mhz() -> None:
    """f = 1/(2π√(LC)) with 1 nH for each millimetre: 118.6 MHz (closed form; about 119 MHz in common practice)."""
    assert LEAD.hertz == pytest.approx(118.6e6, rel=1e-3)


def test_a_step_overshoots_as_a_damped_resonance_does() -> None:
    """The first overshoot is exp(-πζ/√(1-ζ²)) of the step (closed form of a second-order system), then it settles."""
    times = 1e-6 + np.linspace(-20e-9, 80e-9, 2001)
    seen = RingingNet(Step(), LEAD).samples(times)
    overshoot = math.exp(-math.pi * DAMPING / math.sqrt(1.0 - DAMPING**2))
    assert seen.max() == pytest.approx(4.0 * (1.0 + overshoot), rel=0.05)
    assert seen[0] == 0.0
    assert seen[-1] == pytest.approx(4.0)


class Square:
    """4 V and 0 V in turn, 2 µs each, with exponential edges of time constant `tau` (s)."""

    def __init__(self, tau: float) -> None:
        self.tau = tau

    def samples(self, times: np.ndarray) -> np.ndarray:
        turn = np.remainder(times, 4e-6)
        left = 4.0 * np.exp(-np.remainder(turn, 2e-6) / self.tau)
        return np.where(turn < 2e-6, 4.0 - left, left)

    def extremes(self, edges: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return np.zeros(edges.size - 1), np.full(edges.size - 1, 4.0)

    def crossing(self, level: float, rising: bool, start: float, stop: float) -> float | None:
        return search(self, level, rising, start, stop)


@pytest.mark.parametrize(("tau", "low", "high"), [(0.1e-9, 0.45, 0.6), (15e-9, 0.0, 0.02)])
def test_peak_detection_sees_what_samples_would(tau: float, low: float, high: float) -> None:
    """Sharp edges overshoot by exp(-πζ/√(1-ζ²)) = 0.56 of the swing (closed form), and those that take several periods
    of the lead do not ring."""
    lowest, highest = RingingNet(Square(tau), LEAD).extremes(np.array([0.5e-6, 10.5e-6, 20.5e-6]))
    assert low <= -lowest[0] / 4.0 <= high
    assert low <= (highest[0] - 4.0) / 4.0 <= high


def test_a_rail_shows_hash_only_while_the_board_works() -> None:
    """With its volts there the steps of the load are picked up; on a dead rail there are none."""
    times = np.linspace(0.0, 1e-3, 100_000)
    live = HashedRail(Constant(5.0), LEAD).samples(times)
    assert 0.3 < np.ptp(live) < 0.6  # twice the largest step, less what dies away before the first peak
    assert np.ptp(HashedRail(Constant(0.3), LEAD).samples(times)) == 0.0
