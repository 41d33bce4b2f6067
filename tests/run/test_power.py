"""Power on the simulated bench, through the real stack: limits, the single retry, trips, and OFF that is ignored."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

import pytest

from autobench.documents.gathered import read_documents
from autobench.errors import InterlockRefusedError, OutputNotOffError, TrippedError
from autobench.events import Event, Notice, PowerChanged, Watched
from autobench.instruments.link import nothing, unheard
from autobench.instruments.opened import Opened, Opener
from autobench.plan.planner import Planner
from autobench.plan.steps import Feed
from autobench.run.power import Power
from autobench.run.route import Route
from autobench.run.stop import StopSignals
from autobench.run.touch import Touch
from simulated_instruments.bench import SimulatedBench


class Stand:
    """A simulated bench with everything `Power` works with, the gates before power already passed."""

    def __init__(self, **feed_changes: object) -> None:
        documents = read_documents("tarnbeck-8", "simulated", "baseline")
        planner = Planner(documents.bench, documents.drivers, documents.board, {})
        self.bench = SimulatedBench.open("tarnbeck-8", options={"video": "late"}, seed=4)
        opener = Opener(self.bench.library, self.bench.clock, unheard, nothing)
        self.opened: Opened = opener.open(documents.bench, documents.drivers)
        self.events: list[Event] = []
        feed: Feed = replace(planner.feeds[0], **feed_changes)  # type: ignore[arg-type]  # fields named by each test
        route = Route(self.opened.relays["relays"])
        touch = Touch(self.opened.meters["meter"], route)
        route.prepare()
        touch.prepare()
        self.power = Power((feed,), self.opened.supplies, touch, self.bench.clock, self.events.append, StopSignals())

    def settle(self) -> None:
        """Through the gates: proved off, ohms passed, polarity right."""
        self.power.make_off()
        self.power.ohms_judged("+5V", True)
        self.power.probe_polarity("+5V")
        self.power.polarity_judged("+5V", True)


@pytest.fixture
def stands() -> Iterator[list[Stand]]:
    made: list[Stand] = []
    yield made
    for stand in made:
        stand.opened.close()
        stand.bench.close()


def test_a_tight_limit_is_raised_once_and_the_board_comes_up(stands: list[Stand]) -> None:
    """A limit below what the board draws limits; with 1.5 times of it, once, the board runs (common practice)."""
    stand = Stand(amps=0.6)
    stands.append(stand)
    stand.settle()
    stand.power.power_up()
    output = stand.power.outputs["+5V"]
    assert output.set_amps == pytest.approx(0.9)
    assert any("limiting" in event.words for event in stand.events if isinstance(event, Notice))
    assert stand.bench.truth().any_on


def test_limiting_that_stays_is_switched_off_and_told(stands: list[Stand]) -> None:
    """Where even the raised limit is not enough, the output goes off, proved, and the reason is in words."""
    stand = Stand(amps=0.3)
    stand.power.outputs["+5V"].interlock.envelope = replace(stand.power.outputs["+5V"].feed.envelope, amps=0.4)
    stands.append(stand)
    stand.settle()
    with pytest.raises(TrippedError, match="limits"):
        stand.power.power_up()
    assert not stand.bench.truth().any_on
    assert stand.power.outputs["+5V"].interlock.state == "stopped"
    with pytest.raises(InterlockRefusedError, match="tripped in this run"):
        stand.power.power_up()


def test_nothing_is_switched_on_before_the_gates(stands: list[Stand]) -> None:
    """Power-up is refused before off was proved, before the ohms, before the polarity."""
    stand = Stand()
    stands.append(stand)
    with pytest.raises(InterlockRefusedError, match="proved off"):
        stand.power.power_up()
    stand.power.make_off()
    with pytest.raises(InterlockRefusedError, match="ohms"):
        stand.power.power_up()
    stand.power.ohms_judged("+5V", True)
    with pytest.raises(InterlockRefusedError, match="polarity"):
        stand.power.power_up()
    assert stand.bench.truth().times_on == 0


def test_a_setting_beyond_the_envelope_never_reaches_the_supply(stands: list[Stand]) -> None:
    """A plan that asks for more than the envelope is refused before anything is sent."""
    stand = Stand(volts=5.4)
    stands.append(stand)
    stand.settle()
    before = stand.bench.truth().changes
    with pytest.raises(InterlockRefusedError, match="volts"):
        stand.power.power_up()
    assert stand.bench.truth().changes == before


def test_the_watch_looks_at_least_twice_a_second(stands: list[Stand]) -> None:
    """While the output is on, the longest gap between two looks is at most half a second."""
    stand = Stand()
    stands.append(stand)
    stand.settle()
    stand.power.power_up()
    stand.power.wait(3.0)
    on = next(event.at for event in reversed(stand.events) if isinstance(event, PowerChanged) and event.state == "on")
    looks = [event.at for event in stand.events if isinstance(event, Watched) and event.at >= on]
    assert len(looks) > 6
    assert max(after - before for before, after in pairwise(looks)) <= 0.5


def test_lead_compensation_brings_the_board_to_its_nominal(stands: list[Stand]) -> None:
    """The inlet gets 5 V although the leads lose some 45 mV, and the output never goes above what the board takes."""
    stand = Stand()
    stands.append(stand)
    stand.settle()
    stand.power.power_up()
    truth = stand.bench.truth()
    assert truth.most_volts["+5V"] == pytest.approx(5.0, abs=0.02)
    assert 5.0 < stand.power.outputs["+5V"].set_volts <= 5.25


def test_an_off_that_is_ignored_raises_the_alarm(stands: list[Stand]) -> None:
    """A supply that ignores OFF is not believed: a person is told to switch it off by hand."""
    stand = Stand()
    stands.append(stand)
    stand.settle()
    stand.power.power_up()
    stand.bench.devices["supply"].ignores_off = True  # type: ignore[attr-defined]  # a switch of this one device
    with pytest.raises(OutputNotOffError, match="by hand"):
        stand.power.make_off()
    assert stand.power.outputs["+5V"].interlock.state == "alarm"
    stand.bench.devices["supply"].ignores_off = False  # type: ignore[attr-defined]
    stand.power.make_off()
    assert not stand.bench.truth().any_on
