"""Conformity against the worked examples of JCGM 106 and the table of ILAC-G8."""

import math

import numpy as np
import pytest
import scipy.stats
from numpy.typing import NDArray

from autobench.errors import UsageError
from autobench.judgement.conformity import (
    Rule,
    acceptance,
    conformance_probability,
    false_accept_at_limit,
    global_risks,
    guard_band,
    parse_rule,
)
from autobench.quantity import Span


@pytest.mark.parametrize(
    ("value", "uncertainty", "limits", "expected"),
    [
        (-5.47, 0.05, Span(None, -5.40, "V"), 0.92),  # JCGM 106 7.4 zener diode, from memory
        (509.7, 8.6, Span(490.0, None, ""), 0.99),  # JCGM 106 7.4 container, from memory
        (13.6, 1.8, Span(12.5, 16.3, ""), 0.66),  # JCGM 106 7.5 oil, from memory
    ],
)
def test_worked_examples(value: float, uncertainty: float, limits: Span, expected: float) -> None:
    """One- and two-sided conformance probabilities round to the printed ones."""
    assert round(conformance_probability(value, uncertainty, limits), 2) == expected


@pytest.mark.parametrize(("z", "expected"), [(0.84, 0.80), (1.28, 0.90), (1.64, 0.95), (2.33, 0.99), (3.09, 0.999)])
def test_one_sided_table(z: float, expected: float) -> None:
    """The distance from a limit in standard uncertainties gives the tabulated probability."""
    probability = conformance_probability(z, 1.0, Span(0.0, None, ""))
    assert probability == pytest.approx(expected, abs=1e-3)  # JCGM 106 Table 1, from memory


def test_speed_check() -> None:
    """At 106.6 with 2 % uncertainty the speed is above 100 with 99.9 %."""
    probability = conformance_probability(106.6, 0.02 * 106.6, Span(100.0, None, ""))
    assert probability == pytest.approx(0.999, abs=5e-5)  # JCGM 106 8.3.3, from memory


def test_few_degrees_widen_the_tail() -> None:
    """With four degrees of freedom the 1 % tail begins at 3.747 instead of 2.326 standard uncertainties."""
    assert conformance_probability(3.747, 1.0, Span(0.0, None, ""), 4) == pytest.approx(0.99, abs=1e-5)  # JCGM 106
    assert conformance_probability(2.326, 1.0, Span(0.0, None, "")) == pytest.approx(0.99, abs=1e-5)  # JCGM 106


def test_no_uncertainty_is_a_step() -> None:
    """Without uncertainty the probability is one inside, ends included, and zero outside."""
    limits = Span(4.75, 5.25, "V")
    assert [conformance_probability(value, 0.0, limits) for value in (4.75, 5.0, 5.25, 5.2501)] == [1, 1, 1, 0]


def test_no_limit_holds_everything() -> None:
    """Open limits are met for certain."""
    assert conformance_probability(5.0, 1.0, Span(None, None, "V")) == 1.0


@pytest.mark.parametrize(("value", "uncertainty"), [(math.nan, 1.0), (math.inf, 1.0), (1.0, math.nan), (1.0, -1.0)])
def test_senseless_values_are_refused(value: float, uncertainty: float) -> None:
    """Values that are no numbers raise ValueError."""
    with pytest.raises(ValueError, match="no probability"):
        conformance_probability(value, uncertainty, Span(0.0, 1.0, ""))


@pytest.mark.parametrize(
    ("name", "at_most", "near"),
    [
        ("w = 3 U", 1e-6, 9.9e-10),  # ILAC-G8:09/2019 Table 1: < 1 ppm
        ("w = 1.5 U", 0.0016, 0.00135),  # ILAC-G8:09/2019 Table 1: < 0.16 %
        ("w = U", 0.025, 0.02275),  # ILAC-G8:09/2019 Table 1: < 2.5 %
        ("w = 0.83 U", 0.05, 0.0485),  # ILAC-G8:09/2019 Table 1: < 5 %
        ("simple", 0.5, 0.5),  # ILAC-G8:09/2019 Table 1: < 50 %
    ],
)
def test_specific_risk_of_each_rule(name: str, at_most: float, near: float) -> None:
    """The risk at the acceptance limit is the tabulated bound and near its closed form."""
    risk = false_accept_at_limit(name)
    assert risk <= at_most
    assert risk == pytest.approx(near, rel=0.01)


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("w = U", 9.2, 10.8),  # ILAC-G8, tolerance 10 ± 1, U = 0.2
        ("w = 0.83 U", 9.166, 10.834),  # ILAC-G8
        ("w = 1.5 U", 9.3, 10.7),  # ILAC-G8
        ("w = 3 U", 9.6, 10.4),  # ILAC-G8
        ("simple", 9.0, 11.0),  # ILAC-G8
    ],
)
def test_acceptance_limits(name: str, low: float, high: float) -> None:
    """Each guard band moves both limits inward by its multiple of U."""
    accepted = acceptance(Span(9.0, 11.0, ""), guard_band(name, 0.1))
    assert accepted.low == pytest.approx(low)
    assert accepted.high == pytest.approx(high)


def test_guard_bands_that_meet_accept_nothing() -> None:
    """Where the guard bands cross no value is accepted."""
    accepted = acceptance(Span(9.0, 11.0, ""), guard_band("w = 3 U", 0.2))
    assert not any(accepted.holds(value) for value in np.linspace(8, 12, 401).tolist())


def test_rules_by_name() -> None:
    """A rule is a guard band's name or a probability; anything else is refused with what is allowed."""
    assert parse_rule(" w =  U ") == Rule("w = U", 1.0, None)
    assert parse_rule("0.83 U") == Rule("w = 0.83 U", 0.83, None)
    assert parse_rule("95 %") == Rule("95 %", None, 0.95)
    for wrong in ("w=2U", "50 %", "100 %", "x %", ""):
        with pytest.raises(UsageError, match=r"simple, w = 0\.83 U"):
            parse_rule(wrong)
    with pytest.raises(UsageError, match="not a guard band"):
        guard_band("95 %", 1.0)


def resistors(truths: NDArray[np.float64]) -> NDArray[np.float64]:
    """Process of JCGM 106's resistors about 1500 Ω: normal, 0.12 Ω."""
    return np.exp(-0.5 * (truths / 0.12) ** 2) / (0.12 * math.sqrt(2 * math.pi))


def test_resistors() -> None:
    """1500 Ω ± 0.2 Ω resistors have the printed global risks without and with a guard band."""
    limits = Span(-0.2, 0.2, "ohm")
    simple = global_risks(resistors, (-1.2, 1.2), 0.04, limits, limits)
    assert 1 - simple.nonconforming == pytest.approx(0.904, abs=5e-4)  # JCGM 106 9.5 resistors
    assert simple.consumer == pytest.approx(0.01894, abs=5e-6)  # computed by double integration
    assert simple.producer == pytest.approx(0.03721, abs=5e-6)  # computed by double integration
    guarded = global_risks(resistors, (-1.2, 1.2), 0.04, limits, Span(-0.18, 0.18, "ohm"))
    assert guarded.consumer == pytest.approx(0.01, abs=5e-4)  # JCGM 106 9.5 resistors, from memory
    assert guarded.producer == pytest.approx(0.07, abs=1e-3)  # JCGM 106 9.5 resistors, from memory


def bearings(truths: NDArray[np.float64]) -> NDArray[np.float64]:
    """Radial run-out of JCGM 106's ball bearings in µm: gamma(4, 4/µm)."""
    return 4.0**4 * truths**3 * np.exp(-4.0 * truths) / 6.0


@pytest.mark.parametrize(
    ("inside", "ratio", "accepted", "rejected"),
    [  # in per cent, JCGM 106 equations (17) to (20) by another library's quadrature, computed
        (0.95, 4.0, 0.858, 1.554),
        (0.95, 2.0, 1.337, 4.178),
        (0.95, 1.0, 1.801, 12.957),
        (0.90, 4.0, 1.374, 2.089),
        (0.80, 2.0, 3.458, 5.688),
    ],
)
def test_ratio_of_tolerance_to_uncertainty(inside: float, ratio: float, accepted: float, rejected: float) -> None:
    """Global risks of simple acceptance for tolerance over U from four to one, by share of good boards."""
    spread = 1.0 / float(scipy.stats.norm.ppf(0.5 + inside / 2.0))
    limits = Span(-1.0, 1.0, "")
    risks = global_risks(
        lambda truths: np.asarray(scipy.stats.norm.pdf(truths, 0.0, spread)),
        (-8.0 * spread, 8.0 * spread),
        1.0 / (2.0 * ratio),
        limits,
        limits,
    )
    assert risks.nonconforming == pytest.approx(1.0 - inside, abs=1e-6)
    assert 100 * risks.consumer == pytest.approx(accepted, abs=6e-4)
    assert 100 * risks.producer == pytest.approx(rejected, abs=6e-4)


def test_ball_bearings() -> None:
    """Ball bearings of at most 2 µm have the printed consumer's risks with and without the printed guard band."""
    limits = Span(None, 2.0, "")
    simple = global_risks(bearings, (0.0, 12.0), 0.25, limits, limits)
    assert simple.nonconforming == pytest.approx(0.042, abs=5e-4)  # JCGM 106 9.5.4
    assert simple.consumer == pytest.approx(0.008, abs=5e-5)  # JCGM 106 9.5.4
    assert simple.producer == pytest.approx(0.01744, abs=5e-6)  # computed by double integration
    guarded = global_risks(bearings, (0.0, 12.0), 0.25, limits, acceptance(limits, 0.3282))
    assert guarded.consumer == pytest.approx(0.001, abs=1e-6)  # JCGM 106 9.5.4
    assert guarded.producer == pytest.approx(0.07549, abs=2e-5)  # computed by double integration


def test_support_that_misses_the_limits() -> None:
    """A process wholly inside its limits has no consumer's risk, and nothing is counted twice."""
    risks = global_risks(np.ones_like, (0.0, 1.0), 0.01, Span(-5.0, 5.0, ""), Span(-5.0, 5.0, ""))
    assert risks.nonconforming == 0.0
    assert risks.consumer == 0.0
    assert risks.producer == pytest.approx(0.0, abs=1e-12)
