"""Crossings against a plain state machine that looks at one sample after another."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from autobench.signals import crossings
from autobench.signals.crossings import Thresholds, find_crossings


def one_by_one(samples: list[float], levels: Thresholds) -> tuple[list[float], list[float], int]:
    """Upward and downward crossings and stunted runs, by a comparator with hysteresis and a memory of one crossing."""
    upward: list[float] = []
    downward: list[float] = []
    state: bool | None = None
    last: float | None = None  # where the samples last crossed the middle
    full, stunted, first = True, 0, True
    for number, value in enumerate(samples):
        if number and (value >= levels.middle) != (samples[number - 1] >= levels.middle):
            rise = value - samples[number - 1]
            share = (levels.exact - samples[number - 1]) / rise if math.isfinite(rise) else 0.5
            last = number - 1 + (share if 0.0 <= share <= 1.0 else 0.5)
        if value >= levels.upper and state is not True:
            if state is not None and last is not None:
                upward.append(last)
                stunted += not (full or first)
                first = False
            state, full = True, False
        elif value < levels.middle and value <= levels.lower and state is not False:
            if state is not None and last is not None:
                downward.append(last)
                stunted += not (full or first)
                first = False
            state, full = False, False
        if (state is True and value >= levels.full_upper) or (state is False and value <= levels.full_lower):
            full = True
    return upward, downward, stunted


CODES = Thresholds(exact=5.4, lower=4, middle=6, upper=7, full_lower=2, full_upper=9)
VOLTS = Thresholds(exact=5.4, lower=4.1, middle=5.4, upper=6.9, full_lower=2.2, full_upper=8.8)


@settings(deadline=None, max_examples=400)
@given(arrays(np.uint8, st.integers(0, 60), elements=st.integers(0, 11)), st.sampled_from([3, 7, 16, 1000]))
def test_codes_cross_as_one_by_one(codes: np.ndarray, block: int) -> None:
    """Whatever the codes, and wherever blocks of them are cut, crossings and stunted runs are those found singly."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(crossings, "BLOCK", block)
        found = find_crossings(codes, CODES)
    upward, downward, stunted = one_by_one([float(code) for code in codes], CODES)
    assert found.upward == pytest.approx(upward, abs=1e-5)  # an own comparator with hysteresis
    assert found.downward == pytest.approx(downward, abs=1e-5)  # an own comparator with hysteresis
    assert found.stunted == stunted


@settings(deadline=None, max_examples=400)
@given(
    arrays(np.float64, st.integers(0, 60), elements=st.floats(0, 11) | st.just(math.nan)), st.sampled_from([3, 7, 1000])
)
def test_volts_cross_as_one_by_one(volts: np.ndarray, block: int) -> None:
    """The same for volts, some of which are no numbers."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(crossings, "BLOCK", block)
        found = find_crossings(volts, VOLTS)
    upward, downward, stunted = one_by_one(volts.tolist(), VOLTS)
    assert found.upward == pytest.approx(upward, abs=1e-9)  # an own comparator with hysteresis
    assert found.downward == pytest.approx(downward, abs=1e-9)  # an own comparator with hysteresis
    assert found.stunted == stunted


def test_noise_about_the_middle_is_one_crossing() -> None:
    """Chatter about the middle within the hysteresis leaves the crossing after which the samples went on."""
    codes = np.array([0, 0, 5, 6, 5, 6, 6, 10, 10, 6, 5, 6, 10, 0], np.uint8)
    found = find_crossings(codes, CODES)
    assert found.upward == pytest.approx([4.4])  # straight line from 5 to 6 through 5.4
    assert found.downward == pytest.approx([12.46])  # straight line from 10 to 0 through 5.4
