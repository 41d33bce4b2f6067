"""What the supply's leads lose, measured and reported; more certain readings where patience is asked for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from autobench.documents.gathered import read_documents
from autobench.events import Event
from autobench.instruments.link import nothing, unheard
from autobench.instruments.opened import Opener
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.plan.planner import Planner
from autobench.plan.steps import CurrentJob, PlannedStep, RailJob
from autobench.quantity import Span
from autobench.run import actions
from autobench.run.power import Power
from autobench.run.route import Route
from autobench.run.stop import StopSignals
from autobench.run.touch import Touch
from simulated_instruments.bench import SimulatedBench

LEADS = 0.06  # ohm, what the simulated bench has soldered between supply and board


class Stand:
    """A powered board on the simulated bench; `compensate` as in the bench file."""

    def __init__(self, compensate: bool) -> None:
        documents = read_documents("tarnbeck-8", "simulated", "baseline")
        planner = Planner(documents.bench, documents.drivers, documents.board, {"video": "late"})
        self.bench = SimulatedBench.open("tarnbeck-8", options={"video": "late"}, seed=4)
        self.opened = Opener(self.bench.library, self.bench.clock, unheard, nothing).open(
            documents.bench, documents.drivers
        )
        events: list[Event] = []
        route = Route(self.opened.relays["relays"])
        touch = Touch(self.opened.meters["meter"], route)
        route.prepare()
        touch.prepare()
        feed = replace(planner.feeds[0], compensate=compensate)
        power = Power((feed,), self.opened.supplies, touch, self.bench.clock, events.append, StopSignals())
        power.make_off()
        power.ohms_judged("+5V", True)
        power.probe_polarity("+5V")
        power.polarity_judged("+5V", True)
        power.power_up()
        self.actions = actions.Bench(power, route, touch, self.bench.clock, lambda rail, amps: [], 50.0)
        self.steps = planner.plan(documents.sequence).steps

    def current(self) -> list[Reading]:
        step, job = next((step, step.job) for step in self.steps if isinstance(step.job, CurrentJob))
        return actions.current(self.actions, step, job)

    def rail(self) -> tuple[PlannedStep, RailJob]:
        return next((step, step.job) for step in self.steps if isinstance(step.job, RailJob))


@pytest.fixture
def stands() -> Iterator[list[Stand]]:
    made: list[Stand] = []
    yield made
    for stand in made:
        stand.actions.power.make_off()
        stand.opened.close()
        stand.bench.close()


@pytest.mark.parametrize("compensate", [True, False])
def test_the_drop_of_the_leads_is_reported(compensate: bool, stands: list[Stand]) -> None:
    """Ohm's law: what the leads lose is the current times their ohms, with or without making up for it."""
    stands.append(Stand(compensate))
    amps, drop = stands[0].current()
    assert drop.quantity == "lead drop"
    assert not drop.required
    assert amps.value is not None
    assert drop.value is not None
    assert drop.uncertainty is not None
    assert drop.value == pytest.approx(amps.value * LEADS, abs=3.0 * drop.uncertainty)  # Ohm's law
    assert drop.reason is not None
    assert ("raised by it" in drop.reason) is compensate


def test_the_board_gets_its_nominal_voltage_where_leads_are_made_up_for(stands: list[Stand]) -> None:
    """At the inlet there are 5 V with compensation, and less without; never more than the rail's upper limit."""
    stands += [Stand(True), Stand(False)]
    seen = []
    for stand in stands:
        step, job = stand.rail()
        (reading,) = actions.rail(stand.actions, step, job)
        assert reading.value is not None
        seen.append(reading.value)
    assert seen[0] == pytest.approx(5.0, abs=0.01)
    assert seen[1] == pytest.approx(5.0 - 0.78 * LEADS, abs=0.01)  # Ohm's law
    assert seen[0] <= 5.25


def test_a_rail_near_its_limit_is_read_again_for_its_patience(stands: list[Stand]) -> None:
    """Judged by a limit a hair away the rail stays marginal, is read more often, and says how long it was tried."""
    stands.append(Stand(True))
    stand = stands[0]
    step, job = stand.rail()
    (plain,) = actions.rail(stand.actions, step, job)
    assert plain.value is not None
    assert plain.uncertainty is not None
    tight = replace(job, limits=replace(job.limits, span=Span(plain.value, None, "V"), usual=None, data_sheet=None))
    began = stand.bench.clock.now()
    (once,) = actions.rail(stand.actions, step, tight)
    quick = stand.bench.clock.now() - began
    began = stand.bench.clock.now()
    (tried,) = actions.rail(stand.actions, replace(step, patience=30.0), tight)
    assert once.verdict is tried.verdict is Verdict.MARGINAL
    assert stand.bench.clock.now() - began > quick
    assert tried.reason is not None
    assert "of repeating" in tried.reason
