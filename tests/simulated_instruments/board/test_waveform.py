"""Waveforms: closed forms, crossings, extremes, and what sampling too slowly makes of them."""

from __future__ import annotations

import numpy as np
import pytest

from simulated_instruments.board.stepped import Stepped, clock, without_repeats
from simulated_instruments.board.waveform import Constant, Joined, Repeating, Scaled, search

RISE = 40e-9


def pulses(count: int = 400, seed: int = 1) -> Stepped:
    """An irregular train of pulses within 1 ms, with driven edges and slow ones."""
    generator = np.random.default_rng(seed)
    edges = np.sort(generator.uniform(0.0, 1e-3, count))
    targets = generator.choice([0.2, 1.6, 3.9], count)
    constants = np.where(targets == 1.6, 50e-6, 10e-9)
    return Stepped(edges, targets, constants, 1e-3, 0.25)


def test_a_rising_edge_takes_its_time_from_10_to_90_per_cent() -> None:
    """The time between the 10 % and the 90 % crossing is the family's rise time."""
    wave = clock(1e6, 0.0, 0.0, 5.0, 20e-9, RISE, 0.5)
    low, high = wave.crossing(0.5, True, 0.0, 1e-5), wave.crossing(4.5, True, 0.0, 1e-5)
    assert low is not None
    assert high is not None
    assert high - low == pytest.approx(RISE, rel=1e-6)  # IEEE 181: 10–90 % of an exponential is ln 9 time constants


def test_a_charging_line_follows_its_time_constant() -> None:
    """From 0 V toward 5 V with RC = 0.1 s it is at 0.8 V after 17.435 ms, at 2.0 V after 51.083 ms."""
    wave = Stepped(np.array([0.0, 10.0]), np.array([5.0, 0.0]), np.array([0.1, 0.1]), 20.0, 0.0)
    for level, milliseconds in ((0.8, 17.435), (1.7, 41.552), (2.0, 51.083)):  # t = RC·ln(V∞/(V∞ − V))
        assert wave.crossing(level, True, 0.0, 1.0) == pytest.approx(milliseconds * 1e-3, rel=1e-4)
        assert wave.samples(np.array([milliseconds * 1e-3]))[0] == pytest.approx(level, abs=1e-3)


@pytest.mark.parametrize("interval", [1e-9, 3e-8, 4e-7, 7e-6])
def test_many_samples_are_those_that_are_asked_for_one_by_one(interval: float) -> None:
    """However dense a record is and however often the wave comes round in it, each sample is the same by itself."""
    wave = pulses()
    times = 0.2503 + interval * np.arange(20_000)
    alone = [float(wave.samples(times[place : place + 1])[0]) for place in range(0, times.size, 331)]
    assert wave.samples(times)[::331].tolist() == alone


def test_a_crossing_is_the_first_of_all() -> None:
    """From any start the crossing found is the least of those that every start before it finds."""
    wave = pulses()
    dense = 0.25 + np.arange(0.0, 2e-3, 2e-9)
    volts = wave.samples(dense)
    for level, rising in ((1.0, True), (1.0, False), (2.5, True), (2.5, False)):
        passed = (volts[:-1] < level) & (volts[1:] >= level) if rising else (volts[:-1] > level) & (volts[1:] <= level)
        places = np.flatnonzero(passed)
        for start in (0, 1, 77_777, 250_000, 499_000):
            found = wave.crossing(level, rising, float(dense[start]), 1.0)
            expected = float(dense[places[places >= start][0] + 1])
            assert found == pytest.approx(expected, abs=3e-9)  # a dense look is 2 ns wide
    assert wave.crossing(9.0, True, 0.25, 1.0) is None


def test_volts_never_jump() -> None:
    """At every edge the volts go on from where the stretch before has come to, across the end of the period too."""
    wave = pulses()
    at = 0.25 + np.concatenate((wave.edges, wave.edges + 1e-3))
    before, after = wave.samples(at - 1e-14), wave.samples(at + 1e-14)
    assert np.abs(after - before).max() < 1e-3


@pytest.mark.parametrize("samples", [1000, 50_000])
def test_samples_do_not_depend_on_how_many_are_asked_for(samples: int) -> None:
    """One at a time, some, or very many at once: the same volts."""
    wave = pulses()
    times = 3.0 + np.linspace(0.0, 4e-3, samples)
    many = wave.samples(times)
    for index in range(0, samples, samples // 97):
        assert many[index] == pytest.approx(wave.samples(times[index : index + 1])[0], abs=1e-6)


def test_crossings_are_where_the_samples_pass_the_level() -> None:
    """The first crossing after any time is that of a search in samples."""
    wave = pulses()
    for start in np.linspace(0.3, 0.3013, 40):
        for rising in (True, False):
            exact = wave.crossing(1.4, rising, float(start), 0.5)
            assert exact is not None
            near = search(wave, 1.4, rising, max(float(start), exact - 1e-7), exact + 1e-9)
            assert near == pytest.approx(exact, abs=2e-11)
            assert search(wave, 1.4, rising, float(start), exact - 1e-8) is None


def test_no_crossing_outside_the_swing_or_the_window() -> None:
    """A level that is never reached has no crossing, nor has a window that ends before one."""
    wave = clock(1e3, 0.0, 0.2, 3.5, 10e-9, 10e-9, 0.5)
    assert wave.crossing(4.0, True, 0.0, 1.0) is None
    assert wave.crossing(1.4, True, 1e-4, 0.9e-3) is None
    assert wave.crossing(1.4, True, 1e-4, 1.1e-3) == pytest.approx(1e-3, abs=1e-8)
    assert Constant(1.4).crossing(1.4, True, 0.0, 1.0) is None


@pytest.mark.parametrize("width", [1e-7, 3e-6, 1.1e-3])
def test_extremes_miss_no_pulse(width: float) -> None:
    """Lowest and highest volts of each interval are those of samples so dense that nothing fits between."""
    wave = pulses()
    edges = 0.7 + np.arange(21, dtype=np.float64) * width
    low, high = wave.extremes(edges)
    for index in range(20):
        volts = wave.samples(np.linspace(edges[index], edges[index + 1], 40_001))
        assert low[index] == pytest.approx(volts.min(), abs=0.02)
        assert high[index] == pytest.approx(volts.max(), abs=0.02)
        assert low[index] <= volts.min() + 1e-6
        assert high[index] >= volts.max() - 1e-6


def test_a_clock_sampled_at_a_sixteenth_of_its_rate_stands_still() -> None:
    """4 MHz at 250 kS/s: every sample falls on the same phase."""
    wave = clock(4e6, 0.0, 0.2, 3.5, 6e-9, 12e-9, 0.5)
    volts = wave.samples(10.0 + np.arange(250_000) / 250e3)
    assert np.ptp(volts) < 1e-3  # f − 16·fs = 0, sampling theorem


def test_a_clock_sampled_a_little_too_slowly_shows_the_difference_frequency() -> None:
    """1.001 MHz at 1 MS/s looks like 1 kHz."""
    wave = clock(1.001e6, 0.0, 0.0, 5.0, 6e-9, 6e-9, 0.5)
    high = wave.samples(np.arange(100_000) / 1e6) > 2.5
    assert np.count_nonzero(high[1:] & ~high[:-1]) == pytest.approx(100, abs=1)  # |f − fs|·t


def test_a_fast_clock_over_a_second_needs_no_list_of_its_edges() -> None:
    """15 MHz over 1 s is two edges that repeat."""
    wave = clock(15e6, 0.0, 0.2, 3.5, 6e-9, 12e-9, 0.45)
    assert wave.edges.size == 2
    assert wave.samples(np.linspace(0.0, 1.0, 10_000)).size == 10_000


def test_joined_waveforms_change_at_their_starts() -> None:
    """Each holds from its start on; the step from one to the next is a crossing; samples may come in any order."""
    wave = Joined([0.0, 1.0, 2.0], [Constant(0.0), Constant(5.0), clock(10.0, 2.0, 0.0, 5.0, 1e-9, 1e-9, 0.5)])
    assert wave.samples(np.array([2.06, 1.5, -3.0, 0.5, 2.01])) == pytest.approx([0.0, 5.0, 0.0, 0.0, 5.0])
    assert wave.samples(np.array([-3.0, 0.5, 1.5, 2.01, 2.06])) == pytest.approx([0.0, 0.0, 5.0, 5.0, 0.0])
    assert wave.crossing(2.5, True, 0.0, 5.0) == 1.0
    assert wave.crossing(2.5, False, 0.0, 5.0) == 2.0
    assert wave.crossing(2.5, False, 2.01, 5.0) == pytest.approx(2.05, abs=1e-6)
    low, high = wave.extremes(np.array([0.5, 0.9, 1.5, 2.2]))
    assert list(low) == pytest.approx([0.0, 0.0, 0.0], abs=1e-6)
    assert list(high) == pytest.approx([0.0, 5.0, 5.0])


def test_a_repeating_pair_of_waveforms_comes_round_again() -> None:
    """Within each period the first half is one waveform and the second another; extremes see both."""
    wave = Repeating(1.0, 0.0, [0.0, 0.5], [Constant(1.0), Constant(4.0)])
    assert wave.samples(np.array([0.2, 0.7, 7.2, 7.7])) == pytest.approx([1.0, 4.0, 1.0, 4.0])
    low, high = wave.extremes(np.array([0.1, 0.4, 0.6, 3.6]))
    assert list(zip(low, high, strict=True)) == [(1.0, 1.0), (1.0, 4.0), (1.0, 4.0)]


def test_a_waveform_follows_its_rail() -> None:
    """A high level rises with the rail, and a crossing in the ramp is where the product passes the level."""
    wave = Scaled(Constant(4.8), np.array([0.0, 1.0, 2.0, 9.0]), np.array([0.0, 0.0, 1.0, 1.0]))
    assert wave.samples(np.array([0.5, 1.5, 3.0])) == pytest.approx([0.0, 2.4, 4.8])
    assert wave.crossing(2.4, True, 0.0, 5.0) == pytest.approx(1.5, abs=1e-6)
    assert wave.crossing(2.4, False, 0.0, 5.0) is None


def test_edges_that_change_nothing_are_left_out() -> None:
    """Repeated codes go; of edges at one time the last one counts."""
    edges, codes = without_repeats(np.array([0.0, 1.0, 2.0, 2.0, 3.0]), np.array([1, 1, 0, 1, 0]))
    assert list(edges) == [0.0, 3.0]
    assert list(codes) == [1, 0]
