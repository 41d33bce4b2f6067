"""Waveforms with closed forms, made apart from the code under test."""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from autobench.signals.trace import Trace


def trapezoid_volts(
    rate: float,
    samples: int,
    interval: float,
    low: float = 0.2,
    high: float = 3.4,
    ramp: float = 25e-9,
    duty: float = 0.5,
    phase: float = 0.1,
) -> NDArray[np.float64]:
    """Trapezoid with 0 to 100 % ramps of `ramp` seconds, `duty` between its 50 % instants, first rise at `phase`."""
    place = (np.arange(samples) * interval * rate - phase) % 1.0  # periods since the 50 % instant of the rise
    ramp_share = ramp * rate
    since_rise = np.where(place > 0.5 + duty / 2, place - 1.0, place)
    up = since_rise / ramp_share + 0.5
    down = (duty - since_rise) / ramp_share + 0.5
    return low + (high - low) * np.clip(np.minimum(up, down), 0.0, 1.0)


@pytest.fixture
def trapezoid() -> Callable[..., NDArray[np.float64]]:
    """The trapezoid generator."""
    return trapezoid_volts


def quantised(
    volts: NDArray[np.float64], interval: float, step: float = 0.02, noise: float = 0.0, seed: int = 1
) -> Trace:
    """Volts as an 8-bit converter sees them: `noise` in steps, zero volts at code 30."""
    codes = volts / step + 30.0 + np.random.default_rng(seed).normal(0.0, 1.0, volts.size) * noise
    return Trace(np.clip(np.rint(codes), 0, 255).astype(np.uint8), interval, step=step, reference=30.0)


@pytest.fixture
def digitise() -> Callable[..., Trace]:
    """The 8-bit converter."""
    return quantised
