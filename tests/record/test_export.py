"""Export: what other programs read back is what the record has."""

from __future__ import annotations

import csv
import json
import sqlite3
from pathlib import Path

import numpy as np
import pytest

from autobench.errors import RecordError, UsageError
from autobench.events import trace_taken
from autobench.judgement.verdict import Verdict
from autobench.record.export import cell, export, file_name
from autobench.record.history import list_runs
from autobench.record.store import open_engine
from autobench.signals.trace import Trace
from tests.record.shop_runs import READING, Write, taken

TRACE = Trace(
    np.random.default_rng(2).integers(0, 256, 999, dtype=np.uint8), 4e-8, 1.0 / 3.0 / 25, 127.5, 2.4, -1.0 / 7.0
)
SEEN = trace_taken(1.0, "FETCH, RD", ("FETCH", "U1.27"), TRACE)


def export_all(records: Path, folder: Path) -> None:
    engine = open_engine(str(records))
    try:
        done = export(engine, list_runs(engine)[::-1], folder, lambda run: {"run": run.run, "third": 1.0 / 3.0})
        assert done.runs == len(list_runs(engine))
    finally:
        engine.dispose()


def test_the_readings_read_back_by_csv_are_the_record(records: Path, write: Write, tmp_path: Path) -> None:
    """One row a reading, every column of the table, every digit of every number."""
    write(taken(), taken(Verdict.OUTSIDE, value=0.1 + 0.2, reason='says "no",\nand again', state=None), run="r1")
    write(taken(value=None, uncertainty=None), run="r2", serial=None)
    export_all(records, tmp_path / "out")
    with (tmp_path / "out" / "readings.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    connection = sqlite3.connect(records)
    connection.row_factory = sqlite3.Row
    kept = connection.execute("SELECT * FROM readings ORDER BY run, number").fetchall()
    connection.close()
    assert len(rows) == len(kept) == 3
    for row, wanted in zip(rows, kept, strict=True):
        for name in wanted.keys():  # noqa: SIM118 - a database row iterates over its values
            if name in ("conditional", "required"):
                assert row[name] == ("true" if wanted[name] else "false")
            elif isinstance(wanted[name], float):
                assert float(row[name]) == wanted[name]
            else:
                assert row[name] == ("" if wanted[name] is None else str(wanted[name]))
    assert (rows[0]["board"], rows[0]["serial"], rows[2]["serial"]) == ("tarnbeck-8", "A7", "")
    assert float(rows[1]["value"]) == 0.1 + 0.2


def test_the_traces_read_back_by_numpy_are_the_record(records: Path, write: Write, tmp_path: Path) -> None:
    """Time base and volts are those of the trace, and no pickle is needed to load them."""
    write(SEEN, taken(Verdict.OUTSIDE), run="r1")
    export_all(records, tmp_path / "out")
    (path,) = (tmp_path / "out" / "r1").iterdir()
    with np.load(path, allow_pickle=False) as loaded:
        assert np.array_equal(loaded["volts"], TRACE.in_volts())
        assert np.array_equal(loaded["time"], TRACE.start + np.arange(999) * TRACE.interval)
        assert np.array_equal(loaded["samples"], TRACE.samples)
        assert (str(loaded["net"]), str(loaded["point"]), float(loaded["interval"])) == ("FETCH", "U1.27", 4e-8)
    assert json.loads((tmp_path / "out" / "r1.json").read_text(encoding="utf-8")) == {"run": "r1", "third": 1.0 / 3.0}


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("=1+1", "'=1+1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("+cmd|' /C calc'!A0", "'+cmd|' /C calc'!A0"),  # common practice
        ("-2+3", "-2+3"),
        ("+5V", "+5V"),
        ("-5V", "-5V"),
        ("U1.27", "U1.27"),
    ],
)
def test_a_cell_is_never_a_formula(text: str, written: str) -> None:
    """Text that a table calculator would run gets an apostrophe; names of rails stay as they are."""
    assert cell(text) == written


def test_hostile_names_stay_inside_the_folder(records: Path, write: Write, tmp_path: Path) -> None:
    """A run or net named like a path makes a plain file name."""
    seen = trace_taken(1.0, "s", ("../../../etc/x", "..\\y\0"), TRACE)
    hostile = taken(Verdict.OUTSIDE, net="../../../etc/x", point="..\\y\0")
    write(seen, hostile, run="../r/../..")
    export_all(records, tmp_path / "out")
    written = sorted(path.relative_to(tmp_path).parts for path in tmp_path.rglob("*") if path.is_file())
    assert {parts[0] for parts in written} <= {"out", "records.sqlite", "records.sqlite-shm", "records.sqlite-wal"}
    assert len([parts for parts in written if parts[0] == "out"]) == 3
    assert file_name("..") == file_name("") == "_"


def test_nothing_is_overwritten(records: Path, write: Write, tmp_path: Path) -> None:
    """A folder with something in it is refused, and stays as it is."""
    write(taken())
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(UsageError, match="has something in it already"):
        export_all(records, tmp_path)
    assert not (tmp_path / "readings.csv").exists()


def test_a_folder_that_cannot_be_made_gives_words(records: Path, write: Write, tmp_path: Path) -> None:
    """The person whose disk it is is told in one sentence."""
    write(taken(), run="r1")
    (tmp_path / "file").write_text("a file")
    with pytest.raises(RecordError, match="cannot be written"):
        export_all(records, tmp_path / "file" / "out")


def test_a_reading_of_the_shop_is_complete() -> None:
    """The reading used here has a number that no short decimal stands for."""
    assert READING.value is not None
    assert f"{READING.value:.10g}" != repr(READING.value)
