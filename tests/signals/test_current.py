"""The current signature of a power-on."""

import math

import numpy as np
import pytest

from autobench.signals.current import find_signature

TIMES = np.arange(0.05, 70.0, 0.1)


def healthy() -> np.ndarray:
    """0.70 A held in reset, 0.75 A from 0.35 s on with a small ripple, 2 % warm-up loss by a minute."""
    amps = np.where(TIMES < 0.35, 0.70, 0.75) * (1 - 0.02 * TIMES / 60)
    return np.asarray(amps + 0.002 * np.where(np.arange(TIMES.size) % 2, 1, -1))


def test_healthy_board() -> None:
    """Every feature of a plain power-on is what it was made of."""
    found = find_signature(TIMES.tolist(), healthy().tolist(), [False] * TIMES.size, [5.0] * TIMES.size, reset_at=0.35)
    assert found.peak == pytest.approx(0.70, abs=0.004)
    assert found.at_half == pytest.approx(0.75, abs=0.004)
    assert found.at_5 == pytest.approx(0.75 * (1 - 0.02 / 12), abs=0.004)
    assert found.at_60 == pytest.approx(0.75 * 0.98, abs=0.004)
    assert found.settled_at == pytest.approx(0.35, abs=0.11)
    assert found.step == pytest.approx(0.05, abs=0.004)
    assert found.ripple == pytest.approx(0.004, abs=0.001)
    assert found.limiting == 0.0
    assert found.pulsing is None
    assert found.end_volts == 5.0


def test_warm_up_and_leak_have_opposite_trends() -> None:
    """A healthy board's current falls by its 2 % a minute; one part that heats and leaks raises it."""
    falling = find_signature(TIMES.tolist(), healthy().tolist(), [False] * TIMES.size)
    assert falling.trend == pytest.approx(-0.02, abs=0.001)  # what it was made of
    rising = find_signature(TIMES.tolist(), (0.75 + 0.002 * TIMES).tolist(), [False] * TIMES.size)
    assert rising.trend == pytest.approx(60 * 0.002 / 0.76, rel=1e-6)  # slope of a line
    assert find_signature(TIMES[:120].tolist(), healthy()[:120].tolist(), [False] * 120).trend is None


def test_short_in_current_limit() -> None:
    """A short limits from start to end at a low voltage."""
    times = np.arange(0, 10, 0.1)
    found = find_signature(times.tolist(), [1.0] * 100, [True] * 100, [0.4] * 100)
    assert found.limiting == pytest.approx(9.9)
    assert found.end_volts == 0.4
    assert found.settled_at == 0.0
    assert found.at_60 is None


def test_limiting_time_holds_to_the_next_sample() -> None:
    """A flagged sample counts until the next one."""
    found = find_signature([0.0, 0.1, 0.3, 0.6], [1.0] * 4, [True, False, True, False])
    assert found.limiting == pytest.approx(0.1 + 0.3)


@pytest.mark.parametrize("rate", [0.7, 1.0, 2.3])
def test_hiccup_is_pulsing(rate: float) -> None:
    """A converter that hiccups pulses at its rate."""
    times = np.arange(0, 10, 0.05)
    amps = np.where((times * rate) % 1 < 0.4, 0.9, 0.1)
    found = find_signature(times.tolist(), amps.tolist(), [False] * times.size)
    assert found.pulsing == pytest.approx(rate, rel=0.1)


def test_a_program_at_work_is_not_pulsing() -> None:
    """Random steps of a tenth or two are no regular pulsing."""
    generator = np.random.default_rng(12)
    times = np.arange(0, 10, 0.1)
    amps = 0.7 + 0.1 * np.repeat(generator.integers(0, 2, 25), 4)
    assert find_signature(times.tolist(), amps.tolist(), [False] * 100).pulsing is None


def test_switch_on_elsewhere_on_the_time_base() -> None:
    """Times count from the moment the output was switched on; earlier samples are left out."""
    found = find_signature(
        (TIMES + 100).tolist(), healthy().tolist(), [False] * TIMES.size, on_at=100.0, reset_at=100.35
    )
    assert found.step == pytest.approx(0.05, abs=0.004)
    late = find_signature(TIMES.tolist(), healthy().tolist(), [False] * TIMES.size, on_at=30.0)
    assert late.at_5 == pytest.approx(0.75 * (1 - 0.02 * 35 / 60), abs=0.004)
    assert late.at_60 is None


def test_never_settled() -> None:
    """A current that still climbs at five seconds settles only near there."""
    times = np.arange(0, 20, 0.1)
    found = find_signature(times.tolist(), (0.2 * times).tolist(), [False] * 200)
    assert found.settled_at == pytest.approx(4.8, abs=0.11)


@pytest.mark.parametrize(
    ("seconds", "amps"),
    [([], []), ([0.1], [0.7]), ([0.1, 0.2], [math.nan, math.nan]), ([math.nan, 0.2], [1.0, math.inf])],
)
def test_hardly_any_samples(seconds: list[float], amps: list[float]) -> None:
    """Too few samples leave features out, and raise nothing."""
    found = find_signature(seconds, amps, [False] * len(seconds), reset_at=0.15)
    assert (found.at_5, found.step, found.ripple, found.pulsing) == (None, None, None, None)


def test_lengths_must_agree() -> None:
    """Sequences of different lengths raise ValueError."""
    with pytest.raises(ValueError, match="one length"):
        find_signature([0.1], [1.0, 2.0], [False])
