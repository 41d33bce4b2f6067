"""The event log read back: the same events, so that an old run is shown as it was."""

from __future__ import annotations

import json
from dataclasses import fields, replace
from pathlib import Path

import pytest

from autobench import events
from autobench.diagnosis.result import Diagnosis, NextCheck, Suspect
from autobench.errors import RecordError
from autobench.events import Event, plain
from autobench.judgement.verdict import Verdict
from autobench.record.log import events_of, read_events
from autobench.record.store import open_engine
from tests.record.shop_runs import STARTED, Write, taken

SUSPECT = Suspect("U1", None, "cpu-dead", 0.875, ("FETCH is flat",), ())
DIAGNOSIS = Diagnosis((SUSPECT,), False, ("U1", "socket U1"), NextCheck("swap U1", "U1.27", 5.0, "the quickest"))
PLACE = events.TouchPlace("meter", "U18.8", "U18.16", "U18, ram", "8", "component side", "+5V", "4.60 V .. 5.20 V")
ONE_OF_EACH: list[Event] = [
    STARTED,
    events.Identified(0.1, "supply", "ALDER STREET,PS-3,1,1.0"),
    events.StepStarted(0.2, "line FETCH", "cpu", "look at FETCH"),
    taken(Verdict.OUTSIDE, reason="FETCH is high"),
    events.TraceTaken(0.3, "FETCH", "FETCH", "U1.27", 1e-6, 0.0, 0.04, 128.0, 2.5, (0.0, 255.0), False, "uint8", b""),
    events.PowerChanged(0.4, "+5V", "on", 5.0, 1.3),
    events.Watched(0.5, "+5V", 5.0, 0.7, False),
    events.Exchanged(0.6, "supply", "*IDN?", None, 0.1, "no reply"),
    events.Notice(0.7, "the lead is hot", urgent=True),
    events.Prompted(
        0.71, "touch", "rail +5V far", "Hold it there.", (("Enter", "take it"),), PLACE, "+5V", 5.0, 1.0, True
    ),
    events.PromptProgress(0.72, "touching, 4.98 V", 0.5, "abc"),
    events.PromptEnded(0.73, "skipped", "cannot get there"),
    events.StepTakenAgain(0.74, "rail +5V far", "the operator went back"),
    events.Diagnosed(0.8, DIAGNOSIS),
    events.CheckChosen(0.82, 1, NextCheck("swap U1", "U1.27", 5.0, "the quickest")),
    events.Investigated(0.84, 1, 5.0, "told apart", "told apart after one check"),
    events.Truth(0.9, {"output 1": False}, {"+5V": 5.01}, 2),
    events.RunEnded(1.0, "faulty", "line FETCH", 1.0),
]


def logged(event: Event) -> tuple[str, float, str]:
    """An event as the log has it."""
    data = plain(event)
    return type(event).__name__, data.pop("at"), json.dumps(data)


def test_every_kind_of_event_comes_back_equal() -> None:
    """Each event, nested readings and diagnoses included, equals the one that was written."""
    kinds = {name for name, kind in vars(events).items() if isinstance(kind, type) and issubclass(kind, Event)}
    assert {type(event).__name__ for event in ONE_OF_EACH} == kinds - {"Event"}
    back = list(events_of([logged(event) for event in ONE_OF_EACH]))
    assert back == ONE_OF_EACH
    assert isinstance(back[3], events.ReadingTaken)
    assert back[3].reading.verdict is Verdict.OUTSIDE


def test_a_run_is_read_back_in_order_without_its_bulk(records: Path, write: Write) -> None:
    """Conversations with instruments are read only when asked for."""
    write(
        events.Exchanged(0.1, "supply", "*IDN?", "x", 0.1, None), taken(), events.Watched(3.0, "+5V", 5.0, 0.7, False)
    )
    engine = open_engine(str(records))
    assert [type(event).__name__ for event in read_events(engine, STARTED.run)] == [
        "RunStarted",
        "ReadingTaken",
        "RunEnded",
    ]
    assert len(read_events(engine, STARTED.run, bulk=True)) == 5
    engine.dispose()


def test_a_kind_of_another_time_is_passed_over_and_new_fields_take_their_default() -> None:
    """A log written by a neighbouring version can be read as far as it is known."""
    kind, at, data = logged(events.Notice(0.7, "hot", urgent=False))
    older = {name: value for name, value in json.loads(data).items() if name != "urgent"} | {"colour": "red"}
    back = list(events_of([("Teleported", 0.0, "{}"), (kind, at, json.dumps(older))]))
    assert back == [events.Notice(0.7, "hot")]


@pytest.mark.parametrize("data", ["", "[]", "{}", '{"reading": 3}', '{"reading": {"verdict": "splendid"}}'])
def test_an_entry_that_makes_no_sense_is_told_in_words(data: str) -> None:
    """A damaged log is the record's trouble, and is said as such."""
    with pytest.raises(RecordError, match="the record is damaged"):
        list(events_of([("ReadingTaken", 0.0, data)]))


def test_a_field_of_bytes_is_the_only_one_that_may_be_missing() -> None:
    """Nothing but samples is kept outside the log."""
    (found,) = [item.name for item in fields(events.TraceTaken) if item.type == "bytes"]
    assert found == "samples"
    (back,) = events_of([logged(replace(ONE_OF_EACH[4], samples=b"\x01"))])  # type: ignore[call-arg]
    assert back == ONE_OF_EACH[4]
