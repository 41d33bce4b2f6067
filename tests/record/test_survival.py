"""A record that cannot be written, is locked, full or somebody else's: words, and never a run lost without notice."""

from __future__ import annotations

import ctypes
import hashlib
import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from autobench import app
from autobench.__main__ import main
from autobench.events import Event, ReadingTaken, RunStarted, Truth
from autobench.record import schema, store
from autobench.record.history import ENDED_WITHOUT, STILL_ON, list_runs
from autobench.record.process import has_ended, this_process
from autobench.record.store import RunRecord, open_engine
from autobench.views.run_state import RunState

STARTED = RunStarted(
    at=0.0,
    run="r1",
    board="tarnbeck-8",
    serial=None,
    options={},
    sequence="baseline",
    bench="simulated",
    simulated=True,
    operator=None,
    steps=(),
    instruments={},
    files={},
    started="2026-01-02T03:04:05+00:00",
)


class Shown:
    """A view that keeps what was shown, and does something once a reading of `step` came."""

    def __init__(self, step: str = "", act: Any = None) -> None:
        self.events: list[Event] = []
        self.step, self.act = step, act

    def __call__(self, event: Event) -> None:
        self.events.append(event)
        if isinstance(event, ReadingTaken) and self.readings.count(self.step) == 1 and self.act is not None:
            act, self.act = self.act, None
            act()

    @property
    def readings(self) -> list[str]:
        return [event.reading.step for event in self.events if isinstance(event, ReadingTaken)]


def run(records: Path, view: Shown) -> RunState:
    state = app.check(app.CheckRequest("tarnbeck-8", records=str(records), unattended=True), [view])
    truths = [event for event in view.events if isinstance(event, Truth)]
    assert all(not any(truth.outputs.values()) for truth in truths)
    assert truths
    return state


def kept(records: Path) -> list[str]:
    connection = sqlite3.connect(records)
    try:
        return [step for (step,) in connection.execute("SELECT step FROM readings ORDER BY number")]
    finally:
        connection.close()


def ended(state: RunState) -> tuple[str, str]:
    assert state.ended is not None
    return state.ended.verdict, state.ended.reason or ""


def test_a_record_that_is_locked_in_the_middle_stops_the_run(tmp_path: Path) -> None:
    """Somebody else's program holds the database: stopped in words, off, and all that was kept before is there."""
    records = tmp_path / "r.sqlite"
    blocking: list[sqlite3.Connection] = []

    def lock() -> None:
        blocking.append(sqlite3.connect(records))
        blocking[0].execute("BEGIN IMMEDIATE")

    view = Shown("current +5V", lock)
    verdict, reason = ended(run(records, view))
    blocking[0].rollback()
    blocking[0].close()
    assert verdict == "stopped"
    assert "locked" in reason
    assert kept(records) == view.readings[: len(kept(records))]
    assert kept(records)[-1] == "current +5V"


def test_a_record_that_is_locked_from_the_beginning_is_refused(tmp_path: Path) -> None:
    """Nothing is switched on without a record: exit 4, in words."""
    records = tmp_path / "r.sqlite"
    open_engine(str(records)).dispose()
    blocking = sqlite3.connect(records)
    blocking.execute("BEGIN EXCLUSIVE")
    view = Shown()
    state = app.check(app.CheckRequest("tarnbeck-8", records=str(records), unattended=True), [view])
    blocking.rollback()
    blocking.close()
    verdict, reason = ended(state)
    assert verdict == "stopped"
    assert "locked" in reason
    assert view.readings == []


@pytest.mark.parametrize("pages", [40, 60, 90])
def test_a_disk_that_becomes_full_stops_the_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, pages: int) -> None:
    """The database may not grow any more (SQLite answers as for a full disk): words, and what was kept can be read."""
    prepare = store.prepare_sqlite

    def small(connection: Any, record: Any) -> None:
        prepare(connection, record)
        connection.execute(f"PRAGMA max_page_count={pages}")

    monkeypatch.setattr(store, "prepare_sqlite", small)
    records, view = tmp_path / "r.sqlite", Shown()
    verdict, reason = ended(run(records, view))
    assert verdict == "stopped"
    assert "record cannot be written" in reason
    assert "full" in reason
    assert kept(records) == view.readings[: len(kept(records))]


class CapabilityHeader(ctypes.Structure):
    """`struct __user_cap_header_struct` of capset(2)."""

    _fields_ = (("version", ctypes.c_uint32), ("pid", ctypes.c_int))


class CapabilityWords(ctypes.Structure):
    """`struct __user_cap_data_struct` of capset(2): two of them make 64 bits of each set."""

    _fields_ = (("effective", ctypes.c_uint32), ("permitted", ctypes.c_uint32), ("inheritable", ctypes.c_uint32))


@pytest.fixture
def no_override() -> Iterator[None]:
    """Modes of files hold for the tests' own thread too, also where root runs them.

    Root's right to write anywhere (CAP_DAC_OVERRIDE, bit 1) is laid down; the user stays the same, so that the program
    still reads its own files below a folder that only root may enter.
    """
    header, former, bound = CapabilityHeader(0x20080522, 0), (CapabilityWords * 2)(), (CapabilityWords * 2)()
    library = ctypes.CDLL(None, use_errno=True)
    for words in (former, bound):
        assert library.capget(ctypes.byref(header), words) == 0
    bound[0].effective &= ~(1 << 1)
    assert library.capset(ctypes.byref(header), bound) == 0
    try:
        yield
    finally:
        assert library.capset(ctypes.byref(header), former) == 0


@pytest.mark.usefixtures("no_override")
@pytest.mark.parametrize("there", [False, True])
def test_a_folder_that_cannot_be_written_gives_words(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], there: bool
) -> None:
    """A read-only folder, with or without a record in it: exit 4 in one sentence, and nothing was switched on."""
    folder = Path(tmp_path) / "fixed"
    folder.mkdir()
    if there:
        open_engine(str(folder / "r.sqlite")).dispose()
        (folder / "r.sqlite").chmod(0o444)
    folder.chmod(0o555)
    assert not os.access(folder, os.W_OK, effective_ids=True)
    code = main(["check", "tarnbeck-8", "--unattended", "--records", str(folder / "r.sqlite")])
    said = capfd.readouterr().err
    assert code == 4
    assert "record" in said
    assert "Traceback" not in said
    assert "+5V on" not in said


@pytest.mark.parametrize("kind", ["text", "foreign", "newer", "folder"])
def test_what_is_no_record_of_ours_is_refused_unchanged(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], kind: str
) -> None:
    """Another program's file is refused with exit 4 in words, by every command, and not one byte of it is changed."""
    path = tmp_path / "records.sqlite"
    if kind == "text":
        path.write_text("notes about customers\n" * 100, encoding="utf-8")
    elif kind == "folder":
        path.mkdir()
    else:
        connection = sqlite3.connect(path)
        if kind == "newer":
            connection.execute("CREATE TABLE about (name TEXT, value TEXT)")
            connection.execute(f"INSERT INTO about VALUES ('schema version', '{schema.VERSION + 1}')")
        else:
            connection.execute("CREATE TABLE invoices (number INTEGER)")
        connection.commit()
        connection.close()
    before = None if kind == "folder" else hashlib.sha256(path.read_bytes()).hexdigest()
    for command in (["check", "tarnbeck-8", "--unattended"], ["history"], ["show", "last"], ["repair", "last", "x"]):
        assert main([*command, "--records", str(path)]) == 4
        said = capfd.readouterr().err
        assert "Traceback" not in said
        assert "record" in said
    if before is not None:
        assert hashlib.sha256(path.read_bytes()).hexdigest() == before


def test_a_run_whose_program_is_gone_says_so_everywhere(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """history, show and report tell of a run without an end whether its program died or still works on it."""
    code = "from autobench.record.process import this_process; print(this_process())"
    gone = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip()
    records = tmp_path / "r.sqlite"
    for name, process in (("dead", gone), ("live", this_process())):
        with RunRecord(open_engine(str(records))) as record:
            record.write(replace(STARTED, run=name, process=process))
    assert {row.run: row.reason for row in list_runs(open_engine(str(records)))} == {
        "dead": ENDED_WITHOUT,
        "live": STILL_ON,
    }
    assert main(["history", "--records", str(records)]) == 0
    assert ENDED_WITHOUT in capsys.readouterr().out
    assert main(["show", "dead", "--records", str(records)]) == 0
    assert f"STOPPED: {ENDED_WITHOUT}" in capsys.readouterr().out
    page = tmp_path / "dead.html"
    assert main(["report", "dead", "--to", str(page), "--records", str(records)]) == 0
    assert ENDED_WITHOUT in page.read_text(encoding="utf-8")


@pytest.mark.parametrize("process", ["", "x", "other-machine 1 2 3", "a b c d e f"])
def test_a_process_of_another_machine_is_left_open(process: str) -> None:
    """What cannot be known here is not claimed."""
    assert has_ended(process) is None


def test_a_number_used_again_is_another_process() -> None:
    """The same process number with another start is not the same process (proc(5): field 22 of stat)."""
    machine, boot, pid, start = this_process().split(" ")
    assert has_ended(f"{machine} {boot} {pid} {start}") is False
    assert has_ended(f"{machine} {boot} {pid} {int(start) + 1}") is True
    assert has_ended(f"{machine} {boot[:-1]} {pid} {start}") is True
