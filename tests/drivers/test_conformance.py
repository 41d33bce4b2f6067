"""Every shipped driver against the simulated instrument of its dialect: whole actions, real messages, in process.

Driver and instrument are written apart, each from the dialect; here they meet. What is connected is a resistor, so the
truth is Ohm's law.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import pytest

from autobench.errors import BenchError, InstrumentReportedError
from autobench.instruments.meter import Meter
from autobench.instruments.relays import Relays
from autobench.instruments.supply import Supply
from autobench.quantity import Span
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.devices.meter_conf_read import ConfReadMeter
from simulated_instruments.devices.relays_console import ConsoleRelays
from simulated_instruments.devices.relays_scanner import ScannerRelays
from simulated_instruments.devices.relays_slot_channel import SlotChannelRelays
from simulated_instruments.devices.supply_channel_list import ChannelListSupply
from simulated_instruments.devices.terminals import OutputPoint
from tests.drivers.meetings import Contacts, Loads, Source, Spoken, meet

COVERAGE = 3.0  # standard uncertainties; a reading within its accuracy class is at most √3 off, and its noise adds


@pytest.fixture
def ps_3() -> tuple[Supply, Spoken, Loads]:
    """A supply with 10 Ω, 1 kΩ and an all but open output."""
    clock, loads = SimulatedClock(), Loads({1: 10.0, 2: 1000.0, 3: 1e9})
    spoken = meet("ps-3", ChannelListSupply("supply", clock, loads, seed=5))
    return Supply(spoken.dialect), spoken, loads


def m_1(source: Source, seed: int = 5) -> tuple[Meter, Spoken]:
    """A meter on a source."""
    clock = SimulatedClock()
    spoken = meet("m-1", ConfReadMeter("meter", clock, source, seed=seed))
    return Meter(spoken.dialect), spoken


@pytest.fixture
def w_1() -> tuple[Relays, Spoken, Contacts]:
    """A relay multiplexer."""
    clock, contacts = SimulatedClock(), Contacts()
    spoken = meet("w-1", SlotChannelRelays("relays", clock, contacts, seed=5))
    return Relays(spoken.dialect, settle=0.02), spoken, contacts


def test_a_supply_is_set_read_back_switched_and_measured(ps_3: tuple[Supply, Spoken, Loads]) -> None:
    """Every action of the supply dialect is performed, the values are true, and no error is left behind."""
    supply, spoken, loads = ps_3
    assert supply.identify().split(",")[1] == "PS-3"
    supply.quiet()
    assert not any(supply.is_on(output) for output in supply.outputs)
    supply.set_volts(1, 5.0)
    supply.set_amps(1, 1.0)
    supply.set_trip(1, 5.5)
    assert (supply.set_volts_back(1), supply.set_amps_back(1), supply.set_trip_back(1)) == (5.0, 1.0, 5.5)
    supply.on(1)
    assert supply.is_on(1)
    assert not supply.is_on(2)
    spoken.clock.sleep(1.0)
    volts, amps = supply.volts(1), supply.amps(1)
    truth = loads.point(1)
    assert truth == OutputPoint(5.0, 0.5, False)  # Ohm's law: 5 V across 10 Ω
    assert abs(volts.value - truth.volts) < COVERAGE * volts.uncertainty
    assert abs(amps.value - truth.amps) < COVERAGE * amps.uncertainty
    assert not supply.limiting(1)
    assert not supply.tripped(1)
    supply.clear_trip(1)
    supply.off(1)
    assert not supply.is_on(1)
    supply.local()
    assert spoken.performed() == set(spoken.dialect.driver.actions)
    assert spoken.dialect.errors() == []


def test_a_supply_says_that_it_limits(ps_3: tuple[Supply, Spoken, Loads]) -> None:
    """At a limit below what the load asks for the flag comes, no later than the driver file says."""
    supply, spoken, _ = ps_3
    supply.quiet()
    supply.set_volts(1, 5.0)
    supply.set_amps(1, 0.3)
    supply.on(1)
    spoken.clock.sleep(supply.ratings.rise.value + supply.ratings.current_flag_lags.value)
    assert supply.limiting(1)
    spoken.clock.sleep(1.0)
    amps = supply.amps(1)
    assert abs(amps.value - 0.3) < COVERAGE * amps.uncertainty
    assert spoken.dialect.errors() == []


def test_a_trip_is_seen_and_released(ps_3: tuple[Supply, Spoken, Loads]) -> None:
    """An output above its over-voltage trip goes off, says so until it is released, and stays off."""
    supply, spoken, loads = ps_3
    supply.quiet()
    supply.set_amps(2, 1.0)
    supply.set_trip(2, 6.0)
    supply.set_volts(2, 5.0)
    supply.on(2)
    spoken.clock.sleep(1.0)
    assert not supply.tripped(2)
    supply.dialect.perform("set volts", channel=2, value=7.0)
    spoken.clock.sleep(1.0)
    assert supply.tripped(2)
    assert not supply.tripped(1)
    assert loads.point(2).volts == 0.0
    supply.dialect.clear()
    supply.set_volts(2, 5.0)
    supply.clear_trip(2)
    assert not supply.tripped(2)
    assert not supply.is_on(2)


def test_quiet_touches_only_the_outputs_the_bench_uses(ps_3: tuple[Supply, Spoken, Loads]) -> None:
    """An output that feeds something else on the bench stays as it is, and switching off comes before anything."""
    supply, spoken, loads = ps_3
    supply.set_volts(3, 12.0)
    supply.set_amps(3, 0.5)
    supply.on(3)
    spoken.clock.sleep(1.0)
    used = Supply(spoken.dialect, outputs=(1,))
    del spoken.said[:]
    used.quiet()
    assert spoken.said[0] == "OUTP OFF,(@1)"
    assert not any("*RST" in text for text in spoken.said)
    assert loads.point(3).volts == 12.0


def test_what_the_supply_refuses_is_quoted(ps_3: tuple[Supply, Spoken, Loads]) -> None:
    """Where the driver file promises more than the instrument takes, the instrument's own error is shown."""
    supply, spoken, _ = ps_3
    action = spoken.dialect.driver.actions["set volts"].model_copy(update={"span": Span(0.0, 1000.0, "V")})
    spoken.dialect.driver.actions["set volts"] = action
    with pytest.raises(InstrumentReportedError, match=r"ps-3: reported -222,.* after 'VOLT 900.000,\(@1\)'"):
        supply.set_volts(1, 900.0)  # SCPI-1999 vol. 2, 21.8.9: -222 is data out of range
    assert spoken.dialect.errors() == []


@pytest.mark.parametrize("volts", [0.05, 0.7, 4.75, -5.0, 12.0])
def test_volts_are_true_within_the_accuracy_class(volts: float) -> None:
    """The range follows the expectation, and the reading lies within its stated uncertainty."""
    meter, spoken = m_1(Source(volts, 50.0))
    assert meter.identify().split(",")[1] == "M-1"
    meter.prepare()
    reading = meter.volts(Span(-abs(volts), abs(volts), "V"), repeats=5)
    truth = volts * 10e6 / (10e6 + 50.0)  # computed: divider of 50 Ω with 10 MΩ
    assert reading.estimate is not None
    assert len(reading.samples) == 5
    assert abs(reading.estimate.value - truth) < COVERAGE * reading.estimate.uncertainty
    assert reading.estimate.uncertainty < 1e-3 * max(abs(volts), 0.1)
    assert {part.name for part in reading.components} >= {"instrument accuracy", "repeats"}
    assert reading.full_scale == {0.05: 0.1, 0.7: 1.0, 4.75: 10.0, -5.0: 10.0, 12.0: 100.0}[volts]
    assert spoken.dialect.errors() == []


@pytest.mark.parametrize("ohms", [4.7, 330.0, 10e3, 470e3, 2.2e6])
def test_ohms_are_true_within_the_accuracy_class(ohms: float) -> None:
    """Two-wire ohms from a few to some megohms."""
    meter, spoken = m_1(Source(0.0, ohms))
    meter.prepare()
    reading = meter.ohms(ohms, repeats=5)
    assert reading.estimate is not None
    assert reading.estimate.unit == "ohm"
    assert abs(reading.estimate.value - ohms) < COVERAGE * reading.estimate.uncertainty
    assert spoken.dialect.errors() == []


def test_every_action_of_the_meter_is_performed() -> None:
    """Volts, ohms and everything round them, with nothing left in the error queue."""
    meter, spoken = m_1(Source(5.0, 100.0))
    meter.prepare()
    meter.volts(5.0)
    meter.ohms(100.0, repeats=3)
    meter.local()
    assert spoken.performed() == set(spoken.dialect.driver.actions)
    assert spoken.dialect.errors() == []


def test_a_setting_that_stands_is_not_sent_again() -> None:
    """The second reading on the same range is one message, so a scan of many points stays fast."""
    meter, spoken = m_1(Source(5.0, 100.0))
    meter.prepare()
    meter.volts(5.0)
    del spoken.said[:]
    meter.volts(4.9)
    assert spoken.said == ["READ?"]


def test_more_volts_than_expected_are_read_one_range_higher() -> None:
    """An overload is answered by the next range, once."""
    meter, _ = m_1(Source(30.0, 10.0))
    meter.prepare()
    reading = meter.volts(5.0)
    assert reading.estimate is not None
    assert reading.full_scale == 100.0
    assert reading.estimate.value == pytest.approx(30.0, rel=1e-3)


def test_far_more_volts_than_expected_are_an_overload_and_no_value() -> None:
    """Two ranges beyond the expectation nothing is claimed but that the value is beyond the range."""
    meter, spoken = m_1(Source(-30.0, 10.0))
    meter.prepare()
    reading = meter.volts(0.05)
    assert reading.estimate is None
    assert reading.overload
    assert reading.samples == (-math.inf,)  # the sign of an overload is kept
    assert reading.beyond == pytest.approx(1.2)  # common practice: 20 % over the 1 V range
    assert reading.reason == "beyond 1.200 V, the reach of the 1.000 V range"
    assert spoken.dialect.errors() == []


def test_an_open_circuit_is_an_overload_of_ohms() -> None:
    """Nothing connected reads as more than the range reaches, never as a number."""
    meter, spoken = m_1(Source(0.0, 1e12))
    meter.prepare()
    reading = meter.ohms(Span(20.0, 2000.0, "ohm"))
    assert reading.overload
    assert reading.estimate is None
    assert reading.beyond == pytest.approx(120e3)  # computed: one range above 10 kΩ, and 20 % over
    assert spoken.dialect.errors() == []


def test_after_ohms_no_source_is_left_on_the_board() -> None:
    """The meter goes back to volts, so that the next rail to be powered meets no current from it."""
    source = Source(0.0, 330.0)
    meter, spoken = m_1(source)
    meter.prepare()
    meter.ohms(330.0)
    assert source.driven == 0.0
    assert spoken.dialect.errors() == []


def test_a_slower_speed_reads_steadier_for_longer() -> None:
    """Ten power-line cycles take ten times as long as one (common practice), by the speed's name."""
    taken = {}
    for speed in ("normal", "slow"):
        meter, spoken = m_1(Source(5.0, 100.0))
        meter.speed = speed
        meter.prepare()
        meter.volts(5.0)
        before = spoken.clock.now()
        meter.volts(5.0, repeats=10)
        taken[speed] = spoken.clock.now() - before
    assert taken["slow"] > 5 * taken["normal"] > 0


def closings(contacts: Contacts) -> Iterator[tuple[int, ...]]:
    """What was closed at each move that changed something."""
    last: frozenset[int] | None = None
    for move in contacts.moves:
        if move != last:
            yield tuple(sorted(move))
        last = move


def test_a_route_is_closed_after_everything_is_open(w_1: tuple[Relays, Spoken, Contacts]) -> None:
    """Between two routes nothing is closed, so two points are never joined; every action is performed."""
    relays, spoken, contacts = w_1
    assert relays.identify().split(",")[1] == "W-1"
    relays.prepare()
    relays.close((101, 202))
    assert relays.closed() == (101, 202)
    relays.close((103, 204))
    assert relays.closed() == (103, 204)
    relays.open_all()
    assert relays.closed() == ()
    relays.local()
    assert list(closings(contacts))[-5:] == [(), (101, 202), (), (103, 204), ()]
    assert spoken.performed() == set(spoken.dialect.driver.actions)
    assert spoken.dialect.errors() == []


def test_a_move_takes_the_time_contacts_and_wiring_need(w_1: tuple[Relays, Spoken, Contacts]) -> None:
    """Opening and closing each wait for the contacts and for the wiring to settle."""
    relays, spoken, _ = w_1
    before = spoken.clock.now()
    relays.close((101,))
    assert spoken.clock.now() - before >= 0.005 + 0.015 + 2 * 0.02


def test_an_unknown_channel_moves_nothing(w_1: tuple[Relays, Spoken, Contacts]) -> None:
    """A channel outside the driver file is refused before anything is opened or closed."""
    relays, spoken, contacts = w_1
    with pytest.raises(BenchError, match="w-1: the driver 'w-1' knows no channel 999"):
        relays.close((101, 999))
    assert spoken.said == []
    assert contacts.moves[-1] == frozenset()


def test_relays_without_an_error_queue_are_asked_what_they_were_told() -> None:
    """A console passes over what it does not understand: a lost word is noticed before anything is measured."""
    contacts = Contacts()
    spoken = meet("w-4", ConsoleRelays("relays", SimulatedClock(), contacts, seed=5))
    relays = Relays(spoken.dialect)
    relays.prepare()
    spoken.device.set_all = lambda mask: None  # type: ignore[attr-defined]  # of this kind of device
    with pytest.raises(BenchError, match="w-4: told to have closed 101, 202, but it says none"):
        relays.close((101, 202))


def test_a_channel_that_nobody_told_it_to_close_is_noticed() -> None:
    """Somebody else's relay is closed on the same board: it is named, and no route is believed."""
    spoken = meet("w-4", ConsoleRelays("relays", SimulatedClock(), Contacts(), seed=5))
    relays = Relays(spoken.dialect)
    relays.prepare()
    spoken.device.set_all(1 << 9)  # type: ignore[attr-defined]  # of this kind of device
    spoken.device.set_all = lambda mask: None  # type: ignore[attr-defined]
    with pytest.raises(BenchError, match="w-4: told to have closed none, but it says 202"):
        relays.close((101,))


def test_a_scanner_is_not_asked_for_two_at_once() -> None:
    """It would open the first by closing the second, without a word: refused before anything moves."""
    contacts = Contacts()
    spoken = meet("w-3", ScannerRelays("relays", SimulatedClock(), contacts, seed=5))
    relays = Relays(spoken.dialect)
    with pytest.raises(BenchError, match="w-3: refused to close 101, 102: it can keep 1 closed at once and no more"):
        relays.close((101, 102))
    assert spoken.said == []
    assert not any(contacts.moves)
