"""Traces: scaling, what they keep, and what they refuse."""

import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from autobench.signals.trace import Trace


def test_codes_scale_to_volts() -> None:
    """Volts are (code − reference) · step + offset, both ways."""
    trace = Trace(np.array([0, 128, 255], np.uint8), 1e-6, step=0.04, reference=128.0, offset=1.0)
    assert trace.in_volts() == pytest.approx([-4.12, 1.0, 6.08])
    assert trace.sample(trace.volts(77.0)) == pytest.approx(77.0)
    assert trace.coded
    assert trace.resolution == 0.04
    assert trace.clipped == (0.0, 255.0)


def test_samples_are_not_copied_and_not_writable() -> None:
    """A trace shares memory with the samples it was given and cannot change them."""
    codes = np.arange(10, dtype=np.uint8)
    trace = Trace(codes, 1e-6)
    assert np.shares_memory(trace.samples, codes)
    with pytest.raises(ValueError, match="read-only"):
        trace.samples[0] = 1
    assert codes.flags.writeable


def test_other_numbers_become_floating_point() -> None:
    """Wider codes and plain lists are kept as floating point, whose step is not known."""
    wide: NDArray[Any] = np.array([0, 4095], np.int16)
    trace = Trace(wide, 1e-6, step=0.001)
    assert not trace.coded
    assert trace.resolution == 0.0
    assert trace.in_volts() == pytest.approx([0.0, 4.095])


def test_overload_is_not_a_voltage() -> None:
    """The number that stands for overload on the bus becomes infinite and the rest stays."""
    trace = Trace(np.array([1.0, 9.9e37, -9.9e37, 2.0]), 1e-6)  # SCPI-1999 special numbers ±9.9E37
    assert trace.samples.tolist() == [1.0, math.inf, -math.inf, 2.0]


def test_times() -> None:
    """Positions become seconds from the start; the duration ends at the last sample."""
    trace = Trace(np.zeros(11), 1e-3, start=-5e-3)
    assert trace.times(np.array([0.0, 2.5])) == pytest.approx([-5e-3, -2.5e-3])
    assert trace.duration == pytest.approx(10e-3)
    assert Trace(np.zeros(0), 1e-3).duration == 0.0


@pytest.mark.parametrize(
    ("samples", "interval", "step", "words"),
    [
        (np.zeros((2, 2)), 1e-6, 1.0, "one dimension"),
        (np.zeros(2), 0.0, 1.0, "interval"),
        (np.zeros(2), float("nan"), 1.0, "interval"),
        (np.zeros(2), 1e-6, 0.0, "step"),
        (np.zeros(2), 1e-6, float("inf"), "step"),
    ],
)
def test_senseless_scaling_is_refused(samples: np.ndarray, interval: float, step: float, words: str) -> None:
    """Shape and scaling that make no sense raise ValueError; content never does."""
    with pytest.raises(ValueError, match=words):
        Trace(samples, interval, step=step)


@pytest.mark.parametrize("size", [0, 1, 2, 7, 1000, 1001])
def test_the_median_of_codes_is_that_of_their_volts(size: int) -> None:
    """Counted from codes it is the very number that sorting gives; without samples there is none."""
    codes = np.random.default_rng(size).integers(0, 256, size).astype(np.uint8)
    expected = float(np.median(codes)) if size else math.nan
    assert Trace(codes, 1e-6).median == pytest.approx(expected, nan_ok=True, abs=0.0)
    assert Trace(codes.astype(np.float64), 1e-6).median == pytest.approx(expected, nan_ok=True, abs=0.0)


def test_the_clipped_share_counts_both_ends() -> None:
    """Codes at or beyond either end count, whatever lies between does not."""
    codes = np.array([0, 1, 2, 128, 250, 255, 255, 17], np.uint8)
    assert Trace(codes, 1e-6).clipped_share == 3 / 8
    assert Trace(codes, 1e-6, clipped=(1.0, 250.0)).clipped_share == 5 / 8
    assert Trace(codes.astype(np.float64), 1e-6).clipped_share == 0.0
