"""Hum and its mean over an integration time."""

from __future__ import annotations

import math

import numpy as np
import pytest

from simulated_instruments.benches.mains_hum import MainsHum

HUM = MainsHum(50.0, 0.2, 0.7)


def test_samples_are_a_sine() -> None:
    """Peak, rms and period are those given."""
    volts = HUM.samples(np.linspace(0.0, 0.2, 20_000, endpoint=False))
    assert volts.max() == pytest.approx(0.2, rel=1e-4)
    assert math.sqrt(float(np.mean(volts**2))) == pytest.approx(0.2 / math.sqrt(2.0), rel=1e-6)  # rms of a sine
    assert HUM.samples(np.array([0.013])) == pytest.approx(HUM.samples(np.array([0.033])))


@pytest.mark.parametrize(("cycles", "most"), [(1.0, 1e-12), (10.0, 1e-12), (0.02, 0.2), (0.5, 0.2 * 2.0 / math.pi)])
def test_whole_cycles_of_integration_take_it_away(cycles: float, most: float) -> None:
    """Whole line cycles leave nothing (normal-mode rejection, common practice), half a one at most 2/π of the peak."""
    means = [abs(HUM.mean(start, start + cycles / 50.0)) for start in np.linspace(0.0, 0.02, 41)]
    assert max(means) <= most * (1.0 + 1e-9)
    if most > 1e-9:
        assert max(means) > 0.9 * most


def test_the_mean_is_that_of_the_samples() -> None:
    """Any window; of none it is the value at its end."""
    times = np.linspace(0.0031, 0.0102, 100_001)
    assert HUM.mean(0.0031, 0.0102) == pytest.approx(float(HUM.samples(times).mean()), rel=1e-4)
    assert HUM.mean(0.004, 0.004) == pytest.approx(float(HUM.samples(np.array([0.004]))[0]))
