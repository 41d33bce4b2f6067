"""The current of chips against their rail."""

from __future__ import annotations

import numpy as np
import pytest

from simulated_instruments.board.loads import load_currents, load_slopes

ONE, FIVE = np.array([0.1]), np.array([5.0])


def current(volts: float) -> float:
    """Current of a chip that draws 100 mA at 5 V."""
    return float(load_currents(np.array([volts]), ONE, FIVE)[0])


def test_a_chip_draws_its_current_at_nominal_volts_and_follows_the_power_law_above_a_junction() -> None:
    """The current at nominal volts is the one given, and 4.5 V gives (4.5/5)^1.2 of it."""
    assert current(5.0) == pytest.approx(0.1, rel=1e-12)
    assert current(4.5) / current(5.0) == pytest.approx(0.9**1.2, rel=1e-9)  # common practice: NMOS and LS, V^1.2


def test_a_chip_draws_next_to_nothing_below_a_junction() -> None:
    """At the test voltage of an ohms reading the active current does not show."""
    assert current(0.13) < 1e-6
    assert current(0.3) < 1e-5


def test_a_reversed_chip_conducts_like_a_diode() -> None:
    """With the rail the wrong way round a chip takes 10 mA at 0.6 V and hundreds at 0.8 V."""
    assert current(-0.6) == pytest.approx(-0.010, rel=1e-3)  # common practice: substrate diode
    assert current(-0.8) < -0.1
    assert -current(-0.3) < 1e-4


def test_the_current_rises_everywhere() -> None:
    """The curve is monotonic from well reversed to over-voltage, so a network of chips has one solution."""
    volts = np.linspace(-2.0, 9.0, 4001)
    currents = load_currents(volts, np.full_like(volts, 0.1), np.full_like(volts, 5.0))
    assert bool((np.diff(currents) >= 0.0).all())


@pytest.mark.parametrize("volts", [-1.5, -0.65, -0.2, 0.3, 0.85, 1.0, 2.5, 4.7, 6.0])
def test_the_slope_is_the_derivative_of_the_current(volts: float) -> None:
    """The slope that the iteration uses is the central difference of the current."""
    step = 1e-6
    difference = (current(volts + step) - current(volts - step)) / (2.0 * step)
    slope = float(load_slopes(np.array([volts]), ONE, FIVE)[0])
    assert slope == pytest.approx(difference, rel=1e-4, abs=1e-9)
