"""Seeded tolerances."""

from __future__ import annotations

import numpy as np
import pytest

from autobench.quantity import Span
from simulated_instruments.board.tolerance import TRUNCATED, Tolerance


def test_the_same_seed_and_name_give_the_same_number_in_any_order() -> None:
    """Draws do not depend on each other."""
    first, second = Tolerance(5), Tolerance(5)
    a, b = first.factor("a", 0.02), first.factor("b", 0.02)
    assert (second.factor("b", 0.02), second.factor("a", 0.02)) == (b, a)
    assert a != b
    assert Tolerance(6).factor("a", 0.02) != a


def test_factors_are_normal_with_their_tails_cut_off() -> None:
    """A thousand specimens have the standard deviation asked for, and none is beyond the cut."""
    factors = np.array([Tolerance(seed).factor("x", 0.02) for seed in range(1000)])
    assert np.mean(factors) == pytest.approx(1.0, abs=0.002)
    assert np.std(factors) == pytest.approx(0.02, rel=0.1)
    assert float(np.abs(factors - 1.0).max()) <= TRUNCATED * 0.02


def test_a_span_is_drawn_from_evenly_by_octaves() -> None:
    """Half the draws from 0.1 to 10 lie below 1."""
    draws = [Tolerance(seed).between("x", Span(0.1, 10.0, "ohm")) for seed in range(1000)]
    assert min(draws) >= 0.1
    assert max(draws) <= 10.0
    assert sum(draw < 1.0 for draw in draws) == pytest.approx(500, abs=60)  # binomial, 4 standard deviations
