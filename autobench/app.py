"""The one place that joins stages: what the command line and programs ask for becomes documents, a plan and a run.

The record is imported inside functions: a rehearsal keeps none, and its library takes half as long to load as the rest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from autobench.clock import Clock, RealClock
from autobench.commissioning.dialect_proof import LayeredOpener
from autobench.commissioning.proof_plan import SEQUENCE, ProofPlan, proof_plan
from autobench.commissioning.proof_session import prover_of
from autobench.commissioning.proved_accuracy import latest_proof
from autobench.documents.bench import Bench
from autobench.documents.gathered import read_bench_documents, read_bench_file, read_documents
from autobench.errors import OutputNotOffError, UsageError
from autobench.instruments.link import nothing, unheard
from autobench.instruments.opened import Opened, Opener
from autobench.judgement.verdict import BoardJudgement
from autobench.plan.acceptance import require_accepted
from autobench.plan.lacks import lack_words
from autobench.plan.one_point import plan_of_point
from autobench.plan.overlap import Together, overlaps
from autobench.plan.planner import Planner
from autobench.plan.steps import Plan
from autobench.run.all_off import all_off
from autobench.run.guard import BeatingClock
from autobench.run.person import Keys
from autobench.run.stop import StopSignals
from autobench.session import CheckRequest, Prepared, RunSession, Session
from autobench.simulation import (
    SimulatedKeys,
    Simulation,
    any_simulation,
    changed_by_faults,
    list_faults,
    open_proof,
    open_simulation,
    remark_of,
    with_plate,
)
from autobench.views.broadcast import Broadcast, View
from autobench.views.plan_sheet import Row, Sheet
from autobench.views.run_state import RunState

__all__ = [
    "EXIT_CODES",
    "CheckRequest",
    "Prepared",
    "RunState",
    "Simulation",
    "changed_by_faults",
    "check",
    "investigate",
    "list_faults",
    "planned",
    "prepare",
    "prove",
    "rehearsed",
    "remark_of",
    "switch_off",
]

EXIT_CODES = {"good": 0, "faulty": 1, "undecided": 3, "stopped": 4}
DEFAULT_BENCH = "simulated"
NOBODY = (
    "bench '{bench}' needs a person: the polarity is measured with tips held by hand, and power wants a key; "
    "run it in a terminal, without --unattended"
)


def check(
    request: CheckRequest,
    views: Sequence[View] = (),
    *,
    keys: Keys | None = None,
    clock: Clock | None = None,
) -> RunState:
    """Do one round; returns the folded state of the run, which has ended.

    `keys` is the keyboard of the person at the bench, or None for nobody there; `clock` replaces the real one for
    benches that are served. Raises `UsageError` and `FileError` before anything is opened, `RecordError` if the record
    cannot be opened. Whatever happens later ends in the verdict `stopped`.
    """
    from autobench.record.store import RunRecord, default_records, open_engine

    with StopSignals() as stop:
        prepared = prepare(request)
        documents, plan = prepared.documents, prepared.plan
        somebody = keys if not request.unattended else None
        if request.investigate and not request.unattended and somebody is None:
            somebody, views = simulated_keys(documents.bench, views)
        if plan.needs_hand and somebody is None:
            raise UsageError(NOBODY.format(bench=plan.bench))
        require_accepted(documents.bench, documents.drivers, plan.rails, somebody is None)
        simulated = open_simulation(request.simulation, documents, plan)
        now = simulated.clock if simulated is not None else clock or BeatingClock(stop.renew)
        engine = open_engine(request.records or default_records())
        with RunRecord(engine) as record:
            session = Session(request, prepared, now, stop, Broadcast(record, views, stop))
            session.proof = latest_proof(engine, documents.bench.bench, documents.hashes, RealClock().wall())
            return session.run(simulated, somebody)


def simulated_keys(bench: Bench, views: Sequence[View]) -> tuple[Keys | None, Sequence[View]]:
    """The keys that the person at a simulated bench presses, told of every prompt; nobody's at any other bench."""
    if bench.simulated != "in-process":
        return None, views
    keys = SimulatedKeys()
    return keys, [keys.prompted, *views]


def investigate(
    request: CheckRequest,
    views: Sequence[View] = (),
    *,
    keys: Keys | None = None,
    clock: Clock | None = None,
) -> RunState:
    """One round, then next checks one after another until the suspects are told apart, no check is left or the
    request's minutes are over; returns the folded state of the run. See `check`.

    On a simulated bench with nobody at the keyboard the simulated person does what is asked and presses the keys,
    unless the request is unattended.
    """
    return check(replace(request, investigate=True), views, keys=keys, clock=clock)


def prepare(request: CheckRequest) -> Prepared:
    """Read the files of a round and plan it; raises `UsageError` and `FileError`."""
    bench = DEFAULT_BENCH if request.bench is None else request.bench
    documents = with_plate(read_documents(request.board, bench, request.sequence))
    planner = Planner(documents.bench, documents.drivers, documents.board, request.options)
    if request.point is not None:
        return Prepared(documents, planner, plan_of_point(planner, documents.sequence, request.point))
    return Prepared(documents, planner, planner.plan(documents.sequence, request.only))


def rehearsed(request: CheckRequest, prepared: Prepared, views: Sequence[View] = ()) -> RunState:
    """The same round on the simulated bench inside the program, kept in no record; with nobody there, but for the
    simulated person that an investigation works with.

    `prepared` is `prepare(request)`, made once for many rounds. Raises `UsageError` for a bench that is not the
    simulated one or needs a hand, and `KeyboardInterrupt` if the round was stopped by a signal: there is no verdict
    then.
    """
    documents, plan = prepared.documents, prepared.plan
    somebody: Keys | None = None
    if request.investigate and not request.unattended:
        somebody, views = simulated_keys(documents.bench, views)
    if plan.needs_hand and somebody is None:
        raise UsageError(NOBODY.format(bench=plan.bench))
    require_accepted(documents.bench, documents.drivers, plan.rails, somebody is None)
    with StopSignals() as stop:
        simulated = open_simulation(request.simulation, documents, plan)
        if simulated is None:
            raise UsageError(
                f"bench '{plan.bench}' is not the simulated one inside the program: nothing is rehearsed there"
            )
        session = Session(request, prepared, simulated.clock, stop, Broadcast(None, views, stop))
        state = session.run(simulated, somebody)
        if stop.reason is not None:
            raise KeyboardInterrupt
    return state


class ProofSession(RunSession):
    """The proof of a bench, as a run without a board."""

    proving: ProofPlan

    def opener(self, simulated: Any) -> Opener:
        """As for a round, but whatever fails is told by its layer."""
        plain = super().opener(simulated)
        return LayeredOpener(plain.library, plain.clock, plain.on_exchange, plain.check, plain.renew)

    def judged(self, opened: Opened, keys: Keys | None) -> BoardJudgement:
        prover = prover_of(self.proving, self.files.bench, opened, keys, self.clock, self.out.emit, self.stop)
        self.watch = prover.watch
        return prover.run()


def prove(
    bench: str,
    simulation: Simulation,
    views: Sequence[View] = (),
    *,
    records: str | None = None,
    operator: str | None = None,
    keys: Keys | None = None,
    clock: Clock | None = None,
) -> RunState:
    """Prove that a bench is what its file says; returns the folded state of the proof, which has ended.

    `keys` and `clock` as for `check`. Raises `UsageError` and `FileError` before anything is opened.
    """
    from autobench.record.store import RunRecord, default_records, open_engine

    with StopSignals() as stop:
        files = read_bench_documents(bench)
        plan = proof_plan(files.bench, files.drivers)
        if keys is None and (plan.plan.needs_hand or (files.bench.simulated == "no" and plan.plan.feeds)):
            raise UsageError(f"bench '{files.bench.bench}' is proved by a person with it: run it in a terminal")
        require_accepted(files.bench, files.drivers, plan.plan.rails, keys is None)
        simulated = open_proof(simulation, files.bench)
        now = simulated.clock if simulated is not None else clock or BeatingClock(stop.renew)
        request = CheckRequest(plan.plan.board, bench=bench, sequence=SEQUENCE, records=records, operator=operator)
        with RunRecord(open_engine(records or default_records())) as record:
            session = ProofSession(request, files, plan.plan, now, stop, Broadcast(record, views, stop))
            session.proving = plan
            return session.run(simulated, keys)


def planned(request: CheckRequest) -> tuple[Plan, list[Row], list[str], tuple[Together, ...]]:
    """What `check` would do with this request: the plan, its steps as rows, what is lacking, and what may overlap.

    Opens nothing; raises `UsageError` and `FileError` as `check` does.
    """
    prepared = prepare(request)
    bench, drivers, plan = prepared.documents.bench, prepared.documents.drivers, prepared.plan
    lacks = lack_words(bench, drivers, plan, request.unattended)
    return plan, Sheet(plan, bench, drivers).rows(), lacks, overlaps(plan)


def switch_off(bench_file: str | None) -> list[str]:
    """Every output of a bench off, proved by the supplies' own readings; returns what was done, in words.

    Raises `OutputNotOffError` for an output that still shows volts, `LinkError` for a supply that does not answer.
    """
    bench, drivers = read_bench_file(DEFAULT_BENCH if bench_file is None else bench_file)
    by_hand = [rail for rail, feed in bench.feeds.items() if feed.by_hand]
    if by_hand:
        raise OutputNotOffError(
            f"NOT PROVED OFF – the supply of {' and '.join(by_hand)} is worked by hand: switch it off at its own switch"
        )
    simulated = any_simulation(bench)
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
