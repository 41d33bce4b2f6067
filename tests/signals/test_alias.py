"""The alias gate."""

import math

import numpy as np
import pytest

from autobench.signals.activity import find_activity
from autobench.signals.alias import Expected, Look, alias_of, ladder, needed_rate, rate_gate, still_gate, stuck_gate
from autobench.signals.families import family
from autobench.signals.trace import Trace


@pytest.mark.parametrize(
    ("rate", "sample_rate", "seen"),
    [(15e6, 250e6, 15e6), (15e6, 16e6, 1e6), (15e6, 10e6, 5e6), (3.75e6, 2.5e6, 1.25e6), (5e6, 2.5e6, 0.0)],
)
def test_folding(rate: float, sample_rate: float, seen: float) -> None:
    """A rate above half the sample rate folds back to where the samples show it."""
    assert alias_of(rate, sample_rate) == pytest.approx(seen)  # sampling theorem
    times = np.arange(5000) / sample_rate
    spectrum = np.abs(np.fft.rfft(np.sin(2 * math.pi * rate * times + 0.4)))
    if seen:
        assert np.argmax(spectrum) / 5000 * sample_rate == pytest.approx(seen, rel=2e-3)


def test_needed_sample_rate() -> None:
    """Ten samples a period and five a pulse, whichever asks for more."""
    assert needed_rate(Expected(1e6)) == 10e6  # common practice
    assert needed_rate(Expected(1e6, 100e-9)) == pytest.approx(50e6)  # common practice
    assert needed_rate(Expected()) is None


def test_slow_capture_of_a_known_clock() -> None:
    """A clock captured too slowly is refused, with the rate it would seem to have."""
    reason = rate_gate(1e6, 16e6, Expected(15e6))
    assert reason is not None
    assert reason.startswith("16.00 MSa/s is too slow: 150.0 MSa/s are needed")
    assert "1.000 MHz" in reason


def test_fast_capture_of_a_known_clock() -> None:
    """A clock captured fast enough passes, right or wrong."""
    assert rate_gate(15e6, 250e6, Expected(15e6)) is None
    assert rate_gate(7.5e6, 250e6, Expected(15e6)) is None


def test_unexpectedly_fast_rate_is_doubted() -> None:
    """A rate with less than ten samples a period is doubted whatever was expected."""
    reason = rate_gate(40e6, 250e6, Expected(15e6))
    assert reason is not None
    assert "ten samples" in reason


def test_unknown_rate_needs_a_second_look() -> None:
    """Of a line of which nothing is known one capture proves no rate; an agreeing faster one does."""
    assert "nothing is known" in (rate_gate(1e5, 10e6, Expected()) or "")
    assert rate_gate(1e5, 10e6, Expected(), second=(1.001e5, 100e6)) is None
    assert "nothing is known" in (rate_gate(1e5, 10e6, Expected(), second=(1e5, 20e6)) or "")


def test_rates_that_change_with_the_time_base_are_aliases() -> None:
    """A rate that moves with the sample rate is an alias."""
    true = 15e6
    seen = [alias_of(true, sample_rate) for sample_rate in (2.4e6, 10e6)]
    assert "alias" in (rate_gate(seen[0], 2.4e6, Expected(), second=(seen[1], 10e6)) or "")


def test_agreement_does_not_excuse_a_slow_capture() -> None:
    """Two captures that agree but are both too slow for what is expected stay doubted: 15 MHz is 0 at 5 and 1 MS/s."""
    assert "too slow" in (rate_gate(0.0, 1e6, Expected(15e6), second=(0.0, 5e6)) or "")


def test_stuck_needs_peak_detection_or_two_time_bases() -> None:
    """A line is called stuck only by peak detection or after a faster capture that also saw nothing."""
    assert stuck_gate(1e6, Expected(), peak_detect=True) is None
    assert "one capture only" in (stuck_gate(250e6, Expected(1e6)) or "")
    assert "one capture only" in (stuck_gate(1e6, Expected(), faster=2e6) or "")
    assert stuck_gate(25e6, Expected(1e6), faster=250e6) is None
    assert "too slow" in (stuck_gate(1e6, Expected(15e6), faster=10e6) or "")


def test_clock_in_step_with_the_samples_looks_stuck() -> None:
    """The trap itself: 5 MHz sampled at 2.5 MS/s has no edges, and the gate says it may be moving."""
    times = np.arange(2000) / 2.5e6
    still = Trace(np.where((times * 5e6 + 0.2 + 1e-6) % 1 < 0.5, 3.4, 0.2), 1 / 2.5e6)
    assert find_activity(still, family("LS")).pulses == 0
    assert stuck_gate(2.5e6, Expected()) is not None


def test_ladder_without_peak_detection() -> None:
    """Fast first, then ten times slower each time until a second is covered."""
    looks = ladder(Expected(rate=1e6), 250e6, 10_000, 1.0, peak_detect=False)
    assert [look.sample_rate for look in looks] == pytest.approx([10e6, 1e6, 100e3, 10e3])  # 10 samples a period
    assert looks[-1].seconds == pytest.approx(1.0)
    assert not any(look.peak_detect for look in looks)


def test_ladder_with_peak_detection() -> None:
    """Peak detection covers the whole time in the second look."""
    looks = ladder(Expected(), 250e6, 10_000, 2.0, peak_detect=True)
    assert looks == (Look(250e6, 40e-6), Look(5e3, 2.0, True))
    assert ladder(Expected(rate=10.0), 1e6, 1000, 2.0, peak_detect=True) == (Look(100.0, 10.0),)
    with pytest.raises(ValueError, match="above zero"):
        ladder(Expected(), 0.0, 1000, 1.0, peak_detect=True)


def test_still_only_at_the_top_of_the_ladder() -> None:
    """One look proves nothing; the whole ladder does, with peak detection or with rates far apart."""
    plain = ladder(Expected(), 250e6, 10_000, 1.0, peak_detect=False)
    assert still_gate([], Expected()) is not None
    assert "one capture only" in (still_gate(plain[:1], Expected()) or "")
    assert still_gate(plain[:2], Expected()) is None
    assert still_gate(ladder(Expected(), 250e6, 10_000, 1.0, peak_detect=True), Expected()) is None
    assert "too slow" in (still_gate(plain[2:], Expected(rate=15e6)) or "")


@pytest.mark.parametrize("rate", [0.7, 50.0, 1234.5, 31_250.0, 1e6, 14.7e6])
def test_ladder_catches_a_pulse_train_of_any_rate(rate: float) -> None:
    """Of a line that moves, at least one rung shows edges, so the whole ladder never calls it still."""
    shown = False
    for look in ladder(Expected(), 250e6, 10_000, 3.0, peak_detect=False):
        times = np.arange(10_000) / look.sample_rate
        volts = np.where((times * rate + 0.1) % 1.0 < 0.5, 3.4, 0.2)
        shown = shown or find_activity(Trace(volts, 1 / look.sample_rate), family("LS")).edges.count > 0
    assert shown
