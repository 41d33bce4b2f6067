"""The interpolation error fitted beside the period."""

import math

import numpy as np
import pytest

from autobench.signals.interpolation import refine, widest_gap


def rows(period: float, count: int, ripple: float, jitter: float, seed: int) -> list[np.ndarray]:
    """Two rows of edges half a period apart, misplaced by a third harmonic of their place between two samples."""
    generator = np.random.default_rng(seed)
    sides = []
    for start in (generator.uniform(0, 1), generator.uniform(0, 1) + period / 2):
        exact = start + period * np.arange(count)
        sides.append(exact + ripple * np.sin(6 * math.pi * exact) + generator.normal(0, jitter, count))
    return sides


def test_a_creeping_error_is_no_frequency() -> None:
    """Places that creep by a fifth of a sample turn the error into a false period; fitted beside it, they do not."""
    true = 50 / 3 + 0.2 / 600
    plain, fitted, stated = [], [], []
    for seed in range(60):
        sides = rows(true, 600, 0.01, 0.002, seed)
        number = np.arange(600) - 299.5
        slope = float(np.mean([number @ side / (number @ number) for side in sides]))
        found = refine(sides, slope, 1.0, 1.25)
        assert found is not None
        plain.append(slope - true)
        fitted.append(found.period - true)
        stated.append(found.uncertainty)
    bound = 0.002 * math.sqrt(6 / (600 * (600**2 - 1)))  # least squares over two rows, were there no error
    assert np.sqrt(np.mean(np.square(plain))) > 5 * bound
    assert np.sqrt(np.mean(np.square(fitted))) < 1.5 * np.sqrt(np.mean(np.square(stated)))


def test_without_an_error_nothing_is_lost() -> None:
    """Edges free of the error keep the uncertainty of plain least squares, and the jitter comes out."""
    found = refine(rows(17.317, 600, 0.0, 0.01, 1), 17.317, 1.0, 3.0)
    assert found is not None
    assert found.jitter == pytest.approx(0.01, rel=0.1)
    assert found.uncertainty == pytest.approx(0.01 * math.sqrt(6 / (600 * (600**2 - 1))), rel=0.15)  # σ√(12/2n(n²−1))


def test_what_the_edges_cannot_show_stays_uncertain() -> None:
    """Edges that creep through a few hundredths of a sample show no error at all, and are not trusted for that."""
    creeping = refine(rows(16.0002, 60, 0.0, 0.002, 1), 16.0002, 1.0, 2.0)
    spread = refine(rows(16.318, 60, 0.0, 0.002, 1), 16.318, 1.0, 2.0)
    assert creeping is not None
    assert spread is not None
    assert creeping.uncertainty < 1.5 * spread.uncertainty  # places that stand still misplace all edges alike
    slowly = refine(rows(16.01, 60, 0.0, 0.002, 1), 16.01, 1.0, 2.0)
    assert slowly is not None
    assert slowly.uncertainty > 1.5 * spread.uncertainty


@pytest.mark.parametrize("count", [2, 3, 5000])
def test_few_and_very_many_edges_are_left_alone(count: int) -> None:
    """Too few edges tell nothing of the error, and in a long record it averages out."""
    assert refine(rows(17.3, count, 0.0, 0.01, 1), 17.3, 1.0, 3.0) is None


@pytest.mark.parametrize(
    ("period", "gap"), [(17.0, 1.0), (50 / 3, 1 / 3), (12.5, 0.5), ((1 + math.sqrt(5)) / 2, 0.0213)]
)
def test_gap_between_places(period: float, gap: float) -> None:
    """A whole number of samples visits one place, 50/3 three, the golden ratio spreads them evenly."""
    assert widest_gap(period, 1.0) == pytest.approx(gap, rel=0.01)  # three-gap theorem; the last one counted out
