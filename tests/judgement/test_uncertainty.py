"""Budgets against the worked examples of the GUM, EA-4/02 and JCGM 101, and spread against NIST's data."""

import math

import numpy as np
import pytest
import uncertainties  # type: ignore[import-untyped]

from autobench.judgement.student import student_quantile
from autobench.judgement.uncertainty import Budget, Component, mean_and_deviation, trapezoid_factor, type_a

INF = math.inf


def end_gauge() -> Budget:
    """GUM H.1 in nanometres: the standard, the comparison (three causes) and the two temperature terms."""
    length = 50_000_623.0
    return Budget(
        [
            Component("standard", 25.0, "normal", 18),
            Component("repeats", 5.8, "normal", 24),
            Component("comparator, random", 3.9, "normal", 5),
            Component("comparator, systematic", 6.7, "normal", 8),
            Component("difference of temperature", 0.05, "rectangular", 2, sensitivity=-length * 11.5e-6),
            Component("difference of expansion", 1e-6, "rectangular", 50, sensitivity=length * 0.1),
        ]
    )


def test_end_gauge_contributions() -> None:
    """Each contribution of the end gauge is the printed one."""
    parts = {part.name: part.contribution for part in end_gauge().components}
    assert parts["standard"] == 25.0  # GUM H.1
    assert math.hypot(5.8, 3.9, 6.7) == pytest.approx(9.7, abs=0.05)  # GUM H.1
    assert parts["difference of expansion"] == pytest.approx(2.9, abs=0.05)  # GUM H.1
    assert parts["difference of temperature"] == pytest.approx(16.6, abs=0.05)  # GUM H.1


def test_end_gauge_combined() -> None:
    """Combined uncertainty, effective degrees and expanded uncertainties of the end gauge are the printed ones."""
    budget = end_gauge()
    assert budget.standard == pytest.approx(32.0, abs=0.5)  # GUM H.1
    assert budget.standard**2 == pytest.approx(1002, abs=1)  # GUM H.1
    comparison = Budget(budget.components[1:4])
    assert comparison.degrees == pytest.approx(25.6, abs=0.2)  # GUM H.1 (25.4 unrounded)
    assert budget.degrees == pytest.approx(16.7, abs=0.1)  # GUM H.1
    assert budget.coverage_factor(0.99) == pytest.approx(2.92, abs=0.005)  # GUM H.1
    # The printed 93 nm multiplies the rounded 32 nm; unrounded it is 92.5 nm.
    assert 32 * round(budget.coverage_factor(0.99), 2) == pytest.approx(93, abs=0.5)  # GUM H.1
    assert budget.expanded(0.99) == pytest.approx(92.48, abs=0.05)  # GUM H.1, unrounded
    assert budget.coverage_factor(0.95) == pytest.approx(2.12, abs=0.005)  # GUM Table G.2


VOLTS = [5.007, 4.994, 5.005, 4.990, 4.999]  # GUM Table H.2, from memory
MILLIAMPS = [19.663, 19.639, 19.640, 19.685, 19.678]  # GUM Table H.2, from memory
PHASES = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]  # GUM Table H.2, from memory


def impedance_budget(voltage: float, current: float, phase: float) -> Budget:
    """R, X or Z of GUM H.2 by its three sensitivities, with the correlations of the repeats."""
    sets = {"V": VOLTS, "I": [value / 1000 for value in MILLIAMPS], "phase": PHASES}
    slopes = {"V": voltage, "I": current, "phase": phase}
    table = np.corrcoef(list(sets.values()))
    parts = [
        Component(name, type_a(values).value, "normal", 4, sensitivity=slopes[name]) for name, values in sets.items()
    ]
    return Budget(parts, {("V", "I"): table[0, 1], ("phase", "V"): table[0, 2], ("I", "phase"): table[1, 2]})


def test_simultaneous_readings() -> None:
    """Correlated repeats give the printed means, uncertainties and results of R, X and Z."""
    assert mean_and_deviation(VOLTS)[0] == pytest.approx(4.9990, abs=5e-5)  # GUM H.2
    assert type_a(VOLTS).value == pytest.approx(0.0032, abs=5e-5)  # GUM H.2
    assert type_a(MILLIAMPS).value == pytest.approx(0.0095, abs=5e-5)  # GUM H.2
    assert type_a(PHASES).value == pytest.approx(0.00075, abs=5e-6)  # GUM H.2
    volts, amps, phase = 4.9990, 19.6610e-3, 1.04446
    ratio = volts / amps
    resistance = impedance_budget(math.cos(phase) / amps, -ratio * math.cos(phase) / amps, -ratio * math.sin(phase))
    reactance = impedance_budget(math.sin(phase) / amps, -ratio * math.sin(phase) / amps, ratio * math.cos(phase))
    magnitude = impedance_budget(1 / amps, -ratio / amps, 0.0)
    assert ratio * math.cos(phase) == pytest.approx(127.732, abs=2e-3)  # GUM H.2
    assert resistance.standard == pytest.approx(0.071, abs=5e-4)  # GUM H.2
    assert reactance.standard == pytest.approx(0.2956, abs=5e-4)  # GUM H.2 (0.295 printed by its second way)
    assert magnitude.standard == pytest.approx(0.236, abs=5e-4)  # GUM H.2
    assert resistance.degrees == pytest.approx(4)  # all from the same five sets


def test_thermometer_line() -> None:
    """The correction of the thermometer at 30 °C has the printed uncertainty only with its correlation."""
    intercept = Component("y1", 0.0029, "normal", 9)
    slope = Component("y2", 0.00067, "normal", 9, sensitivity=10.0)
    assert Budget([intercept, slope], {("y1", "y2"): -0.930}).standard == pytest.approx(0.0041, abs=5e-5)  # GUM H.3
    assert Budget([intercept, slope]).standard == pytest.approx(0.0073, abs=5e-5)  # GUM H.3, the trap of ignoring it


def test_correlation_agrees_with_an_independent_library() -> None:
    """A correlated budget agrees with linear propagation by another library."""
    correlation = np.array([[1.0, 0.4], [0.4, 1.0]])
    a, b = uncertainties.correlated_values_norm([(1.0, 0.2), (2.0, 0.3)], correlation)
    expected = (3 * a - 2 * b).std_dev  # uncertainties
    parts = [Component("a", 0.2, "normal", sensitivity=3), Component("b", 0.3, "normal", sensitivity=-2)]
    assert Budget(parts, {("b", "a"): 0.4}).standard == pytest.approx(expected)


def test_voltmeter_specification() -> None:
    """A one-year specification as a rectangle and the repeats give 15 µV."""
    half = 14e-6 * 0.928571 + 2e-6 * 1.0
    assert half == pytest.approx(15e-6, abs=0.5e-6)  # GUM 4.3.7 example 2, from memory
    specification = Component("specification", half, "rectangular")
    assert specification.standard == pytest.approx(8.7e-6, abs=0.1e-6)  # GUM 4.3.7 example 2, from memory
    budget = Budget([Component("repeats", 12e-6, "normal"), specification])
    assert budget.standard == pytest.approx(15e-6, abs=0.5e-6)  # GUM 5.1.5, from memory


def test_effective_degrees() -> None:
    """Three type A components of 10, 5 and 15 repeats give 19 degrees and 2.2 %."""
    parts = [(0.25, 9), (0.57, 4), (0.82, 14)]
    budget = Budget([Component(str(value), value, "normal", degrees) for value, degrees in parts])
    assert budget.standard == pytest.approx(1.03, abs=0.005)  # GUM G.4.1, from memory
    assert round(budget.degrees, 1) == 19.0  # GUM G.4.1, from memory
    assert budget.coverage_factor() == pytest.approx(2.09, abs=0.005)  # GUM G.4.1, from memory
    assert budget.expanded() == pytest.approx(2.2, abs=0.05)  # GUM G.4.1, from memory


def test_twenty_temperatures() -> None:
    """Twenty readings of one temperature give the printed mean and its uncertainty."""
    readings = [96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07]
    readings += [100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72]
    mean, deviation = mean_and_deviation(readings)
    assert (round(mean, 3), round(deviation, 2)) == (100.145, 1.49)  # GUM 4.4.3, from memory
    repeats = type_a(readings)
    assert repeats.value == pytest.approx(0.333, abs=5e-4)  # GUM 4.4.3, from memory
    assert (repeats.distribution, repeats.degrees) == ("normal", 19)


def test_weight_and_resistor() -> None:
    """The combined uncertainties of the 10 kg weight and the 10 kΩ resistor are the printed ones."""
    weight = Budget(
        [
            Component("standard", 22.5, "normal"),
            Component("drift", 8.95 * math.sqrt(3), "rectangular"),
            Component("difference", 14.4, "normal", 2),
            Component("eccentricity", 10.0, "rectangular"),
            Component("buoyancy", 10.0, "rectangular"),
        ]
    )
    assert weight.standard == pytest.approx(29.3, abs=0.05)  # EA-4/02 S2
    assert weight.coverage_factor(0.9545) == pytest.approx(2.0, abs=0.1)  # EA-4/02 S2: k = 2
    halves = [10.0, 2.75, 5.5]  # EA-4/02 S3: drift and the two temperatures in mΩ, from memory
    resistor = Budget(
        [
            Component("standard", 2.5, "normal"),
            *(Component(f"half-width {half}", half, "rectangular") for half in halves),
            Component("ratio, parasitic", 1e-6, "triangular", sensitivity=1e7),
            Component("ratio, repeats", 0.07e-6, "normal", sensitivity=1e7),
        ]
    )
    assert resistor.standard == pytest.approx(8.33, abs=0.005)  # EA-4/02 S3
    assert resistor.expanded(0.9545) == pytest.approx(17, abs=0.5)  # EA-4/02 S3


def test_one_dominant_rectangle() -> None:
    """A hand-held meter's display step dominates, so k is 1.65 and not 2."""
    budget = Budget(
        [
            Component("calibrator", 0.001, "normal"),
            Component("display", 0.1, "resolution"),
            Component("calibrator specification", 0.011, "rectangular"),
        ]
    )
    assert budget.standard == pytest.approx(0.030, abs=5e-4)  # EA-4/02 S9
    assert budget.coverage_factor(0.95) == pytest.approx(1.65, abs=0.005)  # EA-4/02 S9
    assert budget.expanded(0.95) == pytest.approx(0.05, abs=0.005)  # EA-4/02 S9


def test_two_dominant_rectangles() -> None:
    """Two rectangles that dominate a calliper's budget give the trapezoid's k of 1.83."""
    budget = Budget(
        [
            Component("gauge block", 0.8, "rectangular"),
            Component("temperature", 2.0, "rectangular", sensitivity=1.7),
            Component("display", 50.0, "resolution"),
            Component("mechanics", 50.0, "rectangular"),
        ]
    )
    assert budget.standard == pytest.approx(33, abs=0.7)  # EA-4/02 S10, contributions rounded up in print
    assert budget.coverage_factor(0.95) == pytest.approx(1.83, abs=0.005)  # EA-4/02 S10
    assert budget.expanded(0.95) == pytest.approx(60, abs=1)  # EA-4/02 S10


def test_trapezoid_between_rectangle_and_triangle() -> None:
    """The trapezoid's factor runs from the rectangle's to the triangle's."""
    assert trapezoid_factor(1.0, 0.0, 0.95) == pytest.approx(0.95 * math.sqrt(3))  # rectangle
    assert trapezoid_factor(1.0, 1.0, 0.95) == pytest.approx((1 - math.sqrt(0.05)) * math.sqrt(6))  # triangle
    assert trapezoid_factor(1.0, 0.5, 0.2) == pytest.approx(
        0.1 * (4 / 3) / math.sqrt((1 + 1 / 9) / 6)
    )  # on the flat top


def test_few_degrees_are_no_firm_rectangle() -> None:
    """A dominant rectangle with few degrees of freedom keeps Student's t."""
    budget = Budget([Component("guess", 1.0, "rectangular", 4), Component("rest", 0.01, "normal")])
    assert budget.coverage_factor() == pytest.approx(2.776, abs=1e-3)  # Student t, 4 degrees


def test_sums_of_equal_components() -> None:
    """The coverage interval of four equal normals is exact, that of four rectangles within 1 % of the true one."""
    normals = Budget([Component(str(part), 1.0, "normal") for part in range(4)])
    assert normals.expanded() == pytest.approx(3.92, abs=0.005)  # JCGM 101 9.2.2
    rectangles = Budget([Component(str(part), math.sqrt(3), "rectangular") for part in range(4)])
    assert rectangles.standard == pytest.approx(2.0)  # JCGM 101 9.2.3
    assert rectangles.expanded() == pytest.approx(3.88, rel=0.011)  # JCGM 101 9.2.3 (Monte Carlo ±3.88)


def test_dominant_rectangle_against_monte_carlo() -> None:
    """Three small rectangles and a ten times larger one come near the Monte-Carlo interval; k = 1.96 would not."""
    parts = [Component(str(part), math.sqrt(3), "rectangular") for part in range(3)]
    budget = Budget([*parts, Component("large", 10 * math.sqrt(3), "rectangular")])
    assert budget.standard == pytest.approx(10.1, abs=0.05)  # JCGM 101 9.2.4, from memory
    assert budget.expanded() == pytest.approx(17.0, rel=0.02)  # JCGM 101 9.2.4, from memory


@pytest.mark.parametrize(
    ("component", "expected"),
    [
        (Component("scope gain", 0.240, "rectangular"), 0.1386),  # GUM 4.3.7
        (Component("display", 0.010, "resolution"), 2.887e-3),  # GUM F.2.2.1
        (Component("oven", 0.5, "arcsine"), 0.35355),  # GUM H.1.3.4
        (Component("sum of two", 1.0, "triangular"), 0.40825),  # GUM 4.3.9
    ],
)
def test_divisors(component: Component, expected: float) -> None:
    """A half-width or step becomes a standard uncertainty by its distribution."""
    assert component.standard == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(
    ("value", "distribution", "degrees"),
    [(-1.0, "normal", INF), (math.nan, "normal", INF), (1.0, "square", INF), (1.0, "normal", 0.0)],
)
def test_senseless_components_are_refused(value: float, distribution: str, degrees: float) -> None:
    """A negative or missing value, an unknown distribution and no degrees of freedom raise ValueError."""
    with pytest.raises(ValueError, match="part: "):
        Component("part", value, distribution, degrees)  # type: ignore[arg-type]


def test_senseless_correlations_are_refused() -> None:
    """A correlation with an unknown component or beyond ±1 raises ValueError."""
    parts = [Component("a", 1.0, "normal"), Component("b", 1.0, "normal")]
    with pytest.raises(ValueError, match="names no two"):
        Budget(parts, {("a", "c"): 0.5})
    with pytest.raises(ValueError, match="beyond"):
        Budget(parts, {("a", "b"): 1.5})


def test_empty_budget_is_certain() -> None:
    """A budget without components or with zeros only has no uncertainty and infinite degrees."""
    for budget in (Budget([]), Budget([Component("a", 0.0, "normal", 3)])):
        assert (budget.standard, budget.degrees, budget.expanded()) == (0.0, INF, 0.0)
    with pytest.raises(ValueError, match="coverage probability"):
        Budget([]).coverage_factor(1.0)


def digits(base: int) -> list[float]:
    """NIST StRD NumAcc2 to 4: base.2, then base.1 and base.3 in turn, a thousand of them."""
    return [float(f"{base}.2"), *[float(f"{base}.{1 if turn % 2 == 0 else 3}") for turn in range(1000)]]


MAVRO = """2.00180 2.00170 2.00180 2.00190 2.00180 2.00170 2.00150 2.00140 2.00150 2.00150 2.00170 2.00180 2.00180
2.00190 2.00190 2.00210 2.00200 2.00160 2.00140 2.00130 2.00130 2.00150 2.00150 2.00160 2.00150 2.00140 2.00130 2.00140
2.00150 2.00140 2.00150 2.00160 2.00150 2.00160 2.00190 2.00200 2.00200 2.00210 2.00220 2.00230 2.00240 2.00250 2.00270
2.00260 2.00260 2.00260 2.00270 2.00260 2.00250 2.00240"""
MICHELSO = """.85 .74 .90 1.07 .93 .85 .95 .98 .98 .88 1.00 .98 .93 .65 .76 .81 1.00 1.00 .96 .96 .96 .94 .96 .94 .88
.80 .85 .88 .90 .84 .83 .79 .81 .88 .88 .83 .80 .79 .76 .80 .88 .88 .88 .86 .72 .72 .62 .86 .97 .95 .88 .91 .85 .87 .84
.84 .85 .84 .84 .84 .89 .81 .81 .82 .80 .77 .76 .74 .75 .76 .91 .92 .89 .86 .88 .72 .84 .85 .85 .78 .89 .84 .78 .81 .76
.81 .79 .81 .82 .85 .87 .87 .81 .74 .81 .94 .95 .80 .81 .87"""


@pytest.mark.parametrize(
    ("samples", "mean", "deviation", "relative"),
    [
        (digits(1000000), 1000000.2, 0.1, 4e-10),  # NIST StRD NumAcc3
        (digits(10000000), 10000000.2, 0.1, 6e-9),  # NIST StRD NumAcc4; float64 inputs allow no better
        ([float(word) for word in MAVRO.split()], 2.001856, 0.000429123454003053, 1e-12),  # NIST StRD Mavro
        (
            [round(299 + float(word), 2) for word in MICHELSO.split()],
            299.8524,
            0.0790105478190518,
            1e-12,
        ),  # NIST StRD Michelso
    ],
)
def test_certified_means_and_deviations(samples: list[float], mean: float, deviation: float, relative: float) -> None:
    """Mean and deviation match the certified values as far as the input's own rounding allows."""
    found = mean_and_deviation(samples)
    assert found[0] == pytest.approx(mean, rel=1e-14)
    assert found[1] == pytest.approx(deviation, rel=relative)


@pytest.mark.parametrize("samples", [[], [1.0], [1.0, math.nan], [1.0, INF]])
def test_no_spread_without_samples(samples: list[float]) -> None:
    """Fewer than two samples, or one not finite, raise ValueError."""
    with pytest.raises(ValueError, match="a spread needs"):
        type_a(samples)


def test_library_quantile_is_the_one_used() -> None:
    """The budget's k is the two-sided Student quantile of the degrees rounded down."""
    budget = Budget([Component("a", 1.0, "normal", 7.9)])
    assert budget.coverage_factor(0.9) == student_quantile(0.95, 7)  # GUM G.4.1
