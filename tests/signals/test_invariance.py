"""What shifting, scaling, inverting, turning round and re-sampling a trace must do to its numbers, and what not."""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from autobench.signals.activity import find_activity
from autobench.signals.families import Family
from autobench.signals.ripple import find_ripple
from autobench.signals.trace import Trace
from autobench.signals.waveform import Waveform, characterise

INTERVAL = 4e-9
SAMPLES = 6000


@dataclass(frozen=True)
class Clock:
    """A clock as a generator makes it: Hz, shares of a period, seconds."""

    rate: float
    duty: float
    phase: float
    ramp: float

    def volts(self, samples: int = SAMPLES, interval: float = INTERVAL) -> NDArray[np.float64]:
        """0.2 V to 3.4 V with linear ramps."""
        place = ((np.arange(samples) * interval * self.rate - self.phase + 0.5) % 1.0 - 0.5) / self.rate
        place = np.where(place < -0.25 * min(self.duty, 1 - self.duty) / self.rate, place + 1.0 / self.rate, place)
        up, down = place / self.ramp + 0.5, (self.duty / self.rate - place) / self.ramp + 0.5
        return np.asarray(0.2 + 3.2 * np.clip(np.minimum(up, down), 0.0, 1.0))


clocks = st.builds(
    Clock,
    rate=st.floats(0.4e6, 8e6),
    duty=st.floats(0.25, 0.75),
    phase=st.floats(0.0, 1.0),
    ramp=st.floats(10e-9, 30e-9),
)
gains = st.floats(0.05, 20.0)
offsets = st.floats(-30.0, 30.0)


def noisy(clock: Clock, seed: int, noise: float = 0.7) -> NDArray[np.uint8]:
    """8-bit codes in steps of 20 mV."""
    codes = clock.volts() / 0.02 + 40.0 + np.random.default_rng(seed).normal(0.0, noise, SAMPLES)
    return np.rint(codes).astype(np.uint8)


def frequency(found: Waveform) -> tuple[float, float]:
    """Frequency and its standard uncertainty."""
    assert found.period is not None
    return found.period.frequency.value, found.period.frequency.uncertainty


@settings(deadline=None, max_examples=40)
@given(clocks, gains, offsets)
def test_gain_and_offset_move_levels_and_no_times(clock: Clock, gain: float, offset: float) -> None:
    """Volts follow a gain and an offset; edges, duty, transitions, shares and frequency stay (IEEE Std 181)."""
    volts = clock.volts()
    plain = characterise(Trace(volts, INTERVAL), receiver=Family("plain", 0.8, 2.0, 0.4, 2.4, 1e-6))
    low_in, high_in = gain * 0.8 + offset, gain * 2.0 + offset
    receiver = Family("moved", low_in, high_in, low_in, high_in, 1e-6)
    moved = characterise(Trace(gain * volts + offset, INTERVAL), receiver=receiver)
    near = 1e-6 * gain
    assert moved.levels.low == pytest.approx(gain * plain.levels.low + offset, abs=near)
    assert moved.levels.high == pytest.approx(gain * plain.levels.high + offset, abs=near)
    assert moved.levels.mean == pytest.approx(gain * plain.levels.mean + offset, abs=0.02 * gain)  # by bins
    for ours, theirs in ((moved.edges.rising, plain.edges.rising), (moved.edges.falling, plain.edges.falling)):
        assert ours == pytest.approx(theirs, abs=1e-13)
    assert moved.duty == pytest.approx(plain.duty, abs=1e-6)
    assert moved.rising.duration == pytest.approx(plain.rising.duration, rel=1e-4)
    assert moved.rising.slew == pytest.approx(gain * plain.rising.slew, rel=1e-4)
    assert frequency(moved)[0] == pytest.approx(frequency(plain)[0], rel=1e-8)
    assert (moved.runts, moved.glitches) == (plain.runts, plain.glitches)
    assert moved.activity is not None
    assert plain.activity is not None
    assert moved.activity.state is plain.activity.state
    assert moved.activity.pulses == plain.activity.pulses


@settings(deadline=None, max_examples=40)
@given(clocks, st.integers(0, 1000))
def test_inverting_swaps_low_and_high(clock: Clock, seed: int) -> None:
    """Of inverted codes lows are highs, rising edges falling ones, and the duty its complement (IEEE Std 181)."""
    codes = noisy(clock, seed)
    plain = characterise(Trace(codes, INTERVAL, step=0.02, reference=40.0))
    turned = characterise(Trace(255 - codes, INTERVAL, step=0.02, reference=215.0))
    assert (turned.levels.low, turned.levels.high) == pytest.approx((-plain.levels.high, -plain.levels.low), abs=0.01)
    assert turned.edges.rising == pytest.approx(plain.edges.falling, abs=5e-11)
    assert turned.edges.falling == pytest.approx(plain.edges.rising, abs=5e-11)
    assert turned.duty == pytest.approx(1.0 - plain.duty, abs=1e-3)
    assert turned.rising.duration == pytest.approx(plain.falling.duration, rel=0.05, abs=5e-10)
    ours, theirs = frequency(turned), frequency(plain)
    assert abs(ours[0] - theirs[0]) < math.hypot(ours[1], theirs[1])


@settings(deadline=None, max_examples=40)
@given(clocks, st.integers(0, 1000))
def test_played_backwards(clock: Clock, seed: int) -> None:
    """Backwards every rise is a fall at the mirrored time, and frequency and levels stay."""
    codes = noisy(clock, seed)
    plain = characterise(Trace(codes, INTERVAL, step=0.02, reference=40.0))
    back = characterise(Trace(codes[::-1], INTERVAL, step=0.02, reference=40.0))
    length = (SAMPLES - 1) * INTERVAL
    assert back.edges.rising == pytest.approx(length - plain.edges.falling[::-1], abs=1e-12)
    assert back.edges.falling == pytest.approx(length - plain.edges.rising[::-1], abs=1e-12)
    assert (back.levels.low, back.levels.high) == pytest.approx((plain.levels.low, plain.levels.high), abs=1e-9)
    ours, theirs = frequency(back), frequency(plain)
    assert abs(ours[0] - theirs[0]) < 0.5 * math.hypot(ours[1], theirs[1])


@settings(deadline=None, max_examples=40)
@given(clocks, st.integers(0, 1000), st.sampled_from([2, 3, 4]))
def test_resampling_keeps_what_it_can_show(clock: Clock, seed: int, every: int) -> None:
    """Every second to fourth sample gives the same levels, duty and frequency within the stated uncertainties."""
    flat = min(clock.duty, 1.0 - clock.duty) / clock.rate - clock.ramp
    assume(flat > 3.0 * every * INTERVAL)  # what is left must still show both levels
    codes = noisy(clock, seed)
    plain = characterise(Trace(codes, INTERVAL, step=0.02, reference=40.0))
    thin = characterise(Trace(codes[::every], every * INTERVAL, step=0.02, reference=40.0))
    assert (thin.levels.low, thin.levels.high) == pytest.approx((plain.levels.low, plain.levels.high), abs=0.03)
    assert abs(thin.edges.count - plain.edges.count) <= 1
    assert thin.duty == pytest.approx(plain.duty, abs=2 * every * INTERVAL * clock.rate)
    ours, theirs = frequency(thin), frequency(plain)
    assert abs(ours[0] - theirs[0]) < 5.0 * math.hypot(ours[1], theirs[1])


@settings(deadline=None, max_examples=40)
@given(clocks, st.floats(-10.0, 10.0))
def test_the_start_of_the_time_axis_is_a_convention(clock: Clock, start: float) -> None:
    """A later first sample moves all edges and changes nothing else."""
    volts = clock.volts()
    receiver = Family("plain", 0.8, 2.0, 0.4, 2.4, 1e-6)
    plain = find_activity(Trace(volts, INTERVAL), receiver)
    later = find_activity(Trace(volts, INTERVAL, start=start), receiver)
    assert later.edges.rising - start == pytest.approx(plain.edges.rising, abs=1e-14)
    assert later.state is plain.state
    assert (later.pulses, later.rate.value, later.low_share) == (plain.pulses, plain.rate.value, plain.low_share)
    assert later.smallest_pulse == pytest.approx(plain.smallest_pulse, abs=1e-14)


@settings(deadline=None, max_examples=40)
@given(st.floats(1e-3, 1.0), st.floats(1e-4, 0.1), gains, offsets)
def test_ripple_follows_gain_and_ignores_offset(hum: float, switching: float, gain: float, offset: float) -> None:
    """Peak to peak and rms of every part follow a gain; a direct voltage moves nothing but the mean."""
    times = np.arange(20_000) * 2e-6
    volts = hum * np.sin(2 * math.pi * 100 * times) + switching * np.sin(2 * math.pi * 41.7e3 * times)
    plain = find_ripple(Trace(volts, 2e-6))
    moved = find_ripple(Trace(gain * volts + offset, 2e-6))
    assert plain is not None
    assert moved is not None
    assert moved.mean == pytest.approx(gain * plain.mean + offset, abs=1e-9)
    for name in ("pp", "rms", "mains_pp", "mains_rms", "rest_pp", "rest_rms"):
        assert getattr(moved, name) == pytest.approx(gain * getattr(plain, name), rel=1e-6, abs=1e-12)
    assert moved.switching == plain.switching
