"""Frequency by least squares: bounds, formulas and coverage."""

import math
from collections.abc import Callable

import numpy as np
import pytest

from autobench.signals.edges import Edges
from autobench.signals.frequency import Clarity, edge_clarity, find_period
from autobench.signals.trace import Trace
from autobench.signals.transitions import Transitions
from autobench.signals.waveform import characterise

EXACT = Clarity(0.0, 0.0)
NONE = np.zeros(0)


def ticks(count: int, period: float) -> Edges:
    """Rising edges only, at whole periods."""
    return Edges(np.arange(count, dtype=np.float64) * period, NONE, 0.8, 1.4, 2.0)


@pytest.mark.parametrize(("count", "factor"), [(10, 0.11010), (100, 0.0034643), (1000, 1.0954e-4)])
def test_uncertainty_of_the_period(count: int, factor: float) -> None:
    """The period's uncertainty falls as √(12/(n(n² − 1))) with the edges, each of known jitter."""
    period = find_period(ticks(count, 1.0), Clarity(2e-3 if count > 22 else 1e-3, 0.0))
    assert period is not None
    assert period.frequency.uncertainty == pytest.approx(1e-3 * factor, rel=1e-3)  # least squares of a line


@pytest.mark.parametrize(("count", "factor"), [(10, 0.15713), (100, 0.014285)])
def test_grain_counts_over_the_whole_length(count: int, factor: float) -> None:
    """Rounding in step with the signal counts as that of the first and last edge only."""
    period = find_period(ticks(count, 1.0), Clarity(0.0, 1e-3 * math.sqrt(12)))
    assert period is not None
    assert period.frequency.uncertainty == pytest.approx(1e-3 * factor, rel=1e-3)  # √2/(n − 1) of each end's rounding


def test_time_base_is_a_rectangle() -> None:
    """A time base of ±25 ppm at 1 MHz brings 14.43 Hz."""
    period = find_period(ticks(1000, 1e-6), EXACT, time_base=25e-6)
    assert period is not None
    assert period.frequency.uncertainty == pytest.approx(14.43, abs=0.005)  # GUM 4.3.7: 25 Hz/√3
    assert math.isinf(period.frequency.degrees)


def test_jitter_from_noise_and_slew() -> None:
    """20 mV of noise on 3.2 V in 20 ns place an edge to √(2/3) of 125 ps."""
    trace = Trace(np.zeros(2, np.uint8), 1e-9, step=0.02)
    side = Transitions(16e-9, 0.0, 3.2 / 20e-9, 10)
    clarity = edge_clarity(trace, 0.020, side, side)
    assert clarity.jitter == pytest.approx(0.8165 * 125e-12, rel=1e-3)  # σ/slew, linear interpolation √(2/3)
    assert clarity.grain == 0.0
    assert edge_clarity(trace, 0.006, side, side).grain == pytest.approx(0.02 / (3.2 / 20e-9))  # a step without dither


def test_edges_between_samples_are_rounded_to_a_sample() -> None:
    """An edge faster than the sampling lies anywhere in its interval."""
    fast = Transitions(0.5e-9, 0.0, 1e10, 10)
    clarity = edge_clarity(Trace(np.zeros(2, np.uint8), 4e-9), 0.02, fast, fast)
    assert clarity.jitter == pytest.approx(4e-9 / math.sqrt(12))  # rectangular, GUM 4.3.7
    assert clarity.grain == 4e-9


def test_exact_edges_give_the_exact_frequency(trapezoid: Callable[..., np.ndarray]) -> None:
    """A trapezoid without noise gives its frequency to a part in 10⁹, and both polarities count."""
    found = characterise(Trace(trapezoid(3.75e6, 50_000, 4e-9, duty=0.45), 4e-9))
    assert found.period is not None
    assert found.period.frequency.value == pytest.approx(3.75e6, rel=1e-9)
    assert found.period.regular
    assert found.period.edges == 1500
    assert found.duty == pytest.approx(0.45, abs=1e-6)


def test_a_strobe_has_no_period() -> None:
    """Edges that do not keep step are said to be irregular."""
    gaps = np.random.default_rng(2).choice([4.0, 7.0, 10.0, 11.0], 500)
    period = find_period(Edges(np.cumsum(gaps), NONE, 0.8, 1.4, 2.0), EXACT)
    assert period is not None
    assert not period.regular


def test_gapped_clock_is_irregular() -> None:
    """A clock that leaves out a pulse now and then has no single period."""
    times = np.delete(np.arange(1000.0), np.arange(7, 1000, 50))
    period = find_period(Edges(times, NONE, 0.8, 1.4, 2.0), EXACT)
    assert period is not None
    assert not period.regular


@pytest.mark.parametrize("count", [0, 1])
def test_no_period_from_one_edge(count: int) -> None:
    """One edge has no period."""
    assert find_period(ticks(count, 1.0), EXACT) is None


def test_two_edges_have_the_predicted_uncertainty() -> None:
    """With two edges nothing but the prediction tells how good they are."""
    period = find_period(ticks(2, 1.0), Clarity(1e-3, 0.0))
    assert period is not None
    assert period.frequency.uncertainty == pytest.approx(math.sqrt(2) * 1e-3)  # difference of two edges


def test_peak_detected_samples_have_no_times(trapezoid: Callable[..., np.ndarray]) -> None:
    """Peak-detected samples give levels but no period."""
    found = characterise(Trace(trapezoid(1e6, 1000, 1e-8), 1e-8, peak_detect=True))
    assert found.period is None
    assert found.levels.count == 2


def errors(trapezoid: Callable[..., np.ndarray], digitise: Callable[..., Trace], rise: float, seeds: int) -> np.ndarray:
    """Errors of the frequency in its own standard uncertainties, a seed each.

    A 15 MHz clock within ± 100 ppm, 10 000 samples at 250 MS/s, an 8-bit converter with one step of noise, an exact
    time base: near six hundred periods of fifty samples each for three, so that the places of the edges hardly move.
    """
    scaled = []
    for seed in range(seeds):
        generator = np.random.default_rng(seed)
        rate = 15e6 * (1.0 + 1e-4 * generator.uniform(-1.0, 1.0))
        volts = trapezoid(rate, 10_000, 4e-9, ramp=rise / 0.8, phase=generator.uniform())
        found = characterise(digitise(volts, 4e-9, noise=1.0, seed=1_000_000 + seed)).period
        assert found is not None
        scaled.append((found.frequency.value - rate) / found.frequency.uncertainty)
    return np.array(scaled)


@pytest.mark.parametrize("rise", [10e-9, 5e-9, 1e-9])
def test_coverage_at_a_glance(
    rise: float, trapezoid: Callable[..., np.ndarray], digitise: Callable[..., Trace]
) -> None:
    """A quick look with fifty seeds that the 95 % interval covers for clean, steep and unresolved edges."""
    scaled = errors(trapezoid, digitise, rise, 50)
    assert np.mean(np.abs(scaled) <= 1.96) >= 0.86  # binomial: 95 % covers 43 of 50 or more all but once in 200


@pytest.mark.long
@pytest.mark.parametrize(("rise", "least", "most"), [(10e-9, 0.93, 0.97), (5e-9, 0.93, 1.0), (1e-9, 0.93, 1.0)])
def test_coverage_of_the_interval(
    rise: float, least: float, most: float, trapezoid: Callable[..., np.ndarray], digitise: Callable[..., Trace]
) -> None:
    """Over a thousand seeds the 95 % interval covers 95 ± 2 % with 10 ns edges, and not less than 93 % with faster."""
    scaled = errors(trapezoid, digitise, rise, 1000)
    assert least <= np.mean(np.abs(scaled) <= 1.96) <= most  # GUM 6.2: what a 95 % interval claims
    assert abs(float(scaled.mean())) < 0.2  # no bias worth a fifth of the standard uncertainty


@pytest.mark.long
@pytest.mark.parametrize("rise", [10e-9, 5e-9])
def test_coverage_with_curved_edges(rise: float, digitise: Callable[..., Trace]) -> None:
    """Edges that charge exponentially, which straight lines place badly, are covered as well."""
    constant, scaled = rise / math.log(9.0), []  # closed form, ln 9 · RC from 10 % to 90 %
    for seed in range(500):
        generator = np.random.default_rng(seed)
        rate = 15e6 * (1.0 + 1e-4 * generator.uniform(-1.0, 1.0))
        place = (np.arange(10_000) * 4e-9 * rate - generator.uniform()) % 1.0 / rate
        half = 0.5 / rate
        up = 1.0 - np.exp(-place / constant)
        down = np.exp(-(place - half) / constant)
        volts = 0.2 + 3.2 * np.where(place < half, up, down)
        found = characterise(digitise(volts, 4e-9, noise=1.0, seed=2_000_000 + seed)).period
        assert found is not None
        scaled.append((found.frequency.value - rate) / found.frequency.uncertainty)
    assert np.mean(np.abs(scaled) <= 1.96) >= 0.93  # GUM 6.2: what a 95 % interval claims
    assert abs(float(np.mean(scaled))) < 0.2


def test_ratio_of_two_clocks_leaves_out_the_time_base(trapezoid: Callable[..., np.ndarray]) -> None:
    """The random part of a frequency stays free of the time base, which two lines of one capture share."""
    trace = Trace(trapezoid(3.75e6, 20_000, 4e-9), 4e-9)
    exact, loose = characterise(trace).period, characterise(trace, time_base=25e-6).period
    assert exact is not None
    assert loose is not None
    assert loose.random == exact.random
    assert loose.frequency.uncertainty == pytest.approx(3.75e6 * 25e-6 / math.sqrt(3), rel=1e-3)  # GUM 4.3.7
