"""One run from its first event to its last: opens the instruments, runs the plan, ends safe, judged and recorded.

It joins stages and decides nothing itself.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from autobench.clock import Clock, RealClock
from autobench.commissioning.proved_accuracy import Proof, put_to_use
from autobench.diagnosis.diagnosis import accused, diagnose
from autobench.diagnosis.means import BY_HAND, Means
from autobench.diagnosis.result import Diagnosis
from autobench.documents.address import share_a_bus
from autobench.documents.bench import Bench
from autobench.documents.gathered import BenchDocuments, Documents
from autobench.errors import AutobenchError, OutputNotOffError
from autobench.events import (
    Diagnosed,
    Exchanged,
    Identified,
    Notice,
    RunEnded,
    RunStarted,
    trace_taken,
)
from autobench.instruments.exchange import Exchange
from autobench.instruments.opened import Opened, Opener
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import BoardJudgement, BoardVerdict
from autobench.plan.acceptance import UNGUARDED, guard_words, unguarded
from autobench.plan.extra_looks import ExtraLooks
from autobench.plan.planner import Planner
from autobench.plan.steps import Plan
from autobench.record.process import this_process
from autobench.run.errands import Errands
from autobench.run.guard import Guard, NoGuard, guard_for
from autobench.run.investigate import Investigation
from autobench.run.live_bench import live_bench
from autobench.run.person import OFF_WORDS, Keys
from autobench.run.runner import Runner
from autobench.run.stop import StopSignals
from autobench.simulation import SimulatedKeys, Simulation, bystander, remark_of, truth_of
from autobench.views.broadcast import Broadcast
from autobench.views.run_state import RunState

if TYPE_CHECKING:
    from autobench.diagnosis.ranking import Predictions
    from autobench.signals.trace import Trace
    from simulated_instruments.bench import SimulatedBench

OUT_OF_MEMORY = "this program ran out of memory"
LONGEST_KEPT = 2000  # bytes of a reply in the record; longer ones are samples, which are kept as such
PACE = 4.0  # a simulated bench with a person at the keyboard runs so much faster than the clock on the wall


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
    investigate: bool = False  # go on with checks beyond the round
    minutes: float | None = None  # … for so long at most
    one_by_one: bool | None = None  # no instrument works while another does; None: so where the clock is stepped

    def beside(self, clock: Clock, bench: Bench) -> bool:
        """Whether instruments may work at the same time: not where they share a bus, and not on a stepped clock, which
        knows no meanwhile; what is done one after another on that is the same to the last digit each time."""
        if share_a_bus(instrument.address for instrument in bench.instruments.values()):
            return False
        return isinstance(clock, RealClock) if self.one_by_one is None else not self.one_by_one


@dataclass(frozen=True)
class Prepared:
    """What a round is done by: the files as they were read, and the plan made of them; good for many rounds."""

    documents: Documents
    planner: Planner
    plan: Plan

    @cached_property
    def predictions(self) -> Predictions:
        """What the readings of this board would be under every fault; made when first wanted."""
        from autobench.diagnosis.board_model import board_model
        from autobench.diagnosis.ranking import predictions

        return predictions(board_model(self.documents.board, self.plan.options))


class RunSession:
    """A run from its first event to its last; what is done in between is the business of its kinds."""

    def __init__(
        self, request: CheckRequest, files: BenchDocuments, plan: Plan, clock: Clock, stop: StopSignals, out: Broadcast
    ) -> None:
        self.request = request
        self.files = files
        self.plan = plan
        self.clock = clock
        self.stop = stop
        self.out = out
        self.watch: Callable[[], None] = lambda: None
        self.errands = Errands(clock, out.emit, self.checked, beside=request.beside(clock, files.bench))
        self.proof: Proof | None = None  # what is known of this bench's accuracy beyond its driver files

    def run(self, simulated: SimulatedBench | None, keys: Keys | None) -> RunState:
        """Open the instruments, take the steps, end safe and judged."""
        began = self.clock.now()
        judgement = BoardJudgement(BoardVerdict.STOPPED, "something went wrong inside the program")
        opened: Opened | None = None
        try:
            self.out.emit(started := self.started(began))
            if started.guard.startswith(UNGUARDED):
                self.out.emit(Notice(began, started.guard))
            if started.remark:
                self.out.emit(Notice(began, started.remark))
            if simulated is not None:
                own = isinstance(keys, SimulatedKeys)
                if isinstance(keys, SimulatedKeys):
                    keys.felt = simulated.felt
                self.out.join(bystander(simulated, self.remark, keys_know=own))
                if keys is not None:
                    keys.pace = PACE
            opened = self.opener(simulated).open(self.files.bench, self.files.drivers)
            for name, identity in opened.identities.items():
                self.out.emit(Identified(self.clock.now(), name, identity))
            for words in put_to_use(self.proof, opened):
                self.remark(words)
            self.stop.guard = self.guard(opened)
            if keys is not None:
                self.stop.also = lambda: OFF_WORDS if keys.off() else None
            judgement = self.judged(opened, keys)
            self.stop.guard.disarm()
        except OutputNotOffError as error:
            judgement = BoardJudgement(BoardVerdict.STOPPED, str(error))
            self.notice(str(error))
        except AutobenchError as error:
            judgement = BoardJudgement(BoardVerdict.STOPPED, str(error))
        except MemoryError:
            judgement = BoardJudgement(BoardVerdict.STOPPED, OUT_OF_MEMORY)
        except KeyboardInterrupt:
            judgement = BoardJudgement(BoardVerdict.STOPPED, "stopped by Ctrl-C")
        finally:
            self.end(judgement, began, opened, simulated)
        return self.out.state

    def judged(self, opened: Opened, keys: Keys | None) -> BoardJudgement:
        """Takes the steps with the opened instruments, and says what they come to; ends with everything off."""
        raise NotImplementedError

    def about(self) -> str:
        """What whoever reads of this run should know from the start; empty for nothing."""
        return ""

    def end(
        self, judgement: BoardJudgement, began: float, opened: Opened | None, simulated: SimulatedBench | None
    ) -> None:
        """Close everything and write the last event. A record that fails now is said in the verdict, not raised."""
        with self.stop.deferred():
            self.errands.quiet()
            self.errands.end()
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
            simulated=self.files.bench.simulated != "no",
            operator=self.request.operator,
            steps=tuple(step.name for step in self.plan.steps),
            instruments=self.plan.instruments,
            files=self.files.hashes,
            started=wall.isoformat(timespec="milliseconds"),
            step_seconds={step.name: step.seconds for step in self.plan.steps},
            guard=guard_words(self.files.bench, self.plan.rails),
            process=this_process(),
            remark=self.about(),
        )

    def ended(self, judgement: BoardJudgement, began: float) -> RunEnded:
        """The last event."""
        return RunEnded(self.clock.now(), str(judgement.verdict), judgement.reason, self.clock.now() - began)

    def opener(self, simulated: SimulatedBench | None) -> Opener:
        """How this run opens instruments."""
        library = simulated.library if simulated is not None else None
        return Opener(library, self.clock, self.exchanged, self.checked, self.stop.renew)

    def checked(self) -> None:
        """Before every exchange with any instrument: whether the run goes on, and how the live outputs stand."""
        if not self.errands.away():
            self.stop.check()
            self.watch()

    def guard(self, opened: Opened) -> Guard:
        """Who switches off if this process cannot; raises `GuardError` before anything was switched on."""
        if self.files.bench.simulated == "in-process":
            return NoGuard()
        feeds = [feed for feed in self.plan.feeds if not feed.by_hand]
        return guard_for(feeds, opened.supplies, unguarded(self.files.bench), self.clock)

    def exchanged(self, exchange: Exchange) -> None:
        """An exchange as an event."""
        came = exchange.received
        self.errands.emit(
            Exchanged(
                exchange.at,
                exchange.instrument,
                exchange.sent.decode("latin-1"),
                None if came is None else came[:LONGEST_KEPT].decode("latin-1"),
                exchange.seconds,
                exchange.error,
                None if came is None else len(came),
            )
        )

    def traced(self, sight: str, net: str, point: str, trace: Trace, started: bool) -> None:
        """A trace as an event."""
        self.errands.emit(trace_taken(self.clock.now(), sight, (net, point), trace, started))

    def remark(self, words: str) -> None:
        """A notice that is no alarm."""
        self.out.emit(Notice(self.clock.now(), words))

    def notice(self, words: str) -> None:
        """An urgent notice that must not fail."""
        with self.stop.deferred():
            self.out.emit(Notice(self.clock.now(), words, urgent=True))


class Session(RunSession):
    """The round on one board."""

    def __init__(
        self, request: CheckRequest, prepared: Prepared, clock: Clock, stop: StopSignals, out: Broadcast
    ) -> None:
        super().__init__(request, prepared.documents, prepared.plan, clock, stop, out)
        self.prepared = prepared
        self.documents = prepared.documents

    def about(self) -> str:
        return remark_of(self.request.simulation, self.documents)

    def judged(self, opened: Opened, keys: Keys | None) -> BoardJudgement:
        """The round, the checks beyond it where they are wanted, and who may be to blame."""
        if keys is not None and self.plan.steady:
            self.errands.beside = False  # where somebody holds tips everything is done one after another
        bench = live_bench(self.plan, self.documents.board, opened, keys, self.stop, self.errands, self.traced)
        self.watch = bench.power.tick
        runner = Runner(self.plan, bench, self.out.emit, self.stop.check)
        if self.request.investigate:
            looks = ExtraLooks(self.prepared.planner)
            further = Investigation(
                self.plan, bench, runner, looks, self.diagnosis, self.out.emit, self.request.minutes
            )
            return runner.run(further.run)
        judgement = runner.run()
        readings = self.out.state.readings
        if accused(readings):
            self.out.emit(Diagnosed(self.clock.now(), self.diagnosis(readings, BY_HAND)))
        return judgement

    def diagnosis(self, readings: Sequence[Reading], means: Means) -> Diagnosis:
        """Who may be to blame; nothing for a board that no reading speaks against."""
        return diagnose(self.prepared.predictions, readings, means) if accused(readings) else Diagnosis()
