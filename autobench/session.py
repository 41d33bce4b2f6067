"""One run from its first event to its last: opens the instruments, runs the plan, ends safe, judged and recorded.

It joins stages and decides nothing itself.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from autobench.clock import Clock, RealClock
from autobench.diagnosis.diagnosis import accused, diagnose
from autobench.documents.gathered import Documents
from autobench.errors import AutobenchError, OutputNotOffError, RecordError, UsageError
from autobench.events import (
    Diagnosed,
    Event,
    Exchanged,
    Identified,
    Notice,
    PromptProgress,
    RunEnded,
    RunStarted,
    trace_taken,
)
from autobench.instruments.exchange import Exchange, shown
from autobench.instruments.opened import Opened, Opener
from autobench.judgement.verdict import BoardJudgement, BoardVerdict
from autobench.plan.steps import Plan
from autobench.record.store import RunRecord
from autobench.run.actions import Bench as LiveBench
from autobench.run.captures import Captures
from autobench.run.hand import Hand
from autobench.run.held_probes import HeldProbes
from autobench.run.person import OFF_WORDS, Keys, Person
from autobench.run.power import Power
from autobench.run.route import Route
from autobench.run.runner import Runner
from autobench.run.stop import StopSignals
from autobench.run.supply_by_hand import SupplyByHand
from autobench.run.touch import Touch
from autobench.simulation import Simulation, bystander, truth_of
from autobench.views.run_state import RunState, fold

if TYPE_CHECKING:
    from autobench.signals.trace import Trace
    from simulated_instruments.bench import SimulatedBench

PACE = 4.0  # a simulated bench with a person at the keyboard runs so much faster than the clock on the wall

View = Callable[[Event], None]


@dataclass(frozen=True)
class CheckRequest:
    """One `check`, as asked for."""

    board: str
    serial: str | None = None
    options: Mapping[str, str] = field(default_factory=dict)
    bench: str | None = None
    sequence: str = "baseline"
    only: tuple[str, ...] = ()
    point: str | None = None  # one point instead of the whole round
    records: str | None = None
    unattended: bool = False
    operator: str | None = None
    simulation: Simulation = field(default_factory=Simulation)


class Broadcast:
    """Hands every event to the record and the views, and keeps the folded state.

    A record that fails is told once, by `RecordError`, and left alone afterwards: making safe must not fail on it
    again. A view that fails is dropped and noted.
    """

    def __init__(self, record: RunRecord, views: Sequence[View]) -> None:
        self.state = RunState()
        self._record: RunRecord | None = record
        self._views = list(views)

    def join(self, view: View) -> None:
        """One more view, from now on."""
        self._views.append(view)

    def emit(self, event: Event) -> None:
        """One event to everybody; what is for the eye only goes to the views alone."""
        self.state = fold(self.state, event)
        dropped = [view for view in self._views if not shown_by(view, event)]
        self._views = [view for view in self._views if view not in dropped]
        if self._record is not None and not isinstance(event, PromptProgress):
            try:
                self._record.write(event)
            except RecordError:
                self._record = None
                raise
        if dropped:
            self.emit(Notice(event.at, "the display failed and was dropped; the round goes on"))


def shown_by(view: View, event: Event) -> bool:
    """Whether `view` took the event; whatever a view raises is its own affair and must not end a run."""
    try:
        view(event)
    except Exception:
        return False
    return True


class Session:
    """One run from its first event to its last."""

    def __init__(
        self, request: CheckRequest, documents: Documents, plan: Plan, clock: Clock, stop: StopSignals, out: Broadcast
    ) -> None:
        self.request = request
        self.documents = documents
        self.plan = plan
        self.clock = clock
        self.stop = stop
        self.out = out

    def run(self, simulated: SimulatedBench | None, keys: Keys | None) -> RunState:
        """Open the instruments, take the steps, end safe and judged."""
        began = self.clock.now()
        judgement = BoardJudgement(BoardVerdict.STOPPED, "something went wrong inside the program")
        opened: Opened | None = None
        try:
            self.out.emit(self.started(began))
            if simulated is not None:
                self.out.join(bystander(simulated, self.remark))
                if keys is not None:
                    keys.pace = PACE
            opened = self.opener(simulated).open(self.documents.bench, self.documents.drivers)
            for name, identity in opened.identities.items():
                self.out.emit(Identified(self.clock.now(), name, identity))
            if keys is not None:
                self.stop.also = lambda: OFF_WORDS if keys.off() else None
            judgement = self.runner(opened, keys).run()
            self.diagnose()
        except OutputNotOffError as error:
            judgement = BoardJudgement(BoardVerdict.STOPPED, str(error))
            self.notice(str(error))
        except AutobenchError as error:
            judgement = BoardJudgement(BoardVerdict.STOPPED, str(error))
        except KeyboardInterrupt:
            judgement = BoardJudgement(BoardVerdict.STOPPED, "stopped by Ctrl-C")
        finally:
            self.end(judgement, began, opened, simulated)
        return self.out.state

    def diagnose(self) -> None:
        """Who may be to blame; nothing for a board that no reading speaks against."""
        readings = self.out.state.readings
        if not accused(readings):
            return
        from autobench.diagnosis.board_model import board_model
        from autobench.diagnosis.ranking import predictions

        model = board_model(self.documents.board, self.plan.options)
        self.out.emit(Diagnosed(self.clock.now(), diagnose(predictions(model), readings)))

    def end(
        self, judgement: BoardJudgement, began: float, opened: Opened | None, simulated: SimulatedBench | None
    ) -> None:
        """Close everything and write the last event. A record that fails now is said in the verdict, not raised."""
        with self.stop.deferred():
            for trouble in opened.close() if opened is not None else ():
                self.notice(trouble)
            try:
                if simulated is not None:
                    self.out.emit(truth_of(simulated, self.clock.now()))
                self.out.emit(self.ended(judgement, began))
            except RecordError as error:
                lost = BoardJudgement(BoardVerdict.STOPPED, str(error))
                self.out.emit(self.ended(lost, began))
            finally:
                if simulated is not None:
                    simulated.close()

    def started(self, began: float) -> RunStarted:
        """The first event."""
        wall = RealClock().wall()
        return RunStarted(
            at=began,
            run=f"{wall:%Y%m%d-%H%M%S}-{secrets.token_hex(3)}",
            board=self.plan.board,
            serial=self.request.serial,
            options=self.plan.options,
            sequence=self.plan.sequence,
            bench=self.plan.bench,
            simulated=self.documents.bench.simulated != "no",
            operator=self.request.operator,
            steps=tuple(step.name for step in self.plan.steps),
            instruments=self.plan.instruments,
            files=self.documents.hashes,
            started=wall.isoformat(timespec="milliseconds"),
            step_seconds={step.name: step.seconds for step in self.plan.steps},
        )

    def ended(self, judgement: BoardJudgement, began: float) -> RunEnded:
        """The last event."""
        return RunEnded(self.clock.now(), str(judgement.verdict), judgement.reason, self.clock.now() - began)

    def opener(self, simulated: SimulatedBench | None) -> Opener:
        """How this run opens instruments."""
        library = simulated.library if simulated is not None else None
        return Opener(library, self.clock, self.exchanged, self.stop.check)

    def exchanged(self, exchange: Exchange) -> None:
        """An exchange as an event."""
        received = None if exchange.received is None else shown(exchange.received)
        self.out.emit(
            Exchanged(
                exchange.at, exchange.instrument, shown(exchange.sent), received, exchange.seconds, exchange.error
            )
        )

    def traced(self, sight: str, net: str, point: str, trace: Trace, started: bool) -> None:
        """A trace as an event."""
        self.out.emit(trace_taken(self.clock.now(), sight, (net, point), trace, started))

    def runner(self, opened: Opened, keys: Keys | None) -> Runner:
        """The runner with everything it works with; raises `UsageError` for a bench that cannot do a round."""
        meter = next(iter(opened.meters.values()), None)
        if meter is None:
            raise UsageError(
                "this bench has no meter: without one nothing can be proved off, and nothing is switched on"
            )
        plan = self.plan
        person = Person(keys, self.clock, self.out.emit, self.stop.check) if keys is not None else None
        hand = Hand(person, plan.spots, meter, plan.steady) if person is not None and plan.steady else None
        route = next((Route(relays) for relays in opened.relays.values()), None)
        touch = Touch(meter, route, hand)
        worked = {feed.rail: SupplyByHand(feed, hand) for feed in plan.feeds if feed.by_hand and hand is not None}
        power = Power(plan.feeds, opened.supplies, touch, self.clock, self.out.emit, self.stop, worked)
        if person is not None:
            person.tick = power.tick
        live = LiveBench(
            power=power,
            route=route,
            touch=touch,
            clock=self.clock,
            fits=lambda rail, amps: self.documents.board.other_fits(rail, plan.options, amps),
            line_hertz=plan.line_frequency,
            captures=self.captures(opened, touch, route, hand, power),
            person=person,
            hand=hand,
        )
        return Runner(plan, live, self.out.emit, self.stop.check)

    def captures(
        self, opened: Opened, touch: Touch, route: Route | None, hand: Hand | None, power: Power
    ) -> Captures | None:
        """The scope of the bench, where there is one."""
        scope = next(iter(opened.scopes.values()), None)
        if scope is None:
            return None
        probes = HeldProbes(hand, scope, power.wait) if hand is not None else None
        return Captures(scope, route, power.wait, self.traced, touch=touch, probes=probes)

    def remark(self, words: str) -> None:
        """A notice that is no alarm."""
        self.out.emit(Notice(self.clock.now(), words))

    def notice(self, words: str) -> None:
        """An urgent notice that must not fail."""
        try:
            self.out.emit(Notice(self.clock.now(), words, urgent=True))
        except RecordError:
            return
