"""Gates: bench mistakes are named, healthy lines pass."""

import math
from collections.abc import Callable

import numpy as np
import pytest

from autobench.signals.activity import find_activity
from autobench.signals.families import NAMES, family
from autobench.signals.gates import clipped_gate, coupling_gate, factor_gate, ground_gate, line_gate, sampling_gate
from autobench.signals.levels import find_levels
from autobench.signals.trace import Trace

Volts = Callable[..., np.ndarray]
LS = family("LS")


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("duty", [0.5, 0.1, 0.9])
def test_healthy_lines_pass(name: str, duty: float, trapezoid: Volts, digitise: Callable[..., Trace]) -> None:
    """A clock or strobe at any family's levels passes every gate."""
    known = family(name)
    volts = trapezoid(1e6, 50_000, 4e-9, low=0.5 * known.low_in, high=min(known.high_out, 4.6), duty=duty)
    trace = digitise(volts, 4e-9, step=0.025, noise=0.7)
    assert line_gate(trace, find_activity(trace, known), known, 5.0) is None


def test_clipped() -> None:
    """Two per cent at the converter's end void levels; half a per cent does not (common practice: 1 %)."""
    codes = np.full(1000, 100, np.uint8)
    codes[:20] = 255
    assert "2 % of the samples" in (clipped_gate(find_levels(Trace(codes, 1e-6))) or "")
    codes[5:20] = 100
    assert clipped_gate(find_levels(Trace(codes, 1e-6))) is None
    assert "all of the samples" in (clipped_gate(find_levels(Trace(np.zeros(100, np.uint8), 1e-6))) or "")


def test_ac_coupling(trapezoid: Volts) -> None:
    """The same clock without its mean swings about 0 V."""
    volts = trapezoid(1e6, 50_000, 4e-9)
    reason = coupling_gate(find_levels(Trace(volts - volts.mean(), 4e-9)))
    assert reason is not None
    assert "AC-coupled" in reason
    assert coupling_gate(find_levels(Trace(volts, 4e-9))) is None
    assert coupling_gate(find_levels(Trace(volts - 0.5, 4e-9))) is None  # undershoot of a healthy line


@pytest.mark.parametrize(("factor", "words"), [(10.0, "too large"), (0.1, "too small")])
def test_probe_factor(factor: float, words: str, trapezoid: Volts) -> None:
    """Levels times or by ten name the probe; a 12 V clock of its own family, or a line that lost its high, do not."""
    levels = find_levels(Trace(trapezoid(1e6, 50_000, 4e-9) * factor, 4e-9))
    assert words in (factor_gate(levels, LS, 5.0) or "")
    twelve = find_levels(Trace(trapezoid(1e6, 50_000, 4e-9, low=0.3, high=11.6), 4e-9))
    assert factor_gate(twelve, family("CMOS", 12.0), 12.0) is None
    weak = find_levels(Trace(trapezoid(1e6, 50_000, 4e-9, low=0.3, high=1.4), 4e-9))
    assert factor_gate(weak, LS, 5.0) is None


def test_ground_clip_off(trapezoid: Volts) -> None:
    """Mains on the whole line names the ground clip; a line that itself switches at 50 Hz, or drifts, does not."""
    times = np.arange(60_000) * 1e-6
    clock = trapezoid(20e3, 60_000, 1e-6, ramp=2e-6)
    hum = 1.1 * np.sin(2 * math.pi * 50 * times + 0.3)
    reason = ground_gate(Trace(clock + hum, 1e-6))
    assert reason is not None
    assert "2.2 V" in reason
    assert "ground clip" in reason
    assert ground_gate(Trace(clock, 1e-6)) is None
    assert ground_gate(Trace(trapezoid(50.0, 60_000, 1e-6, duty=0.03, ramp=1e-5), 1e-6)) is None  # a field sync
    assert ground_gate(Trace(2.0 * np.exp(-times / 0.03), 1e-6)) is None
    assert ground_gate(Trace((clock + hum)[:15_000], 1e-6)) is None  # less than a period says nothing


def test_too_few_samples_a_pulse(trapezoid: Volts) -> None:
    """Three samples a pulse are too few, six are enough (common practice: five)."""
    for interval, few in ((33e-9, True), (16e-9, False)):
        trace = Trace(trapezoid(1e6, 5000, interval, duty=0.1, ramp=1e-9, phase=0.123), interval)
        reason = sampling_gate(trace, find_activity(trace, LS))
        assert (reason is not None) is few
    assert sampling_gate(Trace(np.full(100, 3.5), 1e-8), find_activity(Trace(np.full(100, 3.5), 1e-8), LS)) is None


def test_hum_shows_on_the_ceiling_of_a_line_with_rare_pulses() -> None:
    """A high line with a short low pulse each field rides on hum: its floor does not show it, its ceiling does."""
    times = np.arange(3000) * 20e-6
    volts = 4.5 + 0.5 * np.sin(2.0 * math.pi * 50.0 * times)
    volts[100::999] = 0.2
    assert "ground" in (ground_gate(Trace(volts, 20e-6), 50.0) or "")


def test_a_square_wave_at_the_rate_of_the_mains_is_no_hum() -> None:
    """8/π² = 0.81 of its power is in the fundamental (Fourier series of a square wave)."""
    times = np.arange(3000) * 20e-6
    square = np.where(np.remainder(times * 50.0, 1.0) < 0.5, 4.0, 0.2)
    assert ground_gate(Trace(square, 20e-6), 50.0) is None


def test_hum_shows_beside_a_pulse_that_is_longer_than_a_block() -> None:
    """An interrupt held low for 1.3 ms in every field of 60 Hz, on hum of the mains: the rest of the line swings."""
    times = np.arange(3000) * 20e-6
    pulse = np.where(np.remainder(times * 59.94, 1.0) < 1.3e-3 * 59.94, 0.2, 3.6)
    hum = 0.7 * np.sin(2.0 * math.pi * 50.0 * times)
    assert "1.4 V" in (ground_gate(Trace(pulse + hum, 20e-6), 50.0) or "")
    assert ground_gate(Trace(pulse, 20e-6), 50.0) is None
    assert ground_gate(Trace(pulse, 20e-6), 60.0) is None
