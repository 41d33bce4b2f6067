"""The sine fit against its Cramér–Rao bound and an ideal converter."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from autobench.signals.sine_fit import fit_sine, frequency_bound
from autobench.signals.trace import Trace


def sine(rate: float, samples: int, interval: float, amplitude: float = 1.0, phase: float = 0.3) -> NDArray[np.float64]:
    """A sine about 0.2 V."""
    return 0.2 + amplitude * np.asarray(np.cos(2 * math.pi * rate * np.arange(samples) * interval + phase))


@pytest.mark.parametrize("rate", [3.3e3, 12.345e3, 123.456e3, 401.7e3])
def test_noise_free_sine_is_recovered(rate: float) -> None:
    """All four parameters come back to rounding error."""
    found = fit_sine(Trace(sine(rate, 1000, 1e-6), 1e-6))
    assert found is not None
    assert found.frequency.value == pytest.approx(rate, rel=1e-11)  # IEEE Std 1057, noise-free data
    assert (found.amplitude, found.phase, found.offset) == pytest.approx((1.0, 0.3, 0.2), abs=1e-9)
    assert found.residual < 1e-9


@pytest.mark.parametrize(
    ("noise", "samples", "bound"), [(0.1, 1000, 2.46562), (0.01, 1000, 0.246562), (0.01, 10_000, 7.79697e-3)]
)
def test_bound(noise: float, samples: int, bound: float) -> None:
    """The bound is the published formula's value at 1 MS/s."""
    assert 1e6 * frequency_bound(1.0, noise, samples) == pytest.approx(bound, rel=1e-5)  # Kay 1993, from memory


def test_fit_is_efficient() -> None:
    """The scatter of 1500 fits is the bound to 5 %, and so is the uncertainty each fit states; there is no bias."""
    generator = np.random.default_rng(11)
    values, stated = [], []
    for _ in range(1500):
        rate = generator.uniform(90e3, 110e3)
        volts = sine(rate, 1000, 1e-6, phase=generator.uniform(-3, 3)) + generator.normal(0, 0.1, 1000)
        found = fit_sine(Trace(volts, 1e-6), start=rate + generator.uniform(-200, 200))
        assert found is not None
        values.append(found.frequency.value - rate)
        stated.append(found.frequency.uncertainty)
    assert np.std(values) == pytest.approx(2.46562, rel=0.05)  # Cramér–Rao bound, Kay 1993, from memory
    assert np.mean(stated) == pytest.approx(2.46562, rel=0.05)  # Cramér–Rao bound, Kay 1993, from memory
    assert np.mean(values) == pytest.approx(0.0, abs=0.2)


def test_ideal_converter_has_eight_bits() -> None:
    """The residual of an ideal 8-bit converter at full scale gives 8.0 effective bits."""
    volts = 127.4 * np.cos(2 * math.pi * 0.0137123 * np.arange(20_000)) + 127.5
    found = fit_sine(Trace(np.rint(volts).astype(np.uint8), 1.0))
    assert found is not None
    assert math.log2(256 / (found.residual * math.sqrt(12))) == pytest.approx(8.0, abs=0.05)  # IEEE Std 1057


def test_time_base_joins_in() -> None:
    """The time base adds its rectangle to a fit without noise."""
    found = fit_sine(Trace(sine(1e5, 1000, 1e-6), 1e-6), time_base=25e-6)
    assert found is not None
    assert found.frequency.uncertainty == pytest.approx(1.443, rel=1e-3)  # GUM 4.3.7: 2.5 Hz/√3


@pytest.mark.parametrize(
    "samples",
    [np.zeros(0), np.zeros(100), np.ones(5), np.full(100, math.nan), np.array([0.0, 1e300] * 50), np.arange(7.0)],
)
def test_nothing_to_fit(samples: np.ndarray) -> None:
    """Too few numbers or no change give no fit, and no error."""
    assert fit_sine(Trace(samples, 1e-6)) is None
