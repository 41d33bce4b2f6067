"""The one place that joins stages: documents, plan, instruments, run, record and views. It decides nothing itself."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from autobench.clock import Clock, RealClock
from autobench.diagnosis.diagnosis import accused, diagnose
from autobench.documents import places
from autobench.documents.board import Board
from autobench.documents.gathered import Documents, read_bench_file, read_documents
from autobench.documents.reading import read
from autobench.errors import AutobenchError, OutputNotOffError, UsageError
from autobench.events import Diagnosed, Exchanged, Identified, Notice, RunEnded, RunStarted, Truth, trace_taken
from autobench.instruments.exchange import Exchange, shown
from autobench.instruments.link import nothing, unheard
from autobench.instruments.opened import Opened, Opener
from autobench.judgement.verdict import BoardJudgement, BoardVerdict
from autobench.plan.acceptance import UNGUARDED, guard_words, require_accepted, unguarded
from autobench.plan.planner import Planner
from autobench.plan.steps import Plan
from autobench.record.process import this_process
from autobench.record.store import RunRecord, default_records, open_engine
from autobench.run.actions import Bench as LiveBench
from autobench.run.all_off import all_off
from autobench.run.captures import Captures
from autobench.run.guard import BeatingClock, Guard, NoGuard, guard_for
from autobench.run.power import Power
from autobench.run.route import Route
from autobench.run.runner import Runner
from autobench.run.stop import StopSignals
from autobench.run.touch import Touch
from autobench.views.broadcast import Broadcast, View
from autobench.views.run_state import RunState

if TYPE_CHECKING:
    from autobench.signals.trace import Trace
    from simulated_instruments.bench import SimulatedBench

EXIT_CODES = {"good": 0, "faulty": 1, "undecided": 3, "stopped": 4}
DEFAULT_BENCH = "simulated"
LONGEST_ANSWER = 3600.0  # s


@dataclass(frozen=True)
class Simulation:
    """What only the simulated bench understands."""

    faults: tuple[str, ...] = ()
    soldered: Mapping[str, str] = field(default_factory=dict)
    circuit: Path | None = None
    seed: int | None = None

    @property
    def wanted(self) -> bool:
        """Whether anything was asked for."""
        return bool(self.faults or self.soldered or self.circuit is not None or self.seed is not None)


@dataclass(frozen=True)
class CheckRequest:
    """One `check`, as asked for."""

    board: str
    serial: str | None = None
    options: Mapping[str, str] = field(default_factory=dict)
    bench: str | None = None
    sequence: str = "baseline"
    only: tuple[str, ...] = ()
    records: str | None = None
    unattended: bool = False
    operator: str | None = None
    simulation: Simulation = field(default_factory=Simulation)


def check(
    request: CheckRequest,
    views: Sequence[View] = (),
    *,
    ask: Callable[[str], bool] | None = None,
    clock: Clock | None = None,
) -> RunState:
    """Do one round; returns the folded state of the run, which has ended.

    Raises `UsageError` and `FileError` before anything is opened, `RecordError` if the record cannot be opened.
    Whatever happens later ends in the verdict `stopped`. `clock` replaces the real one for benches that are served.
    """
    with StopSignals() as stop:
        documents = read_documents(
            request.board, DEFAULT_BENCH if request.bench is None else request.bench, request.sequence
        )
        planner = Planner(documents.bench, documents.drivers, documents.board, request.options)
        plan = planner.plan(documents.sequence, request.only)
        require_accepted(documents.bench, documents.drivers, plan.rails, request.unattended)
        simulated = open_simulation(request.simulation, documents, plan)
        now = simulated.clock if simulated is not None else clock or BeatingClock(stop.renew)
        with RunRecord(open_engine(request.records or default_records())) as record:
            session = Session(request, documents, plan, now, stop, Broadcast(record, views, stop))
            return session.run(simulated, ask)


def open_simulation(wanted: Simulation, documents: Documents, plan: Plan) -> SimulatedBench | None:
    """The in-process bench if the bench file says so; raises `UsageError` for options that only it understands."""
    if documents.bench.simulated != "in-process":
        if wanted.wanted:
            raise UsageError("--fault, --soldered, --circuit and --seed are for the simulated bench only")
        return None
    from simulated_instruments.bench import SimulatedBench

    soldered = {**plan.options, **documents.board.resolve_options({**plan.options, **wanted.soldered})}
    return SimulatedBench.open(
        documents.board.board, options=soldered, faults=wanted.faults, seed=wanted.seed or 0, circuit=wanted.circuit
    )


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

    def run(self, simulated: SimulatedBench | None, ask: Callable[[str], bool] | None) -> RunState:
        """Open the instruments, take the steps, end safe and judged."""
        began = self.clock.now()
        judgement = BoardJudgement(BoardVerdict.STOPPED, "something went wrong inside the program")
        opened: Opened | None = None
        try:
            self.out.emit(started := self.started(began))
            if started.guard.startswith(UNGUARDED):
                self.out.emit(Notice(began, started.guard))
            opened = self.opener(simulated).open(self.documents.bench, self.documents.drivers)
            for name, identity in opened.identities.items():
                self.out.emit(Identified(self.clock.now(), name, identity))
            self.stop.guard = self.guard(opened)
            judgement = self.runner(opened, None if self.request.unattended else self.patient(ask)).run()
            self.stop.guard.disarm()
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

    def patient(self, ask: Callable[[str], bool] | None) -> Callable[[str], bool] | None:
        """`ask` under a lease as long as a person may take: a question blocks the loop that renews it."""
        if ask is None:
            return None

        def asked(words: str) -> bool:
            self.stop.renew(LONGEST_ANSWER)
            try:
                return ask(words)
            finally:
                self.stop.renew()

        return asked

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
            self.stop.guard.close()
            for trouble in opened.close() if opened is not None else ():
                self.notice(trouble)
            known = self.out.lost
            if simulated is not None:
                self.out.emit(truth_of(simulated, self.clock.now()))
            self.out.emit(self.ended(judgement, began))
            if self.out.lost is not known:  # lost only now: nothing of this run may be called kept
                self.out.emit(self.ended(BoardJudgement(BoardVerdict.STOPPED, str(self.out.lost)), began))
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
            guard=guard_words(self.documents.bench, self.plan.rails),
            process=this_process(),
        )

    def ended(self, judgement: BoardJudgement, began: float) -> RunEnded:
        """The last event."""
        return RunEnded(self.clock.now(), str(judgement.verdict), judgement.reason, self.clock.now() - began)

    def opener(self, simulated: SimulatedBench | None) -> Opener:
        """How this run opens instruments."""
        library = simulated.library if simulated is not None else None
        return Opener(library, self.clock, self.exchanged, self.stop.check, self.stop.renew)

    def guard(self, opened: Opened) -> Guard:
        """Who switches off if this process cannot; raises `GuardError` before anything was switched on."""
        if self.documents.bench.simulated == "in-process":
            return NoGuard()
        return guard_for(self.plan.feeds, opened.supplies, unguarded(self.documents.bench), self.clock)

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

    def runner(self, opened: Opened, ask: Callable[[str], bool] | None) -> Runner:
        """The runner with everything it works with."""
        if not opened.meters or not opened.relays:
            raise UsageError("this bench has no meter behind relays; rounds by hand probe are not possible yet")
        route = Route(next(iter(opened.relays.values())))
        touch = Touch(next(iter(opened.meters.values())), route)
        power = Power(self.plan.feeds, opened.supplies, touch, self.clock, self.out.emit, self.stop, self.stop.guard)
        board, options = self.documents.board, self.plan.options
        scope = next(iter(opened.scopes.values()), None)
        live = LiveBench(
            power=power,
            route=route,
            touch=touch,
            clock=self.clock,
            fits=lambda rail, amps: board.other_fits(rail, options, amps),
            line_hertz=self.plan.line_frequency,
            captures=Captures(scope, route, power.wait, self.traced) if scope is not None else None,
        )
        return Runner(self.plan, live, self.out.emit, self.stop.check, ask)

    def notice(self, words: str) -> None:
        """An urgent notice that must not fail."""
        with self.stop.deferred():
            self.out.emit(Notice(self.clock.now(), words, urgent=True))


def truth_of(simulated: SimulatedBench, at: float) -> Truth:
    """What the simulator knows of its outputs."""
    truth = simulated.truth()
    return Truth(
        at=at,
        outputs={f"output {number}": output.on for number, output in truth.outputs.items()},
        most_volts=dict(truth.most_volts),
        times_on=truth.times_on,
    )


def switch_off(bench_file: str | None) -> list[str]:
    """Every output of a bench off, proved by the supplies' own readings; returns what was done, in words.

    Raises `OutputNotOffError` for an output that still shows volts, `LinkError` for a supply that does not answer.
    """
    bench, drivers = read_bench_file(DEFAULT_BENCH if bench_file is None else bench_file)
    simulated = None
    if bench.simulated == "in-process":
        from simulated_instruments.bench import SimulatedBench, list_boards

        simulated = SimulatedBench.open(list_boards()[0], options={}, faults=(), seed=0)
    clock: Clock = simulated.clock if simulated is not None else RealClock()
    opener = Opener(simulated.library if simulated else None, clock, unheard, nothing)
    with StopSignals() as stop, stop.deferred():
        opened = opener.open(bench, drivers, only_supplies=True)
        try:
            return all_off(opened.supplies, clock)
        finally:
            opened.close()
            if simulated is not None:
                simulated.close()


def list_faults(board: str) -> list[dict[str, str | None]]:
    """The faults the simulator knows for a board, as the contract's rows."""
    from simulated_instruments import bench

    name = read(places.find_board(board), Board).board
    return [
        {"fault": row.fault, "part": row.part, "net": row.net, "kind": row.kind, "words": row.words}
        for row in bench.list_faults(name)
    ]
