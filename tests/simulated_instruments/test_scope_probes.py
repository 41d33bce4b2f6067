"""The scope's probes: what they touch through the relays, now and in the past, and what an open one shows."""

from __future__ import annotations

import numpy as np
import pytest

from simulated_instruments.bench import SimulatedBench
from simulated_instruments.benches.wiring import read_wiring
from simulated_instruments.board.circuit_file import circuit_path, list_circuits, read_circuit
from simulated_instruments.devices.terminals import OutputSetting, ScopeTerminals
from simulated_instruments.scope_probes import ScopeSockets

OHMS = 1e7


class Probed:
    """A running tarnbeck-8 with the scope's terminals and the relays."""

    def __init__(self, seed: int = 1) -> None:
        self.bench = SimulatedBench.open("tarnbeck-8", seed=seed)
        self.world, self.clock = self.bench.world, self.bench.clock
        assert self.world.probes is not None
        self.scope: ScopeTerminals = ScopeSockets(self.world.probes)

    def route(self, *channels: int) -> None:
        self.world.relays(frozenset(channels))

    def power(self, wait: float = 2.0) -> None:
        self.world.apply(1, OutputSetting(True, 5.0, 2.0))
        self.clock.sleep(wait)

    def last(self, channel: int, seconds: float, count: int = 10_000) -> np.ndarray:
        now = self.clock.now()
        return self.scope.samples(channel, np.linspace(now - seconds, now, count), OHMS)


@pytest.mark.parametrize("board", list_circuits())
def test_every_position_of_the_plate_touches_something(board: str) -> None:
    """Each point of the fixture is a supply node or a signal of the circuit, each position is used once."""
    circuit, fixture = read_circuit(circuit_path(board)), read_wiring().fixtures[board]
    assert fixture.keys() <= circuit.points().keys() | circuit.logic_points().keys()
    assert len(set(fixture.values())) == len(fixture)
    assert max(fixture.values()) <= 80


def test_a_probe_sees_the_net_it_is_routed_to() -> None:
    """The CPU clock on one channel, the reset line on another, at the same times."""
    probed = Probed()
    probed.route(310, 411)
    probed.power()
    high = probed.last(1, 40e-6) > 2.4
    assert np.count_nonzero(high[1:] & ~high[:-1]) == pytest.approx(150, abs=1)  # 3.75 MHz over 40 µs
    assert probed.last(2, 40e-6).mean() == pytest.approx(4.8, abs=0.1)
    assert probed.scope.key(1) == "U1.6"


def test_an_open_probe_shows_some_millivolts_of_hum() -> None:
    """Nothing routed: near 0 V, never quite, and no level worth a trigger is crossed."""
    probed = Probed()
    probed.power()
    volts = probed.last(3, 0.04)
    assert 1e-3 < np.ptp(volts) < 30e-3
    assert abs(volts.mean()) < 5e-3
    assert probed.scope.crossing(3, 1.4, True, 0.0, probed.clock.now()) is None
    assert probed.scope.key(3) == "open"


def test_a_probe_on_the_rail_sees_power_come() -> None:
    """A capture armed before power-on has the rise of the far rail in it, and the crossing says when."""
    probed = Probed()
    probed.route(306)
    probed.clock.sleep(1.0)
    probed.power(1.0)
    found = probed.scope.crossing(1, 2.5, True, 0.0, 2.0)
    assert found is not None
    assert 1.0 < found < 1.05
    volts = probed.scope.samples(1, np.array([found - 0.5, found + 0.5]), OHMS)
    assert volts[0] == pytest.approx(0.0, abs=0.02)
    assert volts[1] == pytest.approx(4.75, abs=0.15)


def test_what_was_seen_before_a_relay_moved_stays_seen() -> None:
    """Samples from before the change are of the old point, those after it of the new one."""
    probed = Probed()
    probed.route(311)
    probed.power()
    moved = probed.clock.now()
    probed.route(302)
    probed.clock.sleep(0.1)
    volts = probed.scope.samples(1, np.array([moved - 0.01, moved + 0.01]), OHMS)
    assert volts == pytest.approx([4.8, 0.0], abs=0.1)


def test_a_record_read_late_is_the_same_to_its_noise() -> None:
    """Samples of a moment are the same whether the probe is still there when they are read, or has gone elsewhere."""
    probed = Probed()
    probed.route(310)
    probed.power()
    now = probed.clock.now()
    times, edges = np.linspace(now - 40e-6, now, 1000), np.linspace(now - 1e-3, now, 200)
    before = probed.scope.samples(1, times, OHMS), *probed.scope.extremes(1, edges, OHMS)
    probed.clock.sleep(0.05)
    probed.route()
    probed.clock.sleep(0.05)
    after = probed.scope.samples(1, times, OHMS), *probed.scope.extremes(1, edges, OHMS)
    for first, second in zip(before, after, strict=True):
        assert first == pytest.approx(second, abs=1e-6)  # V; the rail between two solved moments is interpolated


def test_noise_belongs_to_the_question() -> None:
    """Asking again gives the same volts, whatever was asked between; another time gives other noise."""
    probed = Probed()
    probed.route(311)
    probed.power()
    now = probed.clock.now()
    times = np.linspace(now - 1e-3, now, 5000)
    first = probed.scope.samples(1, times, OHMS)
    probed.last(2, 0.01)
    assert np.array_equal(first, probed.scope.samples(1, times, OHMS))
    assert not np.array_equal(first, probed.scope.samples(1, times - 1e-4, OHMS))
    assert first.std() == pytest.approx(10e-3, rel=0.1)  # common practice: 10 mV beside logic


def test_extremes_enclose_the_samples() -> None:
    """Peak detection sees pulses between samples: its lows and highs reach as far as the net goes."""
    probed = Probed()
    probed.route(317)
    probed.power()
    now = probed.clock.now()
    low, high = probed.scope.extremes(1, np.linspace(now - 0.1, now, 101), OHMS)
    assert low.size == high.size == 100
    assert np.count_nonzero(low < 1.0) == pytest.approx(5, abs=1)  # the frame interrupt, 50.08 Hz over 0.1 s
    assert high.min() > 3.0


def test_the_meter_reads_the_mean_of_a_signal() -> None:
    """A voltmeter on the CPU clock shows about half of its swing."""
    probed = Probed()
    probed.route(110, 202)
    probed.power()
    probed.clock.sleep(0.1)
    assert probed.world.meter_volts(OHMS, 0.02) == pytest.approx(2.45, abs=0.25)
