"""The JSON document: exactly the keys that other programs rely on."""

from __future__ import annotations

import json

import pytest

from autobench.diagnosis.result import Diagnosis, NextCheck, Suspect
from autobench.events import Diagnosed, ReadingTaken, RunEnded, RunStarted
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.views.document import run_document
from autobench.views.run_state import RunState, fold

RUN_KEYS = [
    "run", "board", "serial", "options", "sequence", "simulated", "verdict", "reason", "seconds", "readings",
    "suspects", "told_apart", "group", "next_check",
]  # fmt: skip
READING_KEYS = [
    "step", "stage", "net", "point", "quantity", "value", "unit", "uncertainty", "low", "high", "limit_from", "state",
    "verdict", "conditional", "reason",
]  # fmt: skip


def finished() -> RunState:
    started = RunStarted(
        at=0.0,
        run="r1",
        board="tarnbeck-8",
        serial=None,
        options={"video": "late"},
        sequence="baseline",
        bench="simulated",
        simulated=True,
        operator=None,
        steps=(),
        instruments={},
        files={},
        started="2026-01-02T03:04:05+00:00",
    )
    reading = Reading(
        step="line FETCH",
        stage="cpu",
        net="FETCH",
        point="U1.27",
        quantity="rate",
        value=0.0,
        unit="Hz",
        uncertainty=1.0,
        low=310e3,
        high=620e3,
        limit_from="board file",
        verdict=Verdict.OUTSIDE,
        state="low",
        reason="FETCH is low",
    )
    suspect = Suspect("U1", "FETCH", "fetch-strobe-dead", 0.71234567, ("a",), ("b",))
    diagnosis = Diagnosis((suspect,), False, ("U1", "U19"), NextCheck("look", "U1.27", 1.0, "why"))
    state = RunState()
    for event in (
        started,
        ReadingTaken(1.0, reading),
        Diagnosed(2.0, diagnosis),
        RunEnded(3.0, "faulty", "FETCH", 3.0),
    ):
        state = fold(state, event)
    return state


def test_the_document_has_the_keys_of_the_contract_in_order() -> None:
    """Run, reading, suspect and next check carry the agreed keys and nothing else."""
    document = run_document(finished())
    assert list(document) == RUN_KEYS
    assert list(document["readings"][0]) == READING_KEYS
    assert list(document["suspects"][0]) == ["part", "net", "fault", "probability", "for", "against"]
    assert list(document["next_check"]) == ["what", "point", "minutes", "why"]
    assert document["told_apart"] is False
    assert document["group"] == ["U1", "U19"]


def test_the_document_is_plain_json() -> None:
    """No value needs anything but standard JSON."""
    text = json.dumps(run_document(finished()), allow_nan=False)
    assert json.loads(text)["readings"][0]["verdict"] == "outside"


def test_a_run_that_has_not_ended_has_no_document() -> None:
    """Half a run is not printed as if it were one."""
    with pytest.raises(ValueError, match="ended"):
        run_document(RunState())
