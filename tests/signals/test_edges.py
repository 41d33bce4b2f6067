"""Edges, transitions, runts and glitches against closed forms."""

import math
from collections.abc import Callable

import numpy as np
import pytest

from autobench.signals.edges import count_glitches, find_edges, timing_edges
from autobench.signals.levels import Levels, find_levels
from autobench.signals.trace import Trace
from autobench.signals.transitions import corrected_duration, find_transitions

Volts = Callable[..., np.ndarray]


def test_trapezoid_transitions(trapezoid: Volts) -> None:
    """A 25 ns ramp has a 20 ns transition duration and no overshoot."""
    trace = Trace(trapezoid(1e6, 20_000, 1e-9), 1e-9)
    levels = find_levels(trace)
    edges = timing_edges(trace, levels)
    for falling in (False, True):
        transitions = find_transitions(trace, levels, edges, falling)
        assert transitions.duration == pytest.approx(20e-9, rel=1e-6)  # IEEE Std 181, 0.8 of a linear ramp
        assert transitions.overshoot == pytest.approx(0.0, abs=1e-6)
        assert transitions.slew == pytest.approx(3.2 / 25e-9, rel=1e-6)


@pytest.mark.parametrize("duty", [0.1, 0.25, 0.5, 0.6, 0.9])
def test_duty_is_width_over_period(duty: float, trapezoid: Volts) -> None:
    """The duty factor is the 50 % to 50 % width over the period exactly."""
    trace = Trace(trapezoid(1.0e6, 20_000, 1e-9, duty=duty, phase=0.3), 1e-9)
    edges = timing_edges(trace, find_levels(trace))
    assert edges.duty() == pytest.approx(duty, abs=1e-9)  # IEEE Std 181, duty factor
    assert edges.smallest_pulse() == pytest.approx(min(duty, 1 - duty) * 1e-6)
    assert edges.rising[0] == pytest.approx(0.3e-6)


@pytest.mark.parametrize("phase", [0.05, 0.3, 0.55, 0.8])
def test_edges_alternate_from_either_start(phase: float, trapezoid: Volts) -> None:
    """Whether the trace begins low or high, edges alternate and whole pulses are told from cut ones."""
    trace = Trace(trapezoid(1e6, 10_000, 1e-9, duty=0.4, phase=phase), 1e-9)
    edges = timing_edges(trace, find_levels(trace))
    assert edges.count == 20
    assert edges.first_high == (phase > 0.6)
    assert edges.high_widths() == pytest.approx(0.4e-6)
    assert edges.low_widths() == pytest.approx(0.6e-6)


def test_first_order_step() -> None:
    """An RC charge takes ln 9 time constants from 10 to 90 %."""
    constant, interval = 1e-6, 1e-9
    times = np.arange(40_000) * interval
    volts = np.where(times < 20e-6, 0.0, 5.0 * (1 - np.exp(-(times - 20e-6) / constant)))
    trace = Trace(volts, interval)
    levels = find_levels(trace)
    transitions = find_transitions(trace, levels, timing_edges(trace, levels))
    assert transitions.duration == pytest.approx(2.19722 * constant, rel=2e-3)  # closed form, ln 9 · RC


@pytest.mark.parametrize(
    ("damping", "percent"),  # closed form 100·exp(−πζ/√(1−ζ²))
    [
        (0.1, 72.925),
        (0.2, 52.662),
        (0.3, 37.233),
        (0.4, 25.383),
        (0.5, 16.303),
        (0.6, 9.478),
        (0.7, 4.599),
        (0.8, 1.516),
    ],
)
def test_second_order_overshoot(damping: float, percent: float) -> None:
    """The overshoot of a damped step is its closed form, in shares of the amplitude."""
    times = np.arange(0, 60, 0.01)
    root = math.sqrt(1 - damping**2)
    step = 1 - np.exp(-damping * times) * (np.cos(root * times) + damping / root * np.sin(root * times))
    trace = Trace(np.concatenate([np.zeros(3000), step, np.ones(20_000)]), 0.01)
    levels = Levels(2, 0.0, 1.0, 0.0, 0.0, 1.0, 0.5, 0.5, 0.0, trace.samples.size)
    transitions = find_transitions(trace, levels, timing_edges(trace, levels))
    assert 100 * transitions.overshoot == pytest.approx(percent, abs=0.01)


@pytest.mark.parametrize(
    ("samples", "worst"), [(4, 1.132e-2), (5, 5.505e-3), (10, 6.459e-4), (20, 7.953e-5), (50, 5.069e-6)]
)
def test_interpolation_error_of_a_sine(samples: int, worst: float) -> None:
    """Linear interpolation misplaces a sine's zero crossing by at most the known share of its period."""
    errors: list[float] = []
    for shift in np.linspace(0.0, 1.0, 401):
        volts = np.sin(2 * math.pi * (np.arange(10 * samples) + shift) / samples)
        rising = find_edges(Trace(volts, 1.0), 0.0, 0.0, 0.0).rising
        true = np.arange(0, 11) * samples - shift
        errors.extend(float(np.abs(time - true).min()) / samples for time in rising)
    assert max(errors) == pytest.approx(worst, rel=0.02)  # numeric maximum; bound π²√3/(27n³)


@pytest.mark.parametrize(
    ("measured", "bandwidth", "true"), [(10e-9, 350e6, 9.950e-9), (8.602e-9, 50e6, 5.0e-9), (7e-9, 50e6, math.nan)]
)
def test_the_scope_is_taken_out_of_a_rise(measured: float, bandwidth: float, true: float) -> None:
    """A 1 ns scope adds 50 ps to 10 ns; a 50 MHz scope shows 5 ns as 8.602 ns, and hides what is as fast as itself."""
    found = corrected_duration(measured, bandwidth)
    assert found == pytest.approx(true, abs=1e-12, nan_ok=True)  # root of the difference of squares, common practice


def test_noise_on_slow_edges_does_not_double_edges(digitise: Callable[..., Trace], trapezoid: Volts) -> None:
    """Noise of three steps on a ramp of a thousand samples still gives one edge a crossing."""
    trace = digitise(trapezoid(1e3, 50_000, 1e-6, ramp=2e-4), 1e-6, noise=3.0)
    assert timing_edges(trace, find_levels(trace)).count == 100


def test_codes_and_volts_agree(digitise: Callable[..., Trace], trapezoid: Volts) -> None:
    """Edges found on codes are those found on the same samples in volts."""
    coded = digitise(trapezoid(15e6, 5000, 4e-9, ramp=12.5e-9), 4e-9, noise=1.0)
    plain = Trace(coded.in_volts(), 4e-9)
    one, other = (find_edges(trace, 1.5, 1.8, 2.1) for trace in (coded, plain))
    assert one.rising == pytest.approx(other.rising, abs=1e-15)
    assert one.falling == pytest.approx(other.falling, abs=1e-15)


@pytest.mark.parametrize("noise", [0.0, 1.0])
def test_runts_are_counted(noise: float, digitise: Callable[..., Trace], trapezoid: Volts) -> None:
    """Pulses that stop half way are runts, those of full height are not."""
    volts = trapezoid(1e6, 20_000, 1e-9)
    volts[5050:5650] = np.minimum(volts[5050:5650], 2.3)
    volts[7660:7700] = 2.25
    trace = digitise(volts, 1e-9, noise=noise)
    levels = find_levels(trace)
    assert timing_edges(trace, levels).runts == 2
    assert timing_edges(Trace(trace.in_volts(), 1e-9), levels).runts == 2
    assert find_edges(trace, 1.5, 1.8, 2.1).runts == 0  # without a wider band there is nothing to fall short of
    clean = digitise(trapezoid(1e6, 20_000, 1e-9), 1e-9, noise=noise)
    assert timing_edges(clean, levels).runts == 0


def test_glitches_are_counted(trapezoid: Volts) -> None:
    """A pulse far narrower than its kind is a glitch, by share of the median or by a stated width."""
    volts = trapezoid(1e6, 20_000, 1e-9)
    volts[5750:5770] = 3.4
    trace = Trace(volts, 1e-9)
    edges = timing_edges(trace, find_levels(trace))
    assert count_glitches(edges) == 1
    assert count_glitches(edges, shortest=10e-9) == 0
    assert count_glitches(edges, shortest=10e-6) == edges.high_widths().size + edges.low_widths().size


def test_missing_numbers_make_no_edges(trapezoid: Volts) -> None:
    """Samples that are no numbers neither add nor take away an edge elsewhere."""
    volts = trapezoid(1e6, 10_000, 1e-9)
    volts[300:320] = math.nan
    edges = find_edges(Trace(volts, 1e-9), 1.5, 1.8, 2.1)
    assert edges.count == 20
    assert np.isfinite(edges.rising).all()


def test_start_between_the_thresholds_is_no_edge() -> None:
    """What came before a trace that begins between the thresholds is not known, so its first swing is no edge."""
    edges = find_edges(Trace(np.array([1.0, 3.0, 3.0, 0.0, 3.0]), 1.0), 0.8, 1.4, 2.0)
    assert edges.falling.size == 1
    assert edges.rising.size == 1


def test_thresholds_out_of_order_are_refused() -> None:
    """Thresholds must rise; ones that are no number give no edges."""
    trace = Trace(np.array([0.0, 3.0]), 1.0)
    with pytest.raises(ValueError, match="out of order"):
        find_edges(trace, 2.0, 1.0, 3.0)
    assert find_edges(trace, math.nan, 1.0, 2.0).count == 0


def test_no_edges_no_numbers() -> None:
    """Without edges widths, duty and transitions are no numbers and not zero."""
    trace = Trace(np.zeros(100), 1e-6)
    levels = find_levels(trace)
    edges = timing_edges(trace, levels)
    assert edges.count == 0
    assert math.isnan(edges.duty())
    assert math.isnan(edges.smallest_pulse())
    assert math.isnan(find_transitions(trace, levels, edges).duration)
    assert edges.runts == count_glitches(edges) == 0
