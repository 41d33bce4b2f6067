"""Student's t against printed tables and an independent library."""

import math

import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from autobench.judgement.student import incomplete_beta, student_probability, student_quantile

TABLE = [  # GUM Table G.2: degrees, t for 95 %, 95.45 % and 99 %
    (1, 12.71, 13.97, 63.66),
    (2, 4.30, 4.53, 9.92),
    (5, 2.57, 2.65, 4.03),
    (10, 2.23, 2.28, 3.17),
    (16, 2.12, 2.17, 2.92),
    (20, 2.09, 2.13, 2.85),
    (50, 2.01, 2.05, 2.68),
]


@pytest.mark.parametrize(("degrees", "t95", "t9545", "t99"), TABLE)
def test_table_of_t_factors(degrees: int, t95: float, t9545: float, t99: float) -> None:
    """The quantiles round to every printed digit of the table."""
    for probability, printed in ((0.95, t95), (0.9545, t9545), (0.99, t99)):
        assert round(student_quantile(0.5 + probability / 2, degrees), 2) == printed  # GUM Table G.2


@given(st.floats(0.5, 1e7), st.floats(1e-6, 1 - 1e-6))
def test_quantile_agrees_with_an_independent_library(degrees: float, probability: float) -> None:
    """Quantile and probability agree with scipy over eight decades of degrees."""
    expected = float(scipy.stats.t.ppf(probability, degrees))  # scipy
    assert student_quantile(probability, degrees) == pytest.approx(expected, rel=1e-7, abs=1e-7)
    assert student_probability(expected, degrees) == pytest.approx(probability, rel=1e-7)


@given(st.floats(0.1, 200), st.floats(0.1, 200), st.floats(0, 1))
def test_incomplete_beta_agrees_with_an_independent_library(a: float, b: float, x: float) -> None:
    """The incomplete beta function agrees with scipy."""
    assert incomplete_beta(a, b, x) == pytest.approx(
        float(scipy.special.betainc(a, b, x)), rel=1e-9, abs=1e-12
    )  # scipy


def test_infinite_degrees_are_normal() -> None:
    """With infinite degrees t is the normal distribution."""
    assert student_quantile(0.975) == pytest.approx(1.959964, abs=1e-6)  # GUM Table G.2, last row (1.960)
    assert student_probability(1.4) == pytest.approx(0.9192, abs=5e-5)  # normal table


def test_wide_degrees_for_one_percent() -> None:
    """At four degrees a one-sided 1 % needs 3.747 standard uncertainties, not 2.326."""
    assert student_quantile(0.99, 4) == pytest.approx(3.747, abs=5e-4)  # JCGM 106
    assert student_quantile(0.99) == pytest.approx(2.326, abs=5e-4)  # JCGM 106


@pytest.mark.parametrize(("probability", "degrees"), [(0.0, 5), (1.0, 5), (math.nan, 5), (0.5, 0), (0.5, math.nan)])
def test_senseless_arguments_are_refused(probability: float, degrees: float) -> None:
    """A probability outside 0 … 1 or no degrees of freedom raises ValueError."""
    with pytest.raises(ValueError, match="no quantile"):
        student_quantile(probability, degrees)


def test_extremes_of_the_probability() -> None:
    """Infinite t gives certainty, and not-a-number is refused."""
    assert student_probability(math.inf, 3) == 1.0
    assert student_probability(-math.inf, 3) == 0.0
    with pytest.raises(ValueError, match="no probability"):
        student_probability(math.nan, 3)
