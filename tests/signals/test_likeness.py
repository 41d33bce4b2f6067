"""Lines that carry the same."""

from collections.abc import Callable

import numpy as np
import pytest

from autobench.signals.families import family
from autobench.signals.likeness import compare_lines
from autobench.signals.trace import Trace

LS = family("LS")


def traffic(seed: int, samples: int = 100_000) -> np.ndarray:
    """Varied traffic: bits of a microsecond at random."""
    bits = np.random.default_rng(seed).integers(0, 2, samples // 100)
    return np.asarray(0.3 + 3.2 * np.repeat(bits, 100))


def test_bridged_lines_are_identical(digitise: Callable[..., Trace]) -> None:
    """Two points of one net agree in every sample, whatever the noise of each (common practice: over 1 ms)."""
    found = compare_lines(
        digitise(traffic(1), 1e-8, noise=1.0, seed=1), digitise(traffic(1), 1e-8, noise=1.0, seed=2), (LS, LS)
    )
    assert found.identical
    assert found.share == 1.0
    assert found.seconds == pytest.approx(1e-3, rel=1e-4)
    assert found.edges == int(np.count_nonzero(np.diff(traffic(1))))


def test_neighbours_on_a_bus_differ(digitise: Callable[..., Trace]) -> None:
    """Two lines of random traffic agree half of the time."""
    found = compare_lines(digitise(traffic(1), 1e-8), digitise(traffic(2), 1e-8), (LS, LS))
    assert not found.identical
    assert found.share == pytest.approx(0.5, abs=0.06)  # two fair coins


def test_lines_at_rest_prove_nothing() -> None:
    """Two lines that both stand high agree, and are not called one for it."""
    found = compare_lines(Trace(np.full(1000, 3.5), 1e-8), Trace(np.full(1000, 3.5), 1e-8), (LS, LS))
    assert found.share == 1.0
    assert not found.identical
    assert compare_lines(Trace(np.full(10, 1.4), 1e-8), Trace(np.full(10, 1.4), 1e-8), (LS, LS)).share == 0.0


def test_lines_of_different_captures_are_refused() -> None:
    """Traces of another length or interval raise ValueError."""
    with pytest.raises(ValueError, match="one capture"):
        compare_lines(Trace(np.zeros(10), 1e-8), Trace(np.zeros(11), 1e-8), (LS, LS))
