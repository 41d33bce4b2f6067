"""The JSON document of a run: the one machine-readable answer of `check --json`. Shape only, no judgement."""

from __future__ import annotations

import math
from typing import Any

from autobench.diagnosis.result import NextCheck, Suspect
from autobench.events import Investigated
from autobench.judgement.reading import Reading
from autobench.views.run_state import RunState


def run_document(state: RunState) -> dict[str, Any]:
    """The document of a run that has started and ended; raises `ValueError` for one that has not."""
    if state.started is None or state.ended is None:
        raise ValueError("a run has a document once it has started and ended")
    started, ended = state.started, state.ended
    remark = {"remark": started.remark} if started.remark else {}
    document = remark | {
        "run": started.run,
        "board": started.board,
        "serial": started.serial,
        "options": dict(started.options),
        "sequence": started.sequence,
        "simulated": started.simulated,
        "verdict": ended.verdict,
        "reason": ended.reason,
        "seconds": round(ended.seconds, 3),
        "readings": [reading_document(reading) for reading in state.readings],
        "suspects": [suspect_document(suspect) for suspect in state.diagnosis.suspects],
        "told_apart": state.diagnosis.told_apart,
        "group": list(state.diagnosis.group),
        "next_check": next_check_document(state.diagnosis.next_check),
    }
    if state.investigated is not None:
        document["investigation"] = investigation_document(state, state.investigated)
    return document


def investigation_document(state: RunState, ended: Investigated) -> dict[str, Any]:
    """What was done beyond the round, and how that ended."""
    return {
        "checks": [
            {"number": chosen.number, "kind": chosen.check.kind, **(next_check_document(chosen.check) or {})}
            for chosen in state.checks
        ],
        "made": ended.checks,
        "minutes": round(ended.minutes, 2),
        "ended": ended.how,
        "words": ended.words,
    }


def finite(value: float | None) -> float | None:
    """A number JSON has: an overload or no number is shown as none, and the reason says which it was."""
    return value if value is not None and math.isfinite(value) else None


def suspect_document(suspect: Suspect) -> dict[str, Any]:
    """One suspect as the document shows it."""
    return {
        "part": suspect.part,
        "net": suspect.net,
        "fault": suspect.fault,
        "probability": round(suspect.probability, 4),
        "for": list(suspect.for_),
        "against": list(suspect.against),
    }


def next_check_document(check: NextCheck | None) -> dict[str, Any] | None:
    """The next check as the document shows it."""
    if check is None:
        return None
    return {"what": check.what, "point": check.point, "minutes": check.minutes, "why": check.why}


def reading_document(reading: Reading) -> dict[str, Any]:
    """One reading as the document shows it."""
    return {
        "step": reading.step,
        "stage": reading.stage,
        "net": reading.net,
        "point": reading.point,
        "quantity": reading.quantity,
        "value": finite(reading.value),
        "unit": reading.unit,
        "uncertainty": finite(reading.uncertainty),
        "low": reading.low,
        "high": reading.high,
        "limit_from": reading.limit_from,
        "state": reading.state,
        "verdict": str(reading.verdict),
        "conditional": reading.conditional,
        "reason": reading.reason,
    }
