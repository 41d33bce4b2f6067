"""Questions to the record: lists of runs, one run by its name, repairs."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import Engine

from autobench.errors import RecordError, UsageError
from autobench.record.history import (
    Which,
    count_runs,
    find_run,
    list_runs,
    note_repair,
    repairs_among,
    repairs_of,
    runs_before,
)
from autobench.record.store import open_engine, open_existing
from tests.record.shop_runs import Write, runs_of_one_unit

NOW = datetime(2026, 1, 3, 4, 5, 6, tzinfo=UTC)


@pytest.fixture
def engine(records: Path) -> Iterator[Engine]:
    opened = open_engine(str(records))
    yield opened
    opened.dispose()


def test_runs_come_newest_first_and_by_what_is_asked(engine: Engine, write: Write) -> None:
    """All runs, those of a board type, of a serial number, of both; at most as many as wanted."""
    mine = runs_of_one_unit(write, ["faulty", "good"])
    write(run="20260102-033000-other1", board="pellin-600", serial="A7", started="2026-01-02T03:30:00.000+00:00")
    names = [run.run for run in list_runs(engine)]
    assert names == ["20260102-033000-other1", mine[1], mine[0]]
    assert [run.run for run in list_runs(engine, limit=1)] == names[:1]
    assert [run.run for run in list_runs(engine, Which(board="tarnbeck-8"))] == [mine[1], mine[0]]
    assert len(list_runs(engine, Which(serial="A7"))) == 3
    assert [run.verdict for run in list_runs(engine, Which("tarnbeck-8", "A7"))] == ["good", "faulty"]
    assert count_runs(engine, Which(serial="nobody")) == 0
    assert (count_runs(engine), list_runs(engine, Which(serial=""))) == (3, [])


def test_a_run_is_found_by_last_by_name_and_by_its_beginning(engine: Engine, write: Write) -> None:
    """The three ways to name a run lead to the same one."""
    first, second = runs_of_one_unit(write, ["faulty", "good"])
    assert find_run(engine, "last").run == second
    assert find_run(engine, first).run == first
    assert find_run(engine, first[:13]).run == first


def test_a_beginning_of_several_runs_names_them(engine: Engine, write: Write) -> None:
    """A word that fits two runs is refused with both."""
    names = runs_of_one_unit(write, ["faulty", "good"])
    with pytest.raises(UsageError, match="more than one run") as caught:
        find_run(engine, "20260102")
    assert all(name in str(caught.value) for name in names)


@pytest.mark.parametrize("word", ["", "%", "_", "LAST", "\x1b[2J", "\udcff", "2026\n"])
def test_an_unknown_run_is_answered_with_what_there_is(engine: Engine, write: Write, word: str) -> None:
    """No wildcard works, nothing of the word reaches the terminal raw, and the newest runs are named."""
    names = runs_of_one_unit(write, ["faulty", "good"])
    with pytest.raises(UsageError, match="the record has no run") as caught:
        find_run(engine, word)
    assert names[0] in str(caught.value)
    assert str(caught.value).isprintable()


def test_a_slip_of_the_finger_is_answered_with_what_was_meant(engine: Engine, write: Write) -> None:
    """One wrong digit is enough to be told the right name."""
    first, _ = runs_of_one_unit(write, ["faulty", "good"])
    with pytest.raises(UsageError, match=f"did you mean '{first}'"):
        find_run(engine, first[:-1] + "x")


def test_an_empty_record_says_how_to_fill_it(engine: Engine) -> None:
    """`last` of nothing is no crash."""
    with pytest.raises(UsageError, match="no runs yet"):
        find_run(engine, "last")


def test_a_repair_is_added_and_the_run_stays_as_it_was(engine: Engine, write: Write, records: Path) -> None:
    """Words, date and operator are kept; not one row of the run changes."""

    def rows() -> list[object]:
        connection = sqlite3.connect(records)
        found: list[object] = [
            connection.execute(f"SELECT * FROM {table}").fetchall() for table in ("runs", "events", "readings")
        ]
        connection.close()
        return found

    first, second = runs_of_one_unit(write, ["faulty", "good"])
    before = rows()
    noted = note_repair(engine, first, "  U1 swapped <b>; \x1b[31m \udcff ", "Ann", NOW)
    assert rows() == before
    assert repairs_of(engine, first) == [noted]
    assert (noted.words, noted.operator) == ("U1 swapped <b>; \x1b[31m ?", "Ann")
    assert noted.noted == "2026-01-03T04:05:06.000+00:00"  # ISO 8601
    assert repairs_among(engine, Which(serial="A7")) == [noted]
    assert repairs_among(engine, Which(serial="B1")) == repairs_of(engine, second) == []


def test_a_repair_wants_words_and_a_run(engine: Engine, write: Write) -> None:
    """Blank words are refused; a run that is not there is the record's own refusal."""
    (only,) = runs_of_one_unit(write, ["faulty"])
    with pytest.raises(UsageError, match="say what was done"):
        note_repair(engine, only, " \t", None, NOW)
    with pytest.raises(RecordError, match="cannot be written"):
        note_repair(engine, "nobody", "U1 swapped", None, NOW)


def test_earlier_runs_are_those_of_the_same_unit(engine: Engine, write: Write) -> None:
    """Other serial numbers, other board types and real benches are other units; none has a past without a serial."""
    first, second, third = runs_of_one_unit(write, ["faulty", "stopped", "good"])
    runs_of_one_unit(write, ["faulty"], serial="B1")
    write(run="x1", board="pellin-600", started="2026-01-02T03:00:01.000+00:00")
    write(run="x2", simulated=False, started="2026-01-02T03:00:02.000+00:00")
    write(run="x3", serial=None, started="2026-01-02T03:59:02.000+00:00")
    assert [run.run for run in runs_before(engine, find_run(engine, third))] == [second, first]
    assert runs_before(engine, find_run(engine, first)) == []
    assert runs_before(engine, find_run(engine, "x3")) == []


def test_a_record_that_is_not_there_is_not_made(tmp_path: Path) -> None:
    """Asking for the history of nothing leaves nothing behind."""
    with pytest.raises(UsageError, match="there is no record"):
        open_existing(str(tmp_path / "none" / "records.sqlite"))
    assert list(tmp_path.iterdir()) == []


def test_a_record_of_the_first_schema_is_refused_in_words(records: Path) -> None:
    """An old record is neither read nor changed."""
    open_engine(str(records)).dispose()
    connection = sqlite3.connect(records)
    connection.execute("UPDATE about SET value = '1'")
    connection.commit()
    connection.close()
    with pytest.raises(RecordError, match="schema version 1, this autobench writes version 2"):
        open_existing(str(records))


def test_serial_numbers_that_are_no_text_do_not_stop_a_round(engine: Engine, write: Write) -> None:
    """Bytes of a command line that are no text in any encoding are kept as question marks."""
    write(serial="A\udcff7", operator="\udc80")
    (run,) = list_runs(engine)
    assert (run.serial, run.operator) == ("A?7", "?")
    assert [found.run for found in list_runs(engine, Which(serial="A\udcff7"))] == [run.run]
