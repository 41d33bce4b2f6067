"""Every shipped driver against the simulated instrument of its dialect, over every transport that makes sense for it.

Driver and instrument are written apart, each from the dialect; here they meet. What is connected is known, so the truth
is Ohm's law; whole actions go over real sockets, HiSLIP and a pseudo-terminal as over the in-process library.
"""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from autobench.documents.places import list_drivers
from autobench.instruments.counter import Counter
from autobench.instruments.meter import Meter
from autobench.instruments.relays import Relays
from autobench.instruments.scope import Scope, ScopeInput, Setup, Trigger
from autobench.instruments.supply import Supply
from autobench.quantity import Span
from autobench.signals.levels import find_levels
from tests.drivers.meetings import DEVICES, TRANSPORTS, Contacts, Loads, Source, over
from tests.drivers.square import Square

COVERAGE = 3.0  # standard uncertainties; a reading within its accuracy class is at most √3 off, and its noise adds
# Without line ends, or with a carriage return alone, a message on a socket would never end: such instruments are
# serial (or have an END flag).
SERIAL_ONLY = ("ps-5", "ps-6", "w-4")
SUPPLIES = [
    (name, transport)
    for name in ("ps-1", "ps-2", "ps-3", "ps-4", "ps-5", "ps-6", "ps-7")
    for transport in TRANSPORTS
    if name not in SERIAL_ONLY or transport not in ("raw socket", "hislip", "vxi-11")
]
METERS = [
    (name, transport)
    for name in ("m-1", "m-2")
    for transport in TRANSPORTS
    if name != "m-2" or transport != "raw socket"  # it has a serial line, or an END flag
]
RELAYS = [
    (name, transport)
    for name in ("w-1", "w-2", "w-3", "w-4")
    for transport in TRANSPORTS
    if name not in SERIAL_ONLY or transport not in ("raw socket", "hislip", "vxi-11")
]
# Two routes each, and what the contacts themselves are numbered there: a scanner has one, a console counts from 0.
ROUTES = {
    "w-1": (((101, 202), {101, 202}), ((103, 204), {103, 204})),
    "w-2": (((101, 202), {101, 202}), ((103, 204), {103, 204})),
    "w-3": (((102,), {2}), ((105,), {5})),
    "w-4": (((101, 202), {0, 9}), ((103, 204), {2, 11})),
}
SCOPES = [(name, transport) for name in ("o-1a", "o-1b", "o-2", "o-3a", "o-3b") for transport in TRANSPORTS]
COUNTERS = [(name, transport) for name in ("k-1", "k-2") for transport in TRANSPORTS]


def in_turn(pairs: Sequence[tuple[str, str]]) -> list[object]:
    """Pairs of driver and transport, in process all in the ordinary run. The other transports take real time: over them
    the first driver is tried in the ordinary run, the others in the long one."""
    first = pairs[0][0]
    return [
        pytest.param(name, transport, marks=() if transport == "in process" or name == first else pytest.mark.long)
        for name, transport in pairs
    ]


def test_every_shipped_driver_has_a_device_of_its_own() -> None:
    """A driver file without a partner would be untried."""
    assert sorted(DEVICES) == sorted(name for name, _ in list_drivers())
    assert {name.upper() for name in DEVICES} == {device.model.upper() for device in DEVICES.values()}


def says_on(supply: Supply, output: int) -> bool:
    """Whether it says that its output is on; where it cannot say so, whether it gives volts after a moment."""
    if supply.can("on?"):
        return supply.is_on(output)
    supply.dialect.clock.sleep(0.2)
    return supply.volts(output).value > 1.0


@pytest.mark.parametrize(("name", "transport"), in_turn(SUPPLIES))
def test_a_supply_over_each_transport(name: str, transport: str) -> None:
    """Set, read back, switched, measured, limited: the values are true, every action is performed, no error is left."""
    loads = Loads({1: 10.0, 2: 50.0, 3: 50.0})
    with over(transport, name, lambda clock: DEVICES[name]("supply", clock, loads, seed=5)) as spoken:
        supply = Supply(spoken.dialect)
        assert name.upper() in supply.identify() or supply.dialect.driver.identity is None
        spoken.dialect.clear()
        spoken.dialect.recognise()
        supply.quiet()
        output = supply.outputs[-1]
        sign = -1.0 if output in supply.ratings.negative else 1.0
        supply.set_volts(output, sign * 5.0)
        supply.set_amps(output, 0.9)
        if supply.can("set volts?"):
            assert (supply.set_volts_back(output), supply.set_amps_back(output)) == (sign * 5.0, 0.9)
        if supply.can("set trip"):
            supply.set_trip(output, sign * 5.5)
        if supply.can("set trip?"):
            assert supply.set_trip_back(output) == sign * 5.5
        assert not says_on(supply, output)
        supply.on(output)
        assert says_on(supply, output)
        spoken.clock.sleep(0.3)
        volts, amps = supply.volts(output), supply.amps(output)
        truth = loads.point(output)
        assert truth.volts == sign * 5.0
        assert truth.amps == pytest.approx(5.0 / loads.ohms[output])  # Ohm's law
        assert abs(volts.value - truth.volts) < COVERAGE * volts.uncertainty
        assert abs(amps.value - truth.amps) < COVERAGE * amps.uncertainty
        assert not supply.limiting(output)
        assert not supply.look(output)[3]
        assert not supply.can("tripped?") or not supply.tripped(output)
        supply.set_amps(output, 0.05)
        spoken.clock.sleep(supply.ratings.current_flag_lags.value)
        supply.limiting(output)  # looks once, from which the flag counts
        spoken.clock.sleep(supply.ratings.current_flag_lags.value)
        assert supply.limiting(output)
        if supply.can("clear trip"):
            supply.clear_trip(output)
        supply.off(output)
        assert not says_on(supply, output)
        assert loads.point(output).volts == 0.0
        supply.local()
        assert spoken.performed() == set(spoken.dialect.driver.actions)
        assert spoken.dialect.errors() == []


@pytest.mark.parametrize("name", ["ps-1", "ps-2", "ps-3", "ps-4", "ps-7"])
def test_a_trip_is_seen_and_released(name: str) -> None:
    """An output above its over-voltage trip goes off, says so until it is released, and stays off."""
    loads = Loads({1: 10.0, 2: 50.0, 3: 50.0})
    with over("in process", name, lambda clock: DEVICES[name]("supply", clock, loads, seed=5)) as spoken:
        supply = Supply(spoken.dialect)
        supply.quiet()
        output = supply.outputs[-1]
        sign = -1.0 if output in supply.ratings.negative else 1.0
        supply.set_amps(output, 0.9)
        supply.set_trip(output, sign * 6.0)
        supply.set_volts(output, sign * 5.0)
        supply.on(output)
        spoken.clock.sleep(1.0)
        assert not supply.tripped(output)
        supply.set_volts(output, sign * 7.0)
        spoken.clock.sleep(1.0)
        assert supply.tripped(output)
        assert loads.point(output).volts == 0.0
        supply.set_volts(output, sign * 5.0)
        supply.clear_trip(output)
        assert not supply.tripped(output)
        assert not supply.is_on(output)
        assert spoken.dialect.errors() == []


@pytest.mark.parametrize(("name", "transport"), in_turn(METERS))
def test_a_meter_over_each_transport(name: str, transport: str) -> None:
    """Volts of both signs, ohms and an open circuit: true within the accuracy class, every action performed."""
    source = Source(4.75, 50.0)
    with over(transport, name, lambda clock: DEVICES[name]("meter", clock, source, seed=5)) as spoken:
        meter = Meter(spoken.dialect)
        assert name.upper() in meter.identify()
        meter.prepare()
        for emf in (4.75, -12.0):
            source.emf = emf
            reading = meter.volts(Span(-abs(emf), abs(emf), "V"), repeats=2)
            assert reading.estimate is not None
            truth = emf * 10e6 / (10e6 + 50.0)  # computed: divider of 50 Ω with 10 MΩ
            assert abs(reading.estimate.value - truth) < COVERAGE * reading.estimate.uncertainty
            assert reading.estimate.uncertainty < 2e-3 * abs(emf)
        source.ohms = 330.0
        reading = meter.ohms(330.0)
        assert reading.estimate is not None
        assert abs(reading.estimate.value - 330.0) < COVERAGE * reading.estimate.uncertainty
        assert source.driven == 0.0
        source.ohms = 1e12
        assert meter.ohms(100.0).overload
        meter.local()
        assert spoken.performed() == set(spoken.dialect.driver.actions)
        assert spoken.dialect.errors() == []


@pytest.mark.parametrize(("name", "transport"), in_turn(RELAYS))
def test_relays_over_each_transport(name: str, transport: str) -> None:
    """Between two routes nothing is closed, and what is told as closed is what was closed."""
    contacts = Contacts()
    with over(transport, name, lambda clock: DEVICES[name]("relays", clock, contacts, seed=5)) as spoken:
        relays = Relays(spoken.dialect)
        relays.prepare()
        for channels, really in ROUTES[name]:
            relays.close(channels)
            assert relays.closed() == channels
            assert contacts.moves[-1] == really
            assert frozenset() in contacts.moves[-3:]
        relays.open_all()
        assert relays.closed() == ()
        assert contacts.moves[-1] == frozenset()
        assert spoken.performed() == set(spoken.dialect.driver.actions)
        assert spoken.dialect.errors() == []


@pytest.mark.parametrize(("name", "transport"), in_turn(SCOPES))
def test_a_scope_over_each_transport(name: str, transport: str) -> None:
    """Levels of a known square wave at two offsets and two scales, within the accuracy class; no error is left."""
    with over(transport, name, lambda clock: DEVICES[name]("scope", clock, Square(), seed=5)) as spoken:
        scope = Scope(spoken.dialect)
        assert name.upper() in scope.identify().upper()
        scope.prepare()
        for low, high in ((0.0, 5.0), (-2.0, 4.5)):
            entry = ScopeInput(1, low, high)
            capture = scope.capture(Setup((entry,), 20e-6, 1000, Trigger(1, 1.4)), spoken.clock.sleep, 0.5)
            assert (capture.triggered, capture.reason) == (True, None)
            levels = find_levels(capture.traces[1])
            for found, truth in ((levels.low, 0.2), (levels.high, 3.8)):
                parts = scope.volts_components(entry, truth)
                limit = sum(part.value for part in parts)
                assert abs(found - truth) <= limit
        assert spoken.dialect.errors() == []


@pytest.mark.parametrize(("name", "transport"), in_turn(COUNTERS))
def test_a_counter_over_each_transport(name: str, transport: str) -> None:
    """The rate of a known wave of 3 % duty within the accuracy class, and an input without one told as such."""
    wave = Square(rate=3.5e6, duty=0.03)
    with over(transport, name, lambda clock: DEVICES[name]("counter", clock, wave, seed=5)) as spoken:
        counter = Counter(spoken.dialect, probe=10.0)
        assert name.upper() in counter.identify().upper()
        counter.prepare()
        found = counter.rate(1, 1.4, 0.1)
        assert found.estimate is not None
        assert found.estimate.uncertainty == pytest.approx(3.5e6 * 1e-6 / 3**0.5, rel=0.01)  # computed: 1 ppm
        assert abs(found.estimate.value - 3.5e6) < COVERAGE * found.estimate.uncertainty
        assert spoken.performed() == set(spoken.dialect.driver.actions)
        assert spoken.dialect.errors() == []
        wave.low, wave.high = 0.0, 0.3
        silent = counter.rate(2, 1.4, 0.01)
        assert silent.estimate is None
        assert silent.reason is not None
        assert "nothing crosses its level" in silent.reason
        wave.low, wave.high = 0.2, 3.8
        assert counter.rate(1, 1.4, 0.01).estimate is not None  # and it is back in step
