"""Plateaus between the logic levels."""

import math
from collections.abc import Callable

import numpy as np
import pytest

from autobench.signals.plateaus import find_plateaus
from autobench.signals.trace import Trace


@pytest.mark.parametrize("noise", [0.0, 1.0])
def test_contention_is_found(
    noise: float, trapezoid: Callable[..., np.ndarray], digitise: Callable[..., Trace]
) -> None:
    """Two fights at 1.2 V of 300 ns and 120 ns are found among plain edges, with level and duration of the longer."""
    volts = trapezoid(1e6, 20_000, 1e-9)
    volts[5200:5500] = 1.2
    volts[9200:9320] = 1.3
    found = find_plateaus(digitise(volts, 1e-9, noise=noise), 0.8, 2.0)
    assert found.count == 2
    assert found.longest == pytest.approx(300e-9, rel=0.02)
    assert found.level == pytest.approx(1.2, abs=0.02)
    assert found.share == pytest.approx(420 / 20_000, rel=0.05)


def test_slow_edges_are_no_plateaus(trapezoid: Callable[..., np.ndarray]) -> None:
    """An edge that takes long to cross the band is not flat."""
    found = find_plateaus(Trace(trapezoid(1e4, 100_000, 1e-8, ramp=1e-5), 1e-8), 0.8, 2.0)
    assert found.count == 0
    assert math.isnan(found.level)


def test_short_stays_are_left_out(trapezoid: Callable[..., np.ndarray]) -> None:
    """A stay shorter than asked for does not count."""
    volts = trapezoid(1e6, 20_000, 1e-9)
    volts[5200:5240] = 1.2
    assert find_plateaus(Trace(volts, 1e-9), 0.8, 2.0).count == 0
    assert find_plateaus(Trace(volts, 1e-9), 0.8, 2.0, least=30e-9).count == 1


def test_a_line_that_never_leaves_the_band() -> None:
    """A whole trace between the levels is one plateau from end to end."""
    found = find_plateaus(Trace(np.full(1000, 1.5), 1e-6), 0.8, 2.0)
    assert (found.count, found.share, found.level) == (1, 1.0, 1.5)


def test_many_stays_are_sampled() -> None:
    """With more stays than are looked at the count is scaled up."""
    volts = np.where(np.arange(100_000) % 20 < 10, 1.2, 3.4)
    found = find_plateaus(Trace(volts, 10e-9), 0.8, 2.0)
    assert found.count == 5000
    assert found.share == pytest.approx(0.5, abs=1e-3)
