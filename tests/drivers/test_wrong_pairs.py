"""Every driver on an instrument of another dialect: noticed before a number is believed or an output is live."""

from __future__ import annotations

import itertools
from typing import Any

import pytest

from autobench.documents.driver import Driver
from autobench.errors import BenchError
from autobench.instruments.counter import Counter
from autobench.instruments.meter import Meter
from autobench.instruments.relays import Relays
from autobench.instruments.scope import Scope, ScopeInput, Setup, Trigger
from autobench.instruments.supply import Supply
from tests.drivers.meetings import DEVICES, Contacts, Loads, Source, Spoken, driver_named, over
from tests.drivers.square import Square

SUPPLIES = ("ps-1", "ps-2", "ps-3", "ps-4", "ps-5", "ps-6", "ps-7")
METERS = ("m-1", "m-2")
COUNTERS = ("k-1", "k-2")
SCOPES = ("o-1a", "o-1b", "o-2", "o-3a", "o-3b")
RELAYS = ("w-1", "w-2", "w-3", "w-4")


def opened(spoken: Spoken) -> None:
    """What happens with every instrument when a bench is opened."""
    spoken.dialect.identify()
    spoken.dialect.clear()
    spoken.dialect.recognise()


def made_ready(spoken: Spoken) -> None:
    """A supply off, set, and read back where it can be."""
    supply = Supply(spoken.dialect, outputs=(1,))
    supply.quiet()
    supply.set_volts(1, 5.0)
    supply.set_amps(1, 0.5)
    if supply.can("set volts?"):
        assert (supply.set_volts_back(1), supply.set_amps_back(1)) == (5.0, 0.5)


@pytest.mark.parametrize(("driver", "device"), list(itertools.permutations(SUPPLIES, 2)))
def test_a_wrong_supply_is_noticed_before_it_is_on(driver: str, device: str) -> None:
    """The settings that must be read back before ON cannot be, or are refused: nothing is ever live."""
    loads = Loads({1: 10.0, 2: 10.0, 3: 10.0})
    with over("in process", driver, lambda clock: DEVICES[device]("supply", clock, loads, seed=5)) as spoken:

        def begin() -> None:
            opened(spoken)
            made_ready(spoken)

        with pytest.raises(BenchError, match=rf"^{driver}: "):
            begin()
        assert not any(setting.on for setting in loads.settings.values())


def test_a_single_supplys_driver_on_a_cousin_with_outputs_is_told_by_what_it_takes() -> None:
    """Most lines of PS-1 mean "the selected output" to a PS-2, which obeys: it is told by a line it should refuse."""
    with over("in process", "ps-1", lambda clock: DEVICES["ps-2"]("supply", clock, Loads({1: 10.0}), 5)) as spoken:
        with pytest.raises(BenchError) as caught:
            opened(spoken)
        assert str(caught.value) == (
            "ps-1: the instrument takes 'INST:NSEL 1', which one of the dialect 'ps-1' refuses – is the driver right?"
        )


def test_a_supply_that_switches_all_its_outputs_together_is_noticed() -> None:
    """Some of the family PS-2 do: the second rail would come on unasked, so all go off again at once."""
    loads = Loads({1: 10.0, 2: 10.0, 3: 10.0})
    with over("in process", "ps-2", lambda clock: DEVICES["ps-2"]("supply", clock, loads, seed=5)) as spoken:
        spoken.device.together = True  # type: ignore[attr-defined]  # of this kind of device
        supply = Supply(spoken.dialect, outputs=(1, 2))
        supply.quiet()
        with pytest.raises(BenchError, match="ON for output 1 switched output 2 on as well"):
            supply.on(1)
        assert not any(setting.on for setting in loads.settings.values())


@pytest.mark.parametrize(("driver", "device"), list(itertools.permutations(METERS, 2)))
def test_a_wrong_meter_is_noticed_before_it_reads(driver: str, device: str) -> None:
    """A meter that does not understand its driver never gives a reading."""
    source = Source(5.0, 50.0)
    with over("in process", driver, lambda clock: DEVICES[device]("meter", clock, source, seed=5)) as spoken:

        def begin() -> None:
            opened(spoken)
            meter = Meter(spoken.dialect)
            meter.prepare()
            meter.volts(5.0)

        with pytest.raises(BenchError, match=rf"^{driver}: "):
            begin()


@pytest.mark.parametrize(("driver", "device"), list(itertools.permutations(COUNTERS, 2)))
def test_a_wrong_counter_is_noticed_before_it_counts(driver: str, device: str) -> None:
    """A counter that does not understand its driver never gives a rate."""
    with over("in process", driver, lambda clock: DEVICES[device]("counter", clock, Square(), seed=5)) as spoken:

        def begin() -> None:
            opened(spoken)
            Counter(spoken.dialect, probe=10.0).prepare()

        with pytest.raises(BenchError, match=rf"^{driver}: "):
            begin()


@pytest.mark.parametrize(("driver", "device"), list(itertools.permutations(SCOPES, 2)))
def test_a_wrong_scope_is_noticed_before_it_captures(driver: str, device: str) -> None:
    """No scope ever gets as far as a capture by another one's driver."""
    with over("in process", driver, lambda clock: DEVICES[device]("scope", clock, Square(), seed=5)) as spoken:

        def begin() -> None:
            opened(spoken)
            Scope(spoken.dialect).prepare()

        with pytest.raises(BenchError, match=rf"^{driver}: "):
            begin()


@pytest.mark.parametrize("transport", ["in process", "raw socket", "hislip"])
@pytest.mark.parametrize(("driver", "device"), list(itertools.permutations(("o-1a", "o-1b"))))
def test_a_wrong_cousin_is_noticed_over_every_transport(driver: str, device: str, transport: str) -> None:
    """O-1a and O-1b share most of their words; neither captures anything by the other's driver."""
    with over(transport, driver, lambda clock: DEVICES[device]("scope", clock, Square(), seed=5)) as spoken:

        def begin() -> None:
            opened(spoken)
            scope = Scope(spoken.dialect)
            scope.prepare()

        with pytest.raises(BenchError, match="it does not know this command – is the driver right"):
            begin()


@pytest.mark.parametrize(("driver", "device"), list(itertools.permutations(RELAYS, 2)))
def test_wrong_relays_are_noticed_before_anything_closes(driver: str, device: str) -> None:
    """Half of their words are the same: the first word that is not is refused, and no contact has moved."""
    contacts = Contacts()
    with over("in process", driver, lambda clock: DEVICES[device]("relays", clock, contacts, seed=5)) as spoken:

        def begin() -> None:
            opened(spoken)
            relays = Relays(spoken.dialect)
            relays.prepare()
            relays.close((101,))

        with pytest.raises(BenchError, match=rf"^{driver}: "):
            begin()
        assert not any(contacts.moves)


ROLES = {"p": "supply", "m": "meter", "o": "scope", "w": "relays", "k": "counter"}
PAIRS = [(driver, device) for driver, device in itertools.product(DEVICES, DEVICES) if driver != device]
ACROSS = [(driver, device) for driver, device in PAIRS if driver[0] != device[0]]


def test_every_pair_is_tried() -> None:
    """Within a role and across roles, nothing is left out."""
    kinds = (SUPPLIES, METERS, SCOPES, COUNTERS, RELAYS)
    within = [pair for kind in kinds for pair in itertools.permutations(kind, 2)]
    assert sorted([*within, *ACROSS]) == sorted(PAIRS)
    assert {name: driver_named(name).kind for name in DEVICES} == {name: ROLES[name[0]] for name in DEVICES}


@pytest.mark.parametrize(("driver", "device"), ACROSS)
def test_an_instrument_of_another_kind_is_noticed_before_it_does_anything(driver: str, device: str) -> None:
    """Addresses that were swapped: nothing is switched, closed, captured or read by the wrong kind of driver."""
    ends: dict[str, Any] = {
        "p": Loads({1: 10.0, 2: 10.0, 3: 10.0}),
        "m": Source(5.0, 50.0),
        "o": Square(),
        "w": Contacts(),
        "k": Square(),
    }
    with over("in process", driver, lambda clock: DEVICES[device](device, clock, ends[device[0]], 5)) as spoken:

        def begin() -> None:
            opened(spoken)
            if driver[0] == "p":
                made_ready(spoken)
            elif driver[0] == "m":
                meter = Meter(spoken.dialect)
                meter.prepare()
                meter.volts(5.0)
            elif driver[0] == "o":
                scope = Scope(spoken.dialect)
                scope.prepare()
                scope.capture(Setup((ScopeInput(1, 0.0, 5.0),), 20e-6, 1000, Trigger(1, 1.4)), spoken.clock.sleep, 0.5)
            elif driver[0] == "k":
                counter = Counter(spoken.dialect)
                counter.prepare()
                counter.rate(1, 1.4, 0.1)
            else:
                relays = Relays(spoken.dialect)
                relays.prepare()
                relays.close((101,))

        with pytest.raises(BenchError, match=rf"^{driver}: "):
            begin()
        assert not any(setting.on for setting in ends["p"].settings.values())
        assert not any(ends["w"].moves)


def crossed(name: str, **changed: object) -> Driver:
    """The driver of a scope with something of its record described wrongly."""
    driver = driver_named(name)
    assert driver.samples is not None
    return driver.model_copy(update={"samples": driver.samples.model_copy(update=changed)})


# What a driver file can say wrongly of what the codes mean. A record that is scaled by the screen alone has nothing
# that could contradict the sign of its offset: there a known voltage must show it (`test_prove.py`).
WRONG = [
    *((name, wrong) for name in ("o-1a", "o-1b") for wrong in ("origin", "positive offset")),
    *((name, "positive offset") for name in ("o-2", "o-3a")),
]


@pytest.mark.parametrize(("name", "wrong"), WRONG)
@pytest.mark.parametrize(("low", "high"), [(0.0, 5.0), (-2.0, 4.5), (-5.5, 1.0)])
def test_a_driver_with_the_cousins_rule_is_noticed_at_every_offset_but_zero(
    name: str, wrong: str, low: float, high: float
) -> None:
    """With every word right and only the meaning of field nine, or the offset's sign, taken from the cousin, a record
    is refused instead of read shifted."""
    own = driver_named(name).samples
    assert own is not None
    changed = (
        {"origin": "volts" if own.origin == "codes" else "codes"}
        if wrong == "origin"
        else {"positive_offset": "up" if own.positive_offset == "down" else "down"}
    )
    device = DEVICES[name]
    with over(
        "in process", name, lambda clock: device("scope", clock, Square(), seed=5), crossed(name, **changed)
    ) as spoken:
        scope = Scope(spoken.dialect)
        scope.prepare()
        setup = Setup((ScopeInput(1, low, high),), 20e-6, 1000, Trigger(1, 0.5))
        with pytest.raises(BenchError, match="'origin' or 'positive offset' of the driver file may be wrong"):
            scope.capture(setup, spoken.clock.sleep, 0.5)


@pytest.mark.parametrize("name", ["o-1a", "o-1b"])
def test_at_offset_zero_both_rules_give_the_same_volts(name: str) -> None:
    """Where the offset is zero there is nothing to notice: the wrong rule reads the right volts (common practice)."""
    own = driver_named(name).samples
    assert own is not None
    lows = []
    for driver in (driver_named(name), crossed(name, origin="volts" if own.origin == "codes" else "codes")):
        make = DEVICES[name]
        with over("in process", name, lambda clock, make=make: make("scope", clock, Square(), 5), driver) as spoken:
            scope = Scope(spoken.dialect)
            scope.prepare()
            setup = Setup((ScopeInput(1, -5.0, 5.0),), 20e-6, 1000, Trigger(1, 1.4))
            lows.append(float(scope.capture(setup, spoken.clock.sleep, 0.5).traces[1].in_volts().min()))
    assert lows[0] == pytest.approx(lows[1], abs=1e-9)
