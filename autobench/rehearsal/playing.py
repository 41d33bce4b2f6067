"""One rehearsed round: a case in, its outcome out. What is the same for every round of a board is made once a process.

It runs rounds through `autobench.app` and judges nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from autobench import app
from autobench.events import Event, StepStarted, TrueFault, Truth
from autobench.rehearsal.cases import Case
from autobench.rehearsal.outcome import Outcome, outcome_of


@dataclass(frozen=True)
class Stage:
    """What all rounds of one rehearsal share."""

    board: str
    sequence: str = "baseline"
    circuit: Path | None = None


class Witness:
    """Notes what the simulator says was broken, and how many steps were taken."""

    def __init__(self) -> None:
        self.truth: tuple[TrueFault, ...] = ()
        self.steps = 0

    def __call__(self, event: Event) -> None:
        if isinstance(event, Truth):
            self.truth = event.faults
        if isinstance(event, StepStarted):
            self.steps += 1


def request_of(stage: Stage, case: Case) -> app.CheckRequest:
    """The round of a case, as `autobench check` would be asked for it."""
    faults = tuple(place.written for place in case.places)
    return app.CheckRequest(
        board=stage.board,
        sequence=stage.sequence,
        unattended=True,
        simulation=app.Simulation(faults=faults, circuit=stage.circuit, seed=case.seed),
    )


@lru_cache(maxsize=4)
def prepared_for(stage: Stage) -> app.Prepared:
    """Files and plan of a rehearsal, read once. Raises `UsageError` and `FileError`."""
    return app.prepare(request_of(stage, Case("good", 0)))


def play(stage: Stage, case: Case) -> Outcome:
    """Do the round of a case."""
    witness = Witness()
    state = app.rehearsed(request_of(stage, case), prepared_for(stage), [witness])
    return outcome_of(case, state, witness.truth, witness.steps)
