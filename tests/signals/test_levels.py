"""State levels by histogram."""

import math
from collections.abc import Callable

import numpy as np
import pytest

from autobench.signals.histogram import count_samples
from autobench.signals.levels import find_levels, reference_level
from autobench.signals.trace import Trace


def test_reference_levels_worked_example() -> None:
    """The 10, 50 and 90 % levels of the worked example."""
    low, high = 0.0138, 5.1848
    assert reference_level(low, high, 10) == pytest.approx(0.5309, abs=5e-5)  # IEEE Std 181 reference levels
    assert reference_level(low, high, 50) == pytest.approx(2.5993, abs=5e-5)  # IEEE Std 181 reference levels
    assert reference_level(low, high, 90) == pytest.approx(4.6677, abs=5e-5)  # IEEE Std 181 reference levels


def test_trapezoid_levels(trapezoid: Callable[..., np.ndarray]) -> None:
    """A trapezoid without noise gives exactly its two levels and 0.52, 1.80 and 3.08 V."""
    levels = find_levels(Trace(trapezoid(1e6, 10_000, 4e-9), 4e-9))
    assert levels.count == 2
    assert (levels.low, levels.high) == pytest.approx((0.2, 3.4), abs=1e-9)
    assert [levels.reference(percent) for percent in (10, 50, 90)] == pytest.approx([0.52, 1.80, 3.08])  # closed form


@pytest.mark.parametrize("seed", range(5))
def test_levels_of_noisy_codes(seed: int, trapezoid: Callable[..., np.ndarray], digitise: Callable[..., Trace]) -> None:
    """With one step of noise both levels are found to a quarter of a step, and the noise to 10 %."""
    volts = trapezoid(15e6, 10_000, 4e-9, low=0.213, high=3.387, ramp=12.5e-9)
    levels = find_levels(digitise(volts, 4e-9, noise=1.0, seed=seed))
    assert levels.count == 2
    assert (levels.low, levels.high) == pytest.approx((0.213, 3.387), abs=0.005)
    assert levels.noise == pytest.approx(0.02 * math.sqrt(1 + 1 / 12), rel=0.1)  # noise and rounding, LSB/√12
    assert levels.low_share == pytest.approx(0.5, abs=0.01)


def test_rare_pulses_still_show_their_level(digitise: Callable[..., Trace]) -> None:
    """A strobe low for one sample in a thousand has its low level found."""
    volts = np.full(20_000, 3.5)
    volts[::1000] = 0.3
    levels = find_levels(digitise(volts, 4e-9, noise=0.5))
    assert levels.count == 2
    assert (levels.low, levels.high) == pytest.approx((0.3, 3.5), abs=0.02)
    assert levels.low_share == pytest.approx(0.001, abs=1e-4)


@pytest.mark.parametrize("noise", [0.0, 0.3, 1.0, 5.0, 15.0])
@pytest.mark.parametrize("size", [100, 1000, 100_000])
def test_plain_noise_is_one_level(noise: float, size: int, digitise: Callable[..., Trace]) -> None:
    """A static line with any noise has one level, near its mean."""
    levels = find_levels(digitise(np.full(size, 1.43), 4e-9, noise=noise))
    assert levels.count == 1
    assert levels.low == levels.high == pytest.approx(1.43, abs=0.02 * (0.5 + noise) + 1e-9)
    assert levels.noise == pytest.approx(0.02 * max(math.sqrt(noise**2 + 1 / 12), 12**-0.5), rel=0.35)


def test_ringing_does_not_move_the_levels(digitise: Callable[..., Trace]) -> None:
    """Overshoot and ringing leave the modes where the waveform settles."""
    place = np.arange(50_000) % 500
    ringing = 1.2 * np.exp(-place / 20.0) * np.cos(place / 2.0)
    volts = np.where((np.arange(50_000) // 500) % 2 == 0, 0.4 - ringing, 3.6 + ringing) * 0.7
    levels = find_levels(digitise(volts, 4e-9, noise=0.6))
    assert (levels.low, levels.high) == pytest.approx((0.28, 2.52), abs=0.01)


def test_clipped_share() -> None:
    """The share of samples at the converter's ends is counted at both."""
    codes = np.concatenate([np.zeros(10), np.full(80, 100), np.full(10, 255)]).astype(np.uint8)
    assert find_levels(Trace(codes, 1e-6)).clipped == pytest.approx(0.2)
    assert find_levels(Trace(codes, 1e-6, clipped=(0, 254))).clipped == pytest.approx(0.2)
    assert find_levels(Trace(codes, 1e-6, clipped=(-1, 300))).clipped == 0.0
    assert find_levels(Trace(np.array([0.0, 1.0, math.inf, -math.inf]), 1e-6)).clipped == pytest.approx(0.5)
    assert find_levels(Trace(np.array([0.0, 1.0, 2.0, 5.0]), 1e-6, clipped=(0.0, 5.0))).clipped == pytest.approx(0.5)


@pytest.mark.parametrize("size", [0, 1, 2, 3, 999, 1000, 300_001])
def test_histogram_counts_every_sample(size: int) -> None:
    """The histogram equals a plain count whatever the length."""
    codes = np.random.default_rng(3).integers(0, 256, size).astype(np.uint8)
    histogram = count_samples(Trace(codes, 1e-6))
    assert np.array_equal(histogram.counts, np.bincount(codes, minlength=256))
    assert histogram.pairs.sum() == size // 2


@pytest.mark.parametrize("noise", [0.0, 1.0, 3.0])
def test_noise_of_a_slow_waveform(noise: float, digitise: Callable[..., Trace]) -> None:
    """On a ramp, with a few steps in it, neighbours tell the noise: with rounding LSB/√12 it is what was put in."""
    volts = np.linspace(0.2, 4.0, 50_000) + 0.3 * (np.arange(50_000) % 5000 < 2500)
    found = count_samples(digitise(volts, 1e-6, noise=noise)).noise_of_steps()
    assert found == pytest.approx(0.02 * math.sqrt(noise**2 + 1 / 12), rel=0.12 if noise else 1e-9)  # IEEE Std 1057


def test_strided_samples_are_counted() -> None:
    """One channel of interleaved samples is read correctly."""
    both = np.random.default_rng(3).integers(0, 256, 2001).astype(np.uint8)
    assert np.array_equal(count_samples(Trace(both[::2], 1e-6)).counts, np.bincount(both[::2], minlength=256))


def test_no_numbers_no_levels() -> None:
    """Without a single number there are no levels."""
    for samples in (np.zeros(0), np.full(5, math.nan)):
        levels = find_levels(Trace(samples, 1e-6))
        assert levels.count == 0
        assert math.isnan(levels.low)
