"""The commands on the record: exit codes, words, and that nothing from outside gives the terminal orders."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest

from autobench.__main__ import main
from autobench.events import Notice, ReadingTaken, RunEnded, RunStarted
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.record.store import RunRecord, open_engine

HOSTILE = "<b>A7</b>\x1b[2J\x07\u202e=c"
COMMANDS = [
    ["history"],
    ["show", "last"],
    ["repair", "last", "U1 swapped"],
    ["compare", "last", "x"],
    ["export", "last"],
]


def write(records: Path, run: str, verdict: str, serial: str = HOSTILE, board: str = "tarnbeck-8") -> None:
    """One short run with hostile names in every place that takes words."""
    started = RunStarted(
        at=0.0,
        run=run,
        board=board,
        serial=serial,
        options={"video\x1b": "late\x1b"},
        sequence="base\x1bline",
        bench="bench\x1b",
        simulated=True,
        operator="Ann\x1b",
        steps=("line\x1b",),
        instruments={"supply\x1b": "ps-3\x1b"},
        files={},
        started=f"2026-01-02T03:04:{run[-2:]}.000+00:00",
    )
    found = Verdict.OUTSIDE if verdict == "faulty" else Verdict.WITHIN
    reading = Reading(
        "line\x1b", "cpu", "F\x1b", "U1\x1b", "rate", 1.0, "Hz", 0.1, None, None, None, found, "low", reason="why\x1b"
    )
    with RunRecord(open_engine(str(records))) as record:
        record.write(started)
        record.write(ReadingTaken(1.0, reading))
        record.write(Notice(2.0, "notice\x1b]0;title\x07", urgent=True))
        record.write(RunEnded(3.0, verdict, None if verdict == "good" else "reason\x1b[1m", 3.0))


@pytest.fixture
def records(tmp_path: Path) -> Path:
    path = tmp_path / "records.sqlite"
    write(path, "20260102-030401", "faulty")
    write(path, "20260102-030402", "good")
    return path


def command(words: list[str], records: Path, folder: Path) -> list[str]:
    """A whole command line."""
    where = ["--to", str(folder / "out")] if words[0] == "export" else []
    return [*words, "--records", str(records), *where]


def test_names_from_outside_are_shown_and_do_no_harm(
    records: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Escape sequences, bells and direction marks are spelt out, markup stays text, in every command."""
    lines = [
        ["repair", "last", "swapped \x1b[31m<b>U1</b>", "--operator", "Bob\x07"],
        ["history"],
        ["history", "--serial", HOSTILE],
        ["show", "last"],
        ["compare", "20260102-030401", "last"],
        ["export", "last"],
    ]
    for words in lines:
        assert main(command(words, records, tmp_path)) == 0
        out, err = capsys.readouterr()
        assert err == ""
        assert all(sign.isprintable() or sign == "\n" for sign in out), (words, out)
        if words[0] in ("history", "show", "compare"):
            assert "<b>A7</b>" in out
            assert "\\x1b" in out
            assert "SIMULATED" in out
    connection = sqlite3.connect(records)
    assert connection.execute("SELECT serial FROM runs").fetchall() == [(HOSTILE,), (HOSTILE,)]
    assert connection.execute("SELECT words FROM repairs").fetchall() == [("swapped \x1b[31m<b>U1</b>",)]
    connection.close()


def test_documents_keep_the_names_as_they_are(records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """JSON has its own way of writing control characters, and reads back the very same name."""
    assert main(["history", "--records", str(records), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [run["serial"] for run in document["runs"]] == [HOSTILE, HOSTILE]
    assert [run["verdict"] for run in document["runs"]] == ["good", "faulty"]
    assert (document["total"], document["jobs"]) == (2, [])


@pytest.mark.parametrize("words", COMMANDS)
def test_a_record_that_is_not_there_is_said(
    words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 2, one sentence, and no record made by asking for it."""
    assert main(command(words, tmp_path / "none.sqlite", tmp_path)) == 2
    assert "there is no record at" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("words", COMMANDS)
def test_a_record_of_another_version_is_record_trouble(
    words: list[str], records: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 4 and what to do about it."""
    connection = sqlite3.connect(records)
    connection.execute("UPDATE about SET value = '1'")
    connection.commit()
    connection.close()
    assert main(command(words, records, tmp_path)) == 4
    assert "schema version 1" in capsys.readouterr().err


@pytest.mark.parametrize("words", COMMANDS)
def test_a_damaged_record_is_record_trouble(
    words: list[str], records: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A table that is gone is said in words, with exit 4, and never as a verdict on a board."""
    connection = sqlite3.connect(records)
    connection.execute("PRAGMA foreign_keys=OFF")
    connection.execute("DROP TABLE runs")
    connection.commit()
    connection.close()
    assert main(command(words, records, tmp_path)) == 4
    err = capsys.readouterr().err
    assert "the record cannot be" in err
    assert "Traceback" not in err


@pytest.mark.parametrize(
    "words", [["show", "2027"], ["repair", "2027", "x"], ["compare", "last", "2027"], ["export", "2027"]]
)
def test_an_unknown_run_is_answered_with_what_there_is(
    words: list[str], records: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 2 and the newest runs by name."""
    assert main(command(words, records, tmp_path)) == 2
    assert "the newest are 20260102-030402, 20260102-030401" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["compare", "last", "20260102-030402"], "are the same run"),
        (["compare", "last", "20260102-030403"], "cannot be compared"),
        (["export"], "say what to export"),
        (["export", "last", "--serial", "A7"], "say what to export"),
        (["export", "--serial", "nobody"], "there are no such runs"),
        (["history", "--limit", "0"], "--limit"),
        (["repair", "last", " "], "say what was done"),
    ],
)
def test_a_word_that_makes_no_sense_is_refused(
    words: list[str], said: str, records: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 2 with the reason."""
    if words[-1] == "20260102-030403":
        write(records, "20260102-030403", "good", board="pellin-600")
        words = ["compare", "20260102-030402", "20260102-030403"]
    assert main(command(words, records, tmp_path)) == 2
    assert said in capsys.readouterr().err


def test_history_is_limited_and_says_so(records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is not shown is counted; the jobs of a serial number know all of its runs."""
    assert main(["history", "--records", str(records), "--limit", "1"]) == 0
    out = capsys.readouterr().out
    assert "20260102-030402" in out
    assert "20260102-030401" not in out
    assert "and 1 earlier ones" in out
    assert main(["history", "--records", str(records), "--limit", "1", "--serial", HOSTILE]) == 0
    assert "2 runs, 0 repairs, open, last good" in capsys.readouterr().out


def test_nothing_found_is_no_error(records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A serial number that never came in has no runs."""
    assert main(["history", "--records", str(records), "--serial", "nobody"]) == 0
    assert capsys.readouterr().out == "no runs\n"


def test_a_run_that_was_killed_is_shown_as_stopped(
    records: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its readings are there, and its end says that there was none."""
    connection = sqlite3.connect(records)
    connection.execute("DELETE FROM events WHERE kind = 'RunEnded' AND run = '20260102-030402'")
    connection.execute("UPDATE runs SET verdict = 'stopped', reason = 'did not end' WHERE run = '20260102-030402'")
    connection.commit()
    connection.close()
    assert main(["show", "last", "--records", str(records), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert (document["verdict"], document["reason"], len(document["readings"])) == ("stopped", "did not end", 1)
