"""What a rehearsed round came to, small enough to be sent between processes and kept by the thousand. Values only."""

from __future__ import annotations

from dataclasses import dataclass

from autobench.app import RunState
from autobench.events import TrueFault
from autobench.judgement.verdict import Verdict
from autobench.rehearsal.cases import Case


@dataclass(frozen=True)
class NamedSuspect:
    """A suspect without its reasons."""

    part: str | None
    net: str | None
    fault: str
    probability: float


@dataclass(frozen=True)
class Outcome:
    """One case and how its round ended. `truth` is what the simulator says was broken; `void` the reasons of readings
    that were void, `outside` the steps that spoke against the board, `would_show` what else would have; `seconds` the
    round took on the bench's clock."""

    case: Case
    verdict: str
    reason: str | None
    truth: tuple[TrueFault, ...] = ()
    suspects: tuple[NamedSuspect, ...] = ()
    told_apart: bool = True
    group: tuple[str, ...] = ()
    void: tuple[str, ...] = ()
    outside: tuple[str, ...] = ()
    would_show: tuple[str, ...] = ()
    extra_checks: int = 0
    seconds: float = 0.0

    @property
    def detected(self) -> bool:
        """Whether the board was called faulty."""
        return self.verdict == "faulty"


def outcome_of(case: Case, state: RunState, truth: tuple[TrueFault, ...]) -> Outcome:
    """The outcome of an ended run, with the checks that were made beyond the round."""
    ended, readings = state.ended, state.readings
    accusing = [one for one in readings if one.verdict is Verdict.OUTSIDE and not one.conditional]
    return Outcome(
        case=case,
        verdict=ended.verdict if ended is not None else "stopped",
        reason=ended.reason if ended is not None else None,
        truth=truth,
        suspects=tuple(
            NamedSuspect(one.part, one.net, one.fault, round(one.probability, 4)) for one in state.diagnosis.suspects
        ),
        told_apart=state.diagnosis.told_apart,
        group=state.diagnosis.group,
        void=tuple(dict.fromkeys(one.reason or "" for one in readings if one.verdict is Verdict.VOID)),
        outside=tuple(dict.fromkeys(one.step for one in accusing)),
        extra_checks=len(state.checks),
        seconds=ended.seconds if ended is not None else 0.0,
    )
