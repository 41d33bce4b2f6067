"""Ripple: parts told apart, in a stated bandwidth."""

import math

import numpy as np
import pytest

from autobench.signals.ripple import find_ripple
from autobench.signals.trace import Trace


def rail(interval: float, samples: int, hum: float, switching: float, rate: float = 63.1e3) -> Trace:
    """5 V with a 100 Hz sine of `hum` and a sine of `switching` volts (peaks)."""
    times = np.arange(samples) * interval
    volts = 5.0 + hum * np.sin(2 * math.pi * 100 * times + 0.5)
    return Trace(volts + switching * np.sin(2 * math.pi * rate * times), interval)


def test_parts_are_told_apart() -> None:
    """Hum of 40 mV and switching of 15 mV peak to peak are found each for itself, the switching with its frequency."""
    found = find_ripple(rail(1e-6, 100_000, 0.020, 0.0075))
    assert found is not None
    assert found.mean == pytest.approx(5.0, abs=1e-6)
    assert found.mains_pp == pytest.approx(0.040, rel=1e-3)
    assert found.mains_rms == pytest.approx(0.020 / math.sqrt(2), rel=1e-3)
    assert found.rest_pp == pytest.approx(0.015, rel=5e-3)
    assert found.rest_rms == pytest.approx(0.0075 / math.sqrt(2), rel=1e-3)
    assert found.switching == pytest.approx(63.1e3, abs=10)
    assert found.pp == pytest.approx(0.055, rel=5e-3)
    assert found.rms == pytest.approx(math.hypot(0.020, 0.0075) / math.sqrt(2), rel=1e-3)
    assert found.lowest == pytest.approx(5.0 - 0.0275, abs=2e-4)


def test_rectified_sawtooth() -> None:
    """A full-wave reservoir's sawtooth of I/(2fC) comes out as the mains part."""
    drop = 1.0 / (2 * 50 * 4700e-6)  # I/(2fC), 1 A, 4700 µF
    assert drop == pytest.approx(2.128, abs=5e-4)  # full-wave capacitor input, common practice
    times = np.arange(200_000) * 1e-6
    share = (times * 100) % 1.0
    volts = 10.0 - drop * np.where(share < 0.8, share / 0.8, (1 - share) / 0.2)
    found = find_ripple(Trace(volts, 1e-6))
    assert found is not None
    assert found.pp == pytest.approx(drop, rel=1e-3)
    assert found.mains_pp == pytest.approx(drop, rel=0.08)
    assert found.rest_rms < 0.02 * drop
    assert found.lowest == pytest.approx(10.0 - drop, abs=1e-3)


@pytest.mark.parametrize(("rate", "kept"), [(1e5, 0.995), (1e6, 0.7071), (3e6, 0.3162)])
def test_first_order_bandwidth(rate: float, kept: float) -> None:
    """A sine at the bandwidth keeps 1/√2 of its size, at three times 1/√10."""
    times = np.arange(50_000) * 2e-8
    found = find_ripple(Trace(0.1 * np.sin(2 * math.pi * rate * times), 2e-8), bandwidth=1e6)
    assert found is not None
    assert found.rms == pytest.approx(kept * 0.1 / math.sqrt(2), rel=2e-3)  # first-order low-pass
    assert found.bandwidth == 1e6


def test_bandwidth_seen_is_stated() -> None:
    """What sampling does not show is not claimed."""
    found = find_ripple(rail(1e-6, 10_000, 0.01, 0.0))
    assert found is not None
    assert found.bandwidth == pytest.approx(0.5e6)


def test_short_traces_say_nothing_of_the_mains() -> None:
    """Less than one mains period gives no mains part."""
    found = find_ripple(rail(1e-6, 10_000, 0.02, 0.005))
    assert found is not None
    assert found.mains_pp is None
    assert found.mains_rms is None


def test_white_noise_has_no_switching_frequency() -> None:
    """Noise alone shows no line, and its rms is its own."""
    volts = 5.0 + np.random.default_rng(5).normal(0, 0.01, 100_000)
    found = find_ripple(Trace(volts, 1e-6))
    assert found is not None
    assert found.switching is None
    assert found.rest_rms == pytest.approx(0.01, rel=0.02)


def test_drift_makes_no_step() -> None:
    """A rail that drifts through the trace shows its drift and no more after filtering."""
    found = find_ripple(Trace(np.linspace(4.9, 5.1, 50_000), 2e-8), bandwidth=1e6)
    assert found is not None
    assert found.pp == pytest.approx(0.2, rel=0.01)


@pytest.mark.parametrize("samples", [np.zeros(0), np.full(100, math.nan), np.ones(7), np.full(20, 1e200)])
def test_nothing_to_measure(samples: np.ndarray) -> None:
    """Too few numbers give no ripple, and no error."""
    assert find_ripple(Trace(samples, 1e-6)) is None


def test_quiet_rail() -> None:
    """A rail without any ripple reads zero and shows no line."""
    found = find_ripple(Trace(np.full(100_000, 5.0), 1e-6))
    assert found is not None
    assert (found.pp, found.rms, found.switching) == (0.0, 0.0, None)
    assert found.mains_pp == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_a_program_at_work_is_not_the_mains(seed: int) -> None:
    """A load that steps at random moves the rail at all frequencies; none of it is blamed on the mains."""
    generator = np.random.default_rng(seed)
    steps = np.repeat(generator.normal(0.0, 0.05, 160), 250)
    found = find_ripple(Trace(5.0 + steps, 1e-6))  # two periods
    assert found is not None
    assert found.mains_pp == 0.0
    assert found.rest_rms == pytest.approx(found.rms)
    times = np.arange(steps.size) * 1e-6
    hum = find_ripple(Trace(5.0 + 0.2 * steps + 0.05 * np.sin(2 * math.pi * 100 * times), 1e-6))
    assert hum is not None
    assert hum.mains_pp == pytest.approx(0.1, rel=0.25)
