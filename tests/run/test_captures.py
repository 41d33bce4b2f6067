"""Captures taken before anybody asks: the same as those that are asked for, and none outlives its power."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from autobench.documents.driver import Driver
from autobench.documents.places import list_drivers
from autobench.documents.reading import read
from autobench.errors import LinkLostError
from autobench.instruments.dialect import Dialect
from autobench.instruments.link import Link
from autobench.instruments.relays import Relays
from autobench.instruments.scope import Scope
from autobench.instruments.visa import open_session
from autobench.plan.scope_steps import ScopePoint, Sight
from autobench.run.captures import AHEAD, Captures
from autobench.run.errands import Errands
from autobench.run.route import Route
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.connections.in_process import InProcessLibrary
from simulated_instruments.devices.relays_slot_channel import SlotChannelRelays
from simulated_instruments.devices.scope_preamble_data import PreambleDataScope
from tests.run.test_lines import Contacts, Square

LONG = 20.0  # s; nothing here takes as long unless something is wrong


class Moves(Contacts):
    """What the relays were told, one after another."""

    def __init__(self) -> None:
        self.all: list[frozenset[int]] = []

    def closed(self, channels: frozenset[int]) -> None:
        self.all.append(channels)


class Stand:
    """A scope behind relays, with threads of their own."""

    def __init__(self) -> None:
        clock = SimulatedClock(2.0)
        self.moves = Moves()
        self.scope = PreambleDataScope("scope", clock, Square(1e6), seed=3)
        relays = SlotChannelRelays("relays", clock, self.moves, seed=3)
        self.library = InProcessLibrary({"GPIB0::7::INSTR": self.scope, "GPIB0::9::INSTR": relays}, clock)
        self.errands = Errands(clock, beside=True)
        self.route = Route(Relays(self.dialect("w-1", "GPIB0::9::INSTR", clock)))
        scope = Scope(self.dialect("o-1b", "GPIB0::7::INSTR", clock), probe=10.0)
        self.captures = Captures(scope, self.route, self.errands.pausing(clock.sleep), errands=self.errands)
        self.route.prepare()
        self.captures.prepare()

    def dialect(self, name: str, address: str, clock: SimulatedClock) -> Dialect:
        driver = read(dict(list_drivers())[name], Driver)
        session = open_session(address, instrument=name, library=self.library)
        return Dialect(driver, Link(session, name, clock, check=lambda: self.errands.away() and None), clock)

    def until_done(self) -> None:
        """Everything that was given is done."""
        for errand in list(self.captures._coming.values()):
            assert errand.done.wait(LONG)


@pytest.fixture
def stand() -> Iterator[Stand]:
    made = Stand()
    yield made
    made.errands.quiet()
    made.errands.end()


def sights(count: int) -> list[Sight]:
    """Sights of points behind one relay each."""
    return [
        Sight((ScopePoint(f"LINE{number}", f"U1.{number}", 1, 300 + number, -0.7, 5.7),), 1.2e-3, 25e6)
        for number in range(1, count + 1)
    ]


def test_what_is_taken_ahead_is_what_is_looked_at(stand: Stand) -> None:
    """Taken once, in order, and not again when somebody looks; the route was that of each sight."""
    wanted = sights(3)
    stand.captures.ahead(wanted)
    stand.until_done()
    told = len(stand.moves.all)
    for sight in wanted:
        seen = stand.captures.look(sight, sight.points[0].net)
        assert seen.void is None
        assert seen.trace.samples.size
    assert len(stand.moves.all) == told
    closed = [next(iter(channels)) for channels in stand.moves.all if channels]
    assert list(dict.fromkeys(closed)) == [301, 302, 303]


def test_no_more_is_taken_ahead_than_is_looked_at_soon(stand: Stand) -> None:
    """Samples take memory, and what was seen long ago is not what is."""
    wanted = sights(AHEAD + 5)
    stand.captures.ahead(wanted)
    stand.until_done()
    assert len(stand.captures._taken) + len(stand.captures._coming) == AHEAD
    stand.captures.look(wanted[0], "LINE1")
    assert len(stand.captures._coming) == AHEAD


@pytest.mark.parametrize("at_once", [True, False])
def test_what_was_broken_off_is_taken_anew(stand: Stand, at_once: bool) -> None:
    """After outputs were made safe in the middle of it all a look is a look again, whatever was under way."""
    wanted = sights(6)
    stand.captures.ahead(wanted)
    if not at_once:
        assert next(iter(stand.captures._coming.values())).done.wait(LONG)
    stand.errands.quiet()
    for sight in wanted[::-1]:
        assert stand.captures.look(sight, sight.points[0].net).trace.samples.size


def test_nothing_outlives_the_power_it_was_taken_under(stand: Stand) -> None:
    """Once the power has changed a capture that was taken ahead is taken once more."""
    (sight,) = sights(1)
    stand.captures.ahead([sight])
    stand.until_done()
    stand.captures.forget()
    before = stand.errands.clock.now()
    assert stand.captures.look(sight, "LINE1").trace.samples.size
    assert stand.errands.clock.now() > before


def test_a_step_that_is_left_out_wants_its_look_no_more(stand: Stand) -> None:
    """Its place is free for what comes next."""
    first, second = sights(2)
    stand.captures.ahead([first])
    stand.captures.ahead([second])
    assert list(stand.captures._coming) == [second]
    assert stand.captures.look(second, "LINE2").trace.samples.size


def test_a_scope_that_is_lost_ahead_is_told_where_it_is_looked_for(stand: Stand) -> None:
    """The error is that of the exchange which met it, and what was asked before stays as it is."""
    first, second = sights(2)
    assert stand.captures.look(first, "LINE1").trace.samples.size

    def gone() -> None:
        raise LinkLostError("scope", "gone")

    stand.captures.scope.dialect.link.check = gone
    stand.captures.ahead([second])
    stand.until_done()
    assert stand.captures.look(first, "LINE1").void is None
    with pytest.raises(LinkLostError):
        stand.captures.look(replace(second), "LINE2")
