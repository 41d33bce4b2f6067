"""The state of a run as a pure fold of its events. Every view shows this, so that no two can disagree."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from autobench.diagnosis.result import Diagnosis
from autobench.events import (
    CheckChosen,
    Diagnosed,
    Event,
    Exchanged,
    Identified,
    Investigated,
    Notice,
    PowerChanged,
    Prompted,
    PromptEnded,
    PromptProgress,
    ReadingTaken,
    RunEnded,
    RunStarted,
    StepStarted,
    StepTakenAgain,
    Watched,
)
from autobench.judgement.reading import Reading


@dataclass(frozen=True)
class RunState:
    """Everything a view may show of a run, as of the last event folded in."""

    started: RunStarted | None = None
    step: StepStarted | None = None
    readings: tuple[Reading, ...] = ()
    notices: tuple[Notice, ...] = ()
    outputs: tuple[tuple[str, PowerChanged], ...] = ()
    looks: tuple[tuple[str, Watched], ...] = ()
    identities: tuple[tuple[str, str], ...] = ()
    prompt: Prompted | None = None
    progress: PromptProgress | None = None
    diagnosis: Diagnosis = field(default_factory=Diagnosis)
    checks: tuple[CheckChosen, ...] = ()
    investigated: Investigated | None = None
    ended: RunEnded | None = None


def fold(state: RunState, event: Event) -> RunState:
    """The state after `event`; events a view does not show leave it as it was."""
    match event:
        case Exchanged():  # nine of ten events, which no view folds
            return state
        case RunStarted():
            return replace(state, started=event)
        case Identified():
            return replace(state, identities=(*state.identities, (event.instrument, event.identity)))
        case StepStarted():
            return replace(state, step=event)
        case ReadingTaken():
            return replace(state, readings=(*state.readings, event.reading))
        case Notice():
            return replace(state, notices=(*state.notices, event))
        case PowerChanged():
            return replace(state, outputs=tuple({**dict(state.outputs), event.rail: event}.items()))
        case Watched():
            return replace(state, looks=tuple({**dict(state.looks), event.rail: event}.items()))
        case Prompted():
            return replace(state, prompt=event, progress=None)
        case PromptProgress():
            return replace(state, progress=event)
        case PromptEnded():
            return replace(state, prompt=None, progress=None)
        case StepTakenAgain():
            left = tuple(reading for reading in state.readings if reading.step != event.step)
            return replace(state, readings=left)
        case Diagnosed():
            return replace(state, diagnosis=event.diagnosis)
        case CheckChosen():
            return replace(state, checks=(*state.checks, event))
        case Investigated():
            return replace(state, investigated=event)
        case RunEnded():
            return replace(state, ended=event)
        case _:
            return state
