"""One rehearsed round: a case in, its outcome out. What is the same for every round of a board is made once a process.

It runs rounds through `autobench.app` and judges nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from autobench import app
from autobench.documents import places
from autobench.events import Event, TrueFault, Truth
from autobench.rehearsal.cases import Case
from autobench.rehearsal.escapes import would_show
from autobench.rehearsal.outcome import Outcome, outcome_of


@dataclass(frozen=True)
class Stage:
    """What all rounds of one rehearsal share."""

    board: str
    sequence: str = "baseline"
    circuit: Path | None = None
    investigate: bool = False


class Witness:
    """Notes what the simulator says was broken."""

    def __init__(self) -> None:
        self.truth: tuple[TrueFault, ...] = ()

    def __call__(self, event: Event) -> None:
        if isinstance(event, Truth):
            self.truth = event.faults


def request_of(stage: Stage, case: Case) -> app.CheckRequest:
    """The round of a case, as `autobench check` would be asked for it."""
    faults = tuple(place.written for place in case.places)
    return app.CheckRequest(
        board=stage.board,
        sequence=stage.sequence,
        unattended=not stage.investigate,  # the checks beyond a round are worked by the simulated person as well
        investigate=stage.investigate,
        simulation=app.Simulation(faults=faults, circuit=stage.circuit, seed=case.seed),
    )


def prepared_for(stage: Stage) -> app.Prepared:
    """Files and plan of a rehearsal, read once. Raises `UsageError` and `FileError`."""
    return prepared_of(request_of(stage, Case("good", 0)))


def prepared_of(request: app.CheckRequest) -> app.Prepared:
    """Files and plan of a round, read once as long as the words are the same and the files unchanged. Raises
    `UsageError` and `FileError`."""
    written = (places.find_board(request.board), places.find_sequence(request.sequence))
    states = tuple((path, path.stat().st_mtime_ns, path.stat().st_size) for path in written)
    return prepared_once(states, request.board, request.sequence, tuple(request.options.items()), request.only)


@lru_cache(maxsize=16)
def prepared_once(
    states: tuple[object, ...],  # noqa: ARG001 (part of the key: a file that was edited is read again)
    board: str,
    sequence: str,
    options: tuple[tuple[str, str], ...],
    only: tuple[str, ...],
) -> app.Prepared:
    """`prepared_of` for one state of the files."""
    return app.prepare(app.CheckRequest(board=board, sequence=sequence, options=dict(options), only=only))


def play(stage: Stage, case: Case) -> Outcome:
    """Do the round of a case."""
    witness, request, prepared = Witness(), request_of(stage, case), prepared_for(stage)
    state = app.rehearsed(request, prepared, [witness])
    return outcome_of(case, state, witness.truth)


def explain(stage: Stage, outcome: Outcome) -> Outcome:
    """An outcome with what its fault changes on the board, and the step that would read it."""
    request = request_of(stage, outcome.case)
    return replace(outcome, would_show=would_show(request, prepared_for(stage)))
