"""A recorded conversation is played back to the same values, and a run that deviates from it stops there."""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from autobench.errors import LinkError, NoReplyError, RecordError
from autobench.instruments.dialect import Dialect
from autobench.instruments.exchange import Exchange
from autobench.instruments.meter import Meter
from autobench.instruments.replay import DeviationError, read_back, replayed, written
from autobench.instruments.scope import Scope, ScopeInput, Setup, Trigger
from autobench.instruments.supply import Supply
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.connections.in_process import InProcessLibrary
from simulated_instruments.devices.instrument import Device
from tests.drivers.meetings import ADDRESS, DEVICES, Loads, Source, driver_named
from tests.drivers.square import Square


def recorded(name: str, device: Device) -> tuple[Dialect, list[Exchange]]:
    """A dialect on its device, with the list its exchanges go to."""
    from autobench.instruments.connection import connect

    exchanges: list[Exchange] = []
    library = InProcessLibrary({ADDRESS: device}, device.clock)
    driver = driver_named(name)
    link = connect(driver, ADDRESS, name, device.clock, library, on_exchange=exchanges.append)
    return Dialect(driver, link), exchanges


def supplied(dialect: Dialect) -> tuple[float, float]:
    """A short use of a supply's output 1, and what it measured."""
    supply = Supply(dialect, outputs=(1,))
    supply.identify()
    supply.quiet()
    supply.set_volts(1, 5.0)
    supply.set_amps(1, 1.0)
    supply.on(1)
    dialect.clock.sleep(0.5)
    values = supply.volts(1).value, supply.amps(1).value
    supply.off(1)
    return values


@pytest.mark.parametrize("name", ["ps-1", "ps-2", "ps-3", "ps-4", "ps-5", "ps-6", "ps-7"])
def test_a_supplys_conversation_plays_back_to_the_same_values(name: str) -> None:
    """Every exchange is used, the values are those of the recording, and the clock moves as it did."""
    clock = SimulatedClock()
    dialect, exchanges = recorded(name, DEVICES[name]("supply", clock, Loads({1: 10.0, 2: 9.0, 3: 9.0}), seed=5))
    first = supplied(dialect)
    taken = clock.now()
    again = SimulatedClock()
    link, session = replayed(driver_named(name), name, read_back(written(exchanges)), again)
    assert supplied(Dialect(driver_named(name), link)) == first
    assert session.rest == 0
    assert again.now() == pytest.approx(taken, rel=1e-6)


def test_records_of_a_scope_play_back() -> None:
    """Blocks of any bytes are played back to the same samples."""
    clock = SimulatedClock()
    clock.sleep(2.0)
    setup = Setup((ScopeInput(1, 0.0, 5.0),), 20e-6, 1000, Trigger(1, 1.4))
    dialect, exchanges = recorded("o-1b", DEVICES["o-1b"]("scope", clock, Square(), seed=5))

    def captured(one: Dialect) -> bytes:
        scope = Scope(one)
        scope.prepare()
        return scope.capture(setup, one.clock.sleep, 0.5).traces[1].samples.tobytes()

    first = captured(dialect)
    link, session = replayed(driver_named("o-1b"), "o-1b", read_back(written(exchanges)), SimulatedClock(2.0))
    assert captured(Dialect(driver_named("o-1b"), link)) == first
    assert session.rest == 0


def test_the_first_deviation_stops_the_run() -> None:
    """Another setting than was recorded is named with both lines, and nothing after it is believed."""
    clock = SimulatedClock()
    dialect, exchanges = recorded("ps-3", DEVICES["ps-3"]("supply", clock, Loads({1: 10.0}), seed=5))
    supplied(dialect)
    link, _ = replayed(driver_named("ps-3"), "ps-3", exchanges, SimulatedClock())
    supply = Supply(Dialect(driver_named("ps-3"), link), outputs=(1,))
    supply.identify()
    supply.quiet()
    with pytest.raises(
        DeviationError, match=r"at exchange \d+: 'VOLT 4.900,\(@1\)' is sent where 'VOLT 5.000,\(@1\)' was recorded"
    ):
        supply.set_volts(1, 4.9)
    with pytest.raises(DeviationError, match="deviates from the transcript"):
        supply.set_volts(1, 5.0)


def test_more_than_was_recorded_is_a_deviation() -> None:
    """A transcript that has ended answers nothing."""
    clock = SimulatedClock()
    dialect, exchanges = recorded("m-1", DEVICES["m-1"]("meter", clock, Source(5.0, 50.0), seed=5))
    Meter(dialect).identify()
    link, session = replayed(driver_named("m-1"), "m-1", exchanges, SimulatedClock())
    meter = Meter(Dialect(driver_named("m-1"), link))
    meter.identify()
    assert session.rest == 0
    with pytest.raises(DeviationError, match="where the transcript has ended"):
        meter.identify()


def test_a_recorded_failure_fails_again() -> None:
    """A reply that did not come does not come in the replay either, after the same time, with the way back in step."""
    clock = SimulatedClock()
    device = DEVICES["m-1"]("meter", clock, Source(5.0, 50.0), seed=5)
    dialect, exchanges = recorded("m-1", device)

    def use(one: Dialect, behave: bool) -> list[str]:
        device.silent = behave
        with pytest.raises(NoReplyError) as caught:
            one.link.ask("*IDN?")
        device.silent = False
        return [str(caught.value).split(";")[0], one.link.ask("*ESE?")]

    first, taken = use(dialect, True), clock.now()
    again = SimulatedClock()
    link, session = replayed(driver_named("m-1"), "m-1", exchanges, again)
    assert use(Dialect(driver_named("m-1"), link), False)[1] == first[1]
    assert session.rest == 0
    assert again.now() == pytest.approx(taken, rel=1e-6)


EXCHANGES = st.builds(
    Exchange,
    st.just("meter"),
    st.floats(0.0, 1e6),
    st.binary(max_size=30),
    st.none() | st.binary(max_size=30),
    st.floats(0.0, 100.0),
    st.none() | st.text(max_size=20),
)


@given(st.lists(EXCHANGES, max_size=5))
def test_any_transcript_comes_back_as_it_was(exchanges: list[Exchange]) -> None:
    """Any bytes survive being written and read."""
    assert read_back(written(exchanges)) == exchanges


@given(st.text(max_size=80))
def test_what_is_no_transcript_is_refused_by_name(text: str) -> None:
    """Any other text gives the named error, or is empty."""
    with contextlib.suppress(RecordError):
        assert read_back(text) == [] or text.strip()


@given(
    st.lists(EXCHANGES, max_size=4), st.lists(st.text(st.characters(min_codepoint=33, max_codepoint=126), min_size=1))
)
def test_whatever_is_asked_of_a_transcript_only_link_errors_are_raised(
    exchanges: list[Exchange], asked: list[str]
) -> None:
    """A replay that goes wrong goes wrong as a link does."""
    link, _ = replayed(driver_named("m-1"), "meter", exchanges, SimulatedClock())
    for text in asked:
        with contextlib.suppress(LinkError):
            link.ask(text)
