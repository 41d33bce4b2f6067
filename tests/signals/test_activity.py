"""States of logic lines, counting and ratios."""

import math
from collections.abc import Callable

import numpy as np
import pytest

from autobench.signals.activity import State, fills_record, find_activity, mean_rate, rate_ratio
from autobench.signals.edges import timing_edges
from autobench.signals.families import family
from autobench.signals.histogram import count_samples
from autobench.signals.levels import find_levels
from autobench.signals.trace import Trace
from autobench.signals.transitions import find_transitions, transition_duration

Volts = Callable[..., np.ndarray]
Digitise = Callable[..., Trace]


@pytest.mark.parametrize(
    ("level", "name", "expected"),
    [
        (0.05, "LS", State.LOW),  # short to 0 V, common practice
        (0.35, "LS", State.LOW),  # driven low, 74LS V_OL
        (1.43, "LS", State.FLOATING),  # open TTL input about 1.4 V, common practice
        (1.43, "NMOS", State.HALF_LEVEL),  # nothing pulls an NMOS input there
        (0.95, "LS", State.HALF_LEVEL),  # low wins a fight at 0.4 to 1.0 V, common practice
        (3.4, "LS", State.HIGH),  # 74LS typical V_OH
        (2.5, "CMOS", State.HALF_LEVEL),  # CMOS outputs fighting, common practice
        (3.4, "CMOS", State.HALF_LEVEL),  # LS high does not reach a CMOS input's 3.5 V
        (5.0, "CMOS", State.HIGH),
    ],
)
@pytest.mark.parametrize("noise", [0.0, 1.0])
def test_static_lines(level: float, name: str, expected: State, noise: float, digitise: Digitise) -> None:
    """A static level is told by the thresholds of the family that listens."""
    found = find_activity(digitise(np.full(10_000, level), 1e-8, step=0.03, noise=noise), family(name))
    assert found.state is expected
    assert found.pulses == 0
    assert found.rate.value == 0.0
    assert math.isnan(found.smallest_pulse)


def test_moving_line(trapezoid: Volts, digitise: Digitise) -> None:
    """A clock moves; its rate, low share, smallest pulse and transition come out."""
    found = find_activity(digitise(trapezoid(1e6, 100_000, 4e-9, duty=0.3), 4e-9, noise=0.7), family("LS"))
    assert found.state is State.MOVING
    assert found.rate.value == pytest.approx(1e6, abs=2 * 0.41 / 0.4e-3)
    assert found.low_share == pytest.approx(0.69, abs=0.01)
    assert found.high_share == pytest.approx(0.30, abs=0.01)
    assert found.smallest_pulse == pytest.approx(0.3e-6, rel=0.02)
    assert found.transition == pytest.approx(20e-9, rel=0.1)  # 0.8 of a linear ramp


def test_a_low_that_another_output_fights(digitise: Digitise) -> None:
    """The level of a moving line's lows tells a driven low from one that wins a fight (common practice: 0.5 to 1 V)."""
    good = np.tile(np.repeat([0.3, 3.4], [30, 70]), 200)
    fought = np.tile(np.repeat([0.72, 3.1], [30, 70]), 200)
    for volts, low, high in ((good, 0.3, 3.4), (fought, 0.72, 3.1)):
        found = find_activity(digitise(volts, 1e-8, noise=0.6), family("LS"))
        assert found.state is State.MOVING
        assert found.low_level == pytest.approx(low, abs=0.01)
        assert found.high_level == pytest.approx(high, abs=0.01)
    still = find_activity(digitise(np.full(1000, 3.4), 1e-8), family("LS"))
    assert math.isnan(still.low_level)
    assert still.high_level == pytest.approx(3.4, abs=0.01)


def test_irregular_strobe_is_moving(digitise: Digitise) -> None:
    """A strobe with changing gaps is moving, not a burst."""
    volts = np.full(100_000, 3.5)
    for start in np.cumsum(np.random.default_rng(4).choice([40, 70, 100, 110], 1000)).tolist():
        volts[start : start + 20] = 0.3
    found = find_activity(digitise(volts, 1e-8, noise=0.5), family("LS"))
    assert found.state is State.MOVING
    assert 998 < found.pulses <= 1000


def test_burst(trapezoid: Volts) -> None:
    """Activity that stops for most of the record is a burst, wherever it lies."""
    volts = trapezoid(1e6, 100_000, 1e-8)
    for quiet in (slice(20_000, None), slice(None, 80_000), slice(20_000, 90_000)):
        part = volts.copy()
        part[quiet] = 0.2
        assert find_activity(Trace(part, 1e-8), family("LS")).state is State.BURST


def test_a_train_that_stops_has_no_period_for_its_mean_rate(trapezoid: Volts) -> None:
    """Pulses that keep step but fill two thirds of the record are counted: 1/period would claim half as many again."""
    volts = trapezoid(1e6, 100_000, 1e-8)
    whole = find_activity(Trace(volts, 1e-8), family("LS"))
    assert fills_record(Trace(volts, 1e-8), whole.edges)
    for quiet in (slice(67_000, None), slice(None, 33_000)):
        part = volts.copy()
        part[quiet] = 0.2
        found = find_activity(Trace(part, 1e-8), family("LS"))
        assert not fills_record(Trace(part, 1e-8), found.edges)
        assert found.rate.value == pytest.approx(0.67e6, rel=2e-3)
    strobe = find_activity(Trace(trapezoid(1e6, 100_000, 1e-8, duty=0.1), 1e-8), family("LS"))
    assert fills_record(Trace(volts, 1e-8), strobe.edges)


def test_slow_edges(trapezoid: Volts) -> None:
    """Edges of 10 µs are slow for a logic input."""
    found = find_activity(Trace(trapezoid(1e4, 50_000, 1e-7, ramp=12.5e-6), 1e-7), family("HCT"))
    assert found.state is State.SLOW
    assert found.transition == pytest.approx(10e-6, rel=1e-3)  # 0.8 of a linear ramp


def test_swing_that_never_reaches_a_high(trapezoid: Volts) -> None:
    """A line that only moves between a good low and a half level has no pulses and stands at half level."""
    found = find_activity(Trace(trapezoid(1e6, 10_000, 4e-9, low=0.3, high=1.5), 4e-9), family("LS"))
    assert found.state is State.HALF_LEVEL
    assert found.pulses == 0
    assert found.plateaus.level == pytest.approx(1.5)


def test_drifting_line_floats() -> None:
    """An undriven NMOS bus line drifts by leakage and hum, and neither is a state of its own."""
    times = np.arange(50_000) * 1e-6
    leak = 0.9 + 1.0 * np.exp(-times / 10e-3)
    hum = 1.4 + 0.4 * np.sin(2 * math.pi * 50 * times)
    assert find_activity(Trace(leak, 1e-6), family("NMOS")).state is State.FLOATING
    assert find_activity(Trace(hum, 1e-6), family("NMOS")).state is State.FLOATING


def test_count_uncertainty() -> None:
    """Counting is uncertain by 0.408 of a count, two evenly rounded ends."""
    rate = mean_rate(1000, 1e-3)
    assert rate.value == 1e6
    assert rate.uncertainty == pytest.approx(0.408 / 1e-3, rel=1e-3)  # triangular distribution, 1/√6
    assert math.isnan(mean_rate(0, 0.0).value)


def test_ratio_between_lines(trapezoid: Volts) -> None:
    """Two writes to each fetch read as 2 with an uncertainty below 1 % of it."""
    fetch = find_activity(Trace(trapezoid(0.3e6, 100_000, 1e-8), 1e-8), family("LS"))
    write = find_activity(Trace(trapezoid(0.6e6, 100_000, 1e-8, phase=0.7), 1e-8), family("LS"))
    ratio = rate_ratio(write, fetch)
    assert ratio.value == pytest.approx(2.0, abs=3 * ratio.uncertainty)
    assert 0 < ratio.uncertainty < 0.01
    dead = find_activity(Trace(np.full(100_000, 3.0), 1e-8), family("LS"))
    assert rate_ratio(dead, fetch).value == 0.0
    assert math.isnan(rate_ratio(fetch, dead).value)


@pytest.mark.parametrize("duty", [0.5, 0.1])
def test_ratio_uncertainty_holds(duty: float, trapezoid: Volts) -> None:
    """Over random phases and rates the ratio is unbiased and scatters by what its uncertainty says, or less."""
    generator = np.random.default_rng(9)
    scaled = []
    for _ in range(300):
        rates = 1.07e6 * generator.uniform(0.9, 1.1), 0.77e6 * generator.uniform(0.9, 1.1)
        one, two = (
            find_activity(Trace(trapezoid(rate, 4000, 1e-8, duty=duty, phase=generator.uniform()), 1e-8), family("LS"))
            for rate in rates
        )
        ratio = rate_ratio(one, two)
        scaled.append((ratio.value - rates[0] / rates[1]) / ratio.uncertainty)
    assert 0.4 < float(np.std(scaled)) < 1.15
    assert float(np.mean(scaled)) == pytest.approx(0.0, abs=0.2)


def test_no_numbers_no_state() -> None:
    """A trace without numbers has no state."""
    assert find_activity(Trace(np.full(10, math.nan), 1e-8), family("LS")).state is None


@pytest.mark.parametrize("falling", [False, True])
@pytest.mark.parametrize("noise", [0.0, 1.5])
@pytest.mark.parametrize("ramp", [3e-9, 40e-9, 200e-9])
def test_the_duration_alone_is_that_of_the_whole_transition(
    falling: bool, noise: float, ramp: float, trapezoid: Volts, digitise: Digitise
) -> None:
    """What a line's state hangs on is the duration of IEEE Std 181 that the waveform's own look gives, to rounding."""
    trace = digitise(trapezoid(0.7e6, 20_000, 4e-9, duty=0.4, ramp=ramp), 4e-9, noise=noise)
    levels = find_levels(trace, count_samples(trace))
    edges = timing_edges(trace, levels)
    whole = find_transitions(trace, levels, edges, falling).duration
    assert whole > 0.0
    assert transition_duration(trace, levels, edges, falling) == pytest.approx(whole, rel=1e-9)
