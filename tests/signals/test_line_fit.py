"""The straight line against GUM H.3."""

import numpy as np
import pytest
import scipy.stats

from autobench.signals.line_fit import fit_line

TEMPERATURES = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]  # GUM H.3
CORRECTIONS = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]  # GUM H.3


def test_thermometer_calibration() -> None:
    """Intercept, slope, their uncertainties and correlation, and the prediction at 30 °C are the printed ones."""
    line = fit_line(np.array(TEMPERATURES) - 20.0, np.array(CORRECTIONS))
    assert line.intercept == pytest.approx(-0.1712, abs=5e-5)  # GUM H.3, from memory
    assert line.intercept_uncertainty == pytest.approx(0.0029, abs=5e-5)  # GUM H.3, from memory
    assert line.slope == pytest.approx(0.00218, abs=5e-6)  # GUM H.3, from memory
    assert line.slope_uncertainty == pytest.approx(0.00067, abs=5e-6)  # GUM H.3, from memory
    assert line.correlation == pytest.approx(-0.930, abs=5e-4)  # GUM H.3, from memory
    assert line.scatter == pytest.approx(0.0035, abs=5e-5)  # GUM H.3, from memory
    value, uncertainty = line.at(10.0)
    assert value == pytest.approx(-0.1494, abs=5e-5)  # GUM H.3, from memory
    assert uncertainty == pytest.approx(0.0041, abs=5e-5)  # GUM H.3, from memory
    assert line.degrees == 9


def test_line_agrees_with_an_independent_library() -> None:
    """Slope and intercept with their uncertainties agree with scipy."""
    generator = np.random.default_rng(7)
    x = generator.uniform(0, 10, 50)
    y = 3.0 - 0.25 * x + generator.normal(0, 0.1, 50)
    line, other = fit_line(x, y), scipy.stats.linregress(x, y)
    assert (line.slope, line.intercept) == pytest.approx((other.slope, other.intercept))  # scipy
    assert line.slope_uncertainty == pytest.approx(other.stderr)  # scipy
    assert line.intercept_uncertainty == pytest.approx(other.intercept_stderr)  # scipy


@pytest.mark.parametrize(("x", "y"), [([1.0], [1.0]), ([1.0, 1.0], [0.0, 2.0]), ([1.0, 2.0], [1.0])])
def test_no_line_without_places(x: list[float], y: list[float]) -> None:
    """One point, points at one place, or unequal lengths raise ValueError."""
    with pytest.raises(ValueError, match="a line needs"):
        fit_line(np.array(x), np.array(y))


def test_two_points_have_no_scatter() -> None:
    """Two points give a line whose uncertainty is not known."""
    line = fit_line(np.array([0.0, 2.0]), np.array([1.0, 5.0]))
    assert (line.slope, line.intercept) == (2.0, 1.0)
    assert np.isnan(line.slope_uncertainty)
