"""Ground-lead ringing against the closed form of a damped oscillation."""

import math
from collections.abc import Callable

import numpy as np
import pytest

from autobench.signals.levels import find_levels
from autobench.signals.ringing import edge_ringing, ground_lead_gate, rail_ringing
from autobench.signals.trace import Trace

INTERVAL = 4e-9


def damped(frequency: float, damping: float, size: float, samples: int = 400) -> np.ndarray:
    """A burst whose half-waves keep `damping` of the one before."""
    times = np.arange(samples) * INTERVAL
    return np.asarray(size * np.cos(2 * math.pi * frequency * times) * damping ** (2.0 * frequency * times))


def rail(frequency: float, damping: float = 0.7, size: float = 0.15, noise: float = 0.004) -> np.ndarray:
    """5 V with a burst every 2.5 µs, of either sign."""
    volts = 5.0 + np.random.default_rng(3).normal(0.0, noise, 25_000)
    for turn, start in enumerate(range(100, 24_000, 625)):
        volts[start : start + 400] += (1 if turn % 2 else -1) * damped(frequency, damping, size)
    return volts


@pytest.mark.parametrize(("frequency", "damping"), [(6e6, 0.7), (14e6, 0.8), (25e6, 0.6), (33e6, 0.85)])
def test_ringing_is_recognised(frequency: float, damping: float) -> None:
    """Bursts after the steps of a load ring: frequency and damping come out."""
    found = rail_ringing(Trace(rail(frequency, damping), INTERVAL))
    assert found is not None
    assert found.frequency == pytest.approx(frequency, rel=0.06)  # what it was made of
    assert found.damping == pytest.approx(damping, abs=0.08)  # closed form of a damped oscillation
    assert found.peak == pytest.approx(0.15, abs=0.02)


def test_as_an_8_bit_converter_sees_it(digitise: Callable[..., Trace]) -> None:
    """Steps of 10 mV leave the ringing recognisable."""
    found = rail_ringing(digitise(rail(14e6) - 5.0 + 0.8, INTERVAL, step=0.01))
    assert found is not None
    assert found.frequency == pytest.approx(14e6, rel=0.06)


def test_true_ripple_does_not_ring() -> None:
    """Hum, a converter's triangle and its spikes, load steps and plain noise are no ringing."""
    times = np.arange(25_000) * INTERVAL
    noise = np.random.default_rng(4).normal(0.0, 0.01, times.size)
    hum = 0.05 * np.sin(2 * math.pi * 100 * times)
    triangle = 0.05 * (2 * np.abs((times * 150e3) % 1.0 - 0.5))
    spikes = np.where(np.arange(times.size) % 1700 < 2, 0.3, 0.0)
    steps = 0.1 * ((times * 80e3) % 1.0 < 0.4)
    sine = 0.1 * np.sin(2 * math.pi * 5e6 * times)
    for volts in (noise, hum + noise, triangle + noise, spikes + noise, steps + noise, sine + noise):
        assert rail_ringing(Trace(5.0 + volts, INTERVAL)) is None


def test_slow_swings_are_not_the_lead() -> None:
    """A rail that swings at 300 kHz after load steps is the rail's own."""
    volts = 5.0 + np.random.default_rng(5).normal(0.0, 0.002, 60_000)
    for start in range(100, 50_000, 9000):
        volts[start : start + 8000] += damped(300e3, 0.7, 0.15, 8000)
    assert rail_ringing(Trace(volts, INTERVAL)) is None


def test_ringing_edges(trapezoid: Callable[..., np.ndarray]) -> None:
    """Edges that overshoot by a volt and ring are told from clean ones."""
    clean = trapezoid(500e3, 25_000, INTERVAL, ramp=12e-9, phase=0.1)
    volts = clean.copy()
    for start in range(53, 24_500, 250):
        volts[start : start + 240] += (1 if clean[start + 5] > 1.8 else -1) * damped(20e6, 0.75, 1.0, 240)
    ringing = edge_ringing(Trace(volts, INTERVAL), find_levels(Trace(volts, INTERVAL)))
    assert ringing is not None
    assert ringing.frequency == pytest.approx(20e6, rel=0.08)  # what it was made of
    assert edge_ringing(Trace(clean, INTERVAL), find_levels(Trace(clean, INTERVAL))) is None


def test_reason_a_technician_can_act_on() -> None:
    """The reason says what to change; ringing that is a small part of the ripple gives none."""
    found = rail_ringing(Trace(rail(14e6), INTERVAL))
    reason = ground_lead_gate(found, 0.3)
    assert reason is not None
    assert "spring" in reason
    assert ground_lead_gate(found, 2.0) is None
    assert ground_lead_gate(None, 0.3) is None


def test_small_ringing_under_ripple_is_found_by_its_spectrum(digitise: Callable[..., Trace]) -> None:
    """Bursts of a few converter steps on a rail that ripples: no single one can be followed, together they stand out;
    the same rail without them does not ring."""
    interval, random = 1e-9, np.random.default_rng(5)
    times = np.arange(20_000) * interval
    ripple = 2.5 + 0.05 * np.sin(2.0 * math.pi * 15.6e3 * times)
    bursts = np.zeros(times.size)
    burst = np.exp(-np.arange(130) / 11.0) * np.sin(2.0 * math.pi * 80e6 * np.arange(130) * interval)
    for start in range(0, 19_800, 133):
        bursts[start : start + 130] += 0.4 * random.uniform(-1.0, 1.0) ** 5 * burst
    found = rail_ringing(digitise(ripple + bursts, interval, step=0.02, noise=0.6))
    assert found is not None
    assert found.frequency == pytest.approx(80e6, rel=0.1)  # what it was made of
    assert rail_ringing(digitise(ripple, interval, step=0.02, noise=0.6)) is None
