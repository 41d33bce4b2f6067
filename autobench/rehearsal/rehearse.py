"""The way in: a sequence against every fault the simulator knows for a board. It lays out and gathers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from autobench import app
from autobench.errors import UsageError
from autobench.rehearsal.cases import BOARD, cases_of, place_of
from autobench.rehearsal.minutes import minutes_of
from autobench.rehearsal.playing import Stage, explain, play, prepared_for
from autobench.rehearsal.result import Rehearsal
from autobench.rehearsal.undetectable import WHY
from autobench.rehearsal.workers import cores, spread

SILENT = tuple(WHY)  # never one of two faults at once: nothing of them shows


@dataclass(frozen=True)
class RehearsalRequest:
    """One `rehearse`, as asked for. `jobs` None takes all cores; 1 stays in this process."""

    board: str
    sequence: str = "baseline"
    seeds: int = 1
    first_seed: int = 0
    good: int = 20
    pairs: int = 0
    investigate: bool = False
    circuit: Path | None = None
    jobs: int | None = None

    def checked(self) -> RehearsalRequest:
        """The same; raises `UsageError` for numbers that make no sense."""
        for name, least in (("seeds", 0), ("first_seed", 0), ("good", 0), ("pairs", 0), ("jobs", 1)):
            number = getattr(self, name)
            if number is not None and number < least:
                raise UsageError(f"--{name.replace('_', '-')} wants a whole number from {least}, not {number}")
        return self


def rehearse(
    request: RehearsalRequest, progress: Callable[[int, int], None] | None = None, *, explained: bool = False
) -> Rehearsal:
    """Do every round and count; `progress` hears how many of how many are done. `explained`: for each fault that
    escaped it is worked out what would have shown it.

    The same request gives the same result, however many `jobs` share the work. Raises `UsageError` and `FileError`
    before anything is run, `KeyboardInterrupt` once all workers have ended.
    """
    request.checked()
    stage = Stage(request.board, request.sequence, request.circuit, request.investigate)
    prepared = prepared_for(stage)
    places = tuple(place_of(row) for row in app.list_faults(request.board, request.circuit))
    seeds = range(request.first_seed, request.first_seed + request.seeds)
    alone = {place.fault: "" for place in places if place.kind == BOARD and place.fault in SILENT}
    cases = list(cases_of(places, seeds, request.good, request.pairs, alone))
    heard = partial(told, progress, len(cases))
    outcomes = tuple(spread(partial(play, stage), cases, request.jobs or cores(), heard))
    remark = app.remark_of(app.Simulation(circuit=request.circuit), prepared.documents) or None
    plan, jobs = prepared.plan, request.jobs or cores()
    done = Rehearsal(plan.board, plan.sequence, places, outcomes, remark, minutes_of(prepared))
    if not explained:
        return done
    first = {outcome.case.places[0].fault: outcome for outcome in reversed(done.escaped)}
    told_of = spread(partial(explain, stage), list(first.values()), jobs, lambda _: None)
    known = {outcome.case: outcome for outcome in told_of}
    return replace(done, outcomes=tuple(known.get(outcome.case, outcome) for outcome in outcomes))


def told(progress: Callable[[int, int], None] | None, of: int, done: int) -> None:
    """`progress`, if anybody listens, with how many there are."""
    if progress is not None:
        progress(done, of)
