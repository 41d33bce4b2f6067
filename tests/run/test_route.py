"""When relays may move, and in which order their contacts do: on the simulated bench, by its own account of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

import pytest

from autobench.documents.gathered import read_documents
from autobench.errors import InterlockRefusedError
from autobench.instruments.meter import Setting
from autobench.plan.planner import Planner
from autobench.plan.relay_paths import MOST_AMPS, RelayPath, relay_paths
from autobench.run.route import Route
from tests.run.test_power import Stand

# Of the fixture for tarnbeck-8: slot 1 is the meter's high input, slot 2 its low one, slot 3 the scope's first channel.
INLET, GROUND, SWITCH, LOW_INLET = 101, 202, 103, 201
CONTACTS = 0.01  # s that the simulated relays need; no contact may close sooner after another one of its slot opened


class Contacts:
    """What the contacts did and when, in place of the simulator's own terminals."""

    def __init__(self, stand: Stand) -> None:
        relays = stand.bench.devices["relays"]
        self.clock, self.inner = stand.bench.clock, relays.terminals  # type: ignore[attr-defined]
        self.history: list[tuple[float, frozenset[int]]] = []
        relays.terminals = self  # type: ignore[attr-defined]

    def closed(self, channels: frozenset[int]) -> None:
        self.history.append((self.clock.now(), channels))
        self.inner.closed(channels)


@pytest.fixture
def stand() -> Iterator[Stand]:
    made = Stand()
    yield made
    made.opened.close()
    made.bench.close()


def paths(supply_on: str | None = None) -> tuple[RelayPath, ...]:
    """Those of the bench that ships; with an output of the supply on the last slot, where asked for."""
    read = read_documents("tarnbeck-8", "simulated", "baseline")
    bench = read.bench
    if supply_on is not None and bench.routes is not None:
        slots = {**bench.routes.slots, supply_on: bench.routes.slots["scope 4"]}
        del slots["scope 4"]
        bench = bench.model_copy(update={"routes": bench.routes.model_copy(update={"slots": slots})})
    return relay_paths(bench, read.drivers, 5.5)


def route_of(stand: Stand, on: tuple[RelayPath, ...]) -> Route:
    route = Route(stand.opened.relays["relays"], on, live=stand.power.may_be_live)
    route.prepare()
    return route


def test_measuring_inputs_take_next_to_nothing() -> None:
    """5.5 V into 10 Mohm of a meter and into 1 Mohm of a scope behind its divider: microamps (Ohm's law)."""
    by_input = {path.input: path.amps for path in paths()}
    assert by_input["meter high"] == pytest.approx(0.55e-6)
    assert by_input["scope 1"] == pytest.approx(0.55e-6)
    assert max(by_input.values()) < MOST_AMPS / 1000


def test_the_planner_hands_the_paths_on() -> None:
    """Every slot of the bench is in the plan."""
    read = read_documents("tarnbeck-8", "simulated", "baseline")
    plan = Planner(read.bench, read.drivers, read.board, {}).plan(read.sequence)
    assert [path.slot for path in plan.paths] == [1, 2, 3, 4, 5, 6]


def test_two_points_on_one_input_are_refused(stand: Stand) -> None:
    """The input would join two rails: refused in words, and no contact moves."""
    contacts, route = Contacts(stand), route_of(stand, paths())
    contacts.history.clear()
    with pytest.raises(InterlockRefusedError, match="would join two points of the board"):
        route.take((INLET, SWITCH, GROUND))
    assert contacts.history == []


def test_a_slot_nobody_told_of_is_refused(stand: Stand) -> None:
    """What hangs on it is not known, so neither is what would flow."""
    contacts, route = Contacts(stand), route_of(stand, tuple(path for path in paths() if path.slot != 3))
    contacts.history.clear()
    with pytest.raises(InterlockRefusedError, match="does not say what is on slot 3"):
        route.take((301,))
    assert contacts.history == []


def test_a_live_supply_behind_relays_lets_nothing_move(stand: Stand) -> None:
    """A bench with an output taken through relays: once it is on, its contacts may break up to 2 A, so they may not
    move; the other way round, first the relays and then power, is right. Off and proved, they may move again."""
    contacts = Contacts(stand)
    stand.settle()
    route = route_of(stand, paths("supply 1"))
    route.take((601,))
    assert contacts.history[-1][1] == {601}
    stand.power.power_up()
    contacts.history.clear()
    with pytest.raises(InterlockRefusedError, match=r"'supply 1' must not move now: up to 2\.000 A"):
        route.take((INLET, GROUND, 602))
    with pytest.raises(InterlockRefusedError, match="must not move now"):
        route.take((INLET, GROUND))  # it would open the supply's own contact
    assert contacts.history == []
    stand.power.outputs["+5V"].feed = replace(stand.power.outputs["+5V"].feed, inlet=None)
    stand.power.make_off()
    route.take((INLET, GROUND))
    assert contacts.history[-1][1] == {INLET, GROUND}


def test_contacts_that_are_not_known_count_as_any(stand: Stand) -> None:
    """After an error in the middle of a move any slot's contacts may be closed, the live supply's as well."""
    stand.settle()
    route = route_of(stand, paths("supply 1"))
    stand.bench.devices["relays"].silent = True
    with pytest.raises(Exception, match="relays"):
        route.take((INLET, GROUND))
    stand.bench.devices["relays"].silent = False
    stand.power.power_up()
    with pytest.raises(InterlockRefusedError, match="must not move now"):
        route.take((INLET, GROUND))
    stand.power.outputs["+5V"].feed = replace(stand.power.outputs["+5V"].feed, inlet=None)
    stand.power.make_off()


def test_all_contacts_open_before_any_closes(stand: Stand) -> None:
    """Break before make: between two channels of one slot both are open, longer than a contact takes."""
    contacts, route = Contacts(stand), route_of(stand, paths())
    for channels in ((INLET, GROUND), (SWITCH, GROUND), (301,), (LOW_INLET, 104)):
        route.take(channels)
    for (_, before), (_, after) in pairwise(contacts.history):
        assert not before or not after
    opened_at = 0.0
    for at, closed in contacts.history:
        if closed:
            assert at - opened_at >= CONTACTS
        opened_at = at if not closed else opened_at
        slots = [channel // 100 for channel in closed]
        assert len(slots) == len(set(slots))


def test_a_meter_on_ohms_is_put_to_rest_before_contacts_move(stand: Stand) -> None:
    """Its source would be broken by the contacts, and meet whatever is at the next point."""
    meter = stand.opened.meters["meter"]
    route = Route(stand.opened.relays["relays"], paths(), rest=meter.rest)
    route.prepare()
    meter.setting = Setting("ohms", 100.0, 1.0)
    route.take((INLET, GROUND))
    assert meter.setting.function == "volts"
