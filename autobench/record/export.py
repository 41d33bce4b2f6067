"""Runs out of the record into files that other programs read: readings as CSV, documents as JSON, traces as NPZ.

Numbers are written so that they read back as the same numbers. Nothing is interpreted, and nothing that is there
already is overwritten.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, select

from autobench.documents.words import quoted
from autobench.errors import RecordError, UsageError
from autobench.record import schema
from autobench.record.history import RunRow, reading, traces_of
from autobench.record.samples import KeptTrace

# A table calculator takes a cell that begins so for a formula: `=…`, `@…`, or a sign with more than a name behind it.
FORMULA = re.compile(r"[=@\t\r]|[+-](?![\w .+/-]*\Z)")
UNSAFE = re.compile(r"[^A-Za-z0-9.+-]+")
LONGEST_NAME = 40
HEAD = ("board", "serial", "started")


@dataclass(frozen=True)
class Exported:
    """How many of what were written."""

    runs: int
    readings: int
    traces: int


def export(
    engine: Engine, runs: Sequence[RunRow], folder: Path, document: Callable[[RunRow], dict[str, Any]]
) -> Exported:
    """Write `runs` to `folder`, which must be new or empty.

    `readings.csv` has one row a reading with all columns of the record, `RUN.json` the document of each run, and
    `RUN/*.npz` its traces: `time` (s) and `volts`, with the samples and their scaling beside them. Raises `UsageError`
    for a folder with something in it, `RecordError` where it cannot be written or the record cannot be read.
    """
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"{quoted(str(folder))} is a file; name a new or empty folder")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if any(folder.iterdir()):
            raise UsageError(f"{quoted(str(folder))} has something in it already; name a new or empty folder")
        readings = write_readings(engine, runs, folder / "readings.csv")
        traces = 0
        for run in runs:
            text = json.dumps(document(run), ensure_ascii=False, indent=2)
            (folder / f"{file_name(run.run)}.json").write_text(text + "\n", encoding="utf-8")
            traces += write_traces(traces_of(engine, run.run), folder / file_name(run.run))
    except OSError as error:
        raise RecordError(f"{quoted(str(folder))} cannot be written: {error.strerror or error}") from error
    return Exported(len(runs), readings, traces)


def write_readings(engine: Engine, runs: Iterable[RunRow], path: Path) -> int:
    """One row a reading: the run's board, serial number and date, then every column of the record's table."""
    table = schema.readings
    columns = [column.name for column in table.columns]
    count = 0
    with path.open("w", encoding="utf-8", newline="") as file, reading(engine) as connection:
        writer = csv.writer(file)
        writer.writerow([*HEAD, *columns])
        for run in runs:
            head = [cell(run.board), cell(run.serial), run.started]
            for row in connection.execute(select(table).where(table.c.run == run.run).order_by(table.c.number)):
                writer.writerow([*head, *(cell(value) for value in row)])
                count += 1
    return count


def cell(value: object) -> object:
    """A value for CSV: floats with every digit, truth as words, nothing as an empty cell; text can do no harm."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str) and FORMULA.match(value):
        return f"'{value}"
    return value


def write_traces(traces: Sequence[KeptTrace], folder: Path) -> int:
    """One file a trace, named for its place in the log, net and point."""
    import numpy as np  # late: only traces need it

    if traces:
        folder.mkdir(exist_ok=True)
    for kept in traces:
        trace = kept.trace
        np.savez_compressed(
            folder / f"{kept.number:05d}-{file_name(kept.net)}-{file_name(kept.point)}.npz",
            time=trace.times(np.arange(trace.samples.size, dtype=np.float64)),
            volts=trace.in_volts(),
            samples=trace.samples,
            interval=trace.interval,
            start=trace.start,
            step=trace.step,
            reference=trace.reference,
            offset=trace.offset,
            peak_detect=trace.peak_detect,
            run=kept.run,
            net=kept.net,
            point=kept.point,
            sight=kept.sight,
        )
    return len(traces)


def file_name(word: str) -> str:
    """`word` as part of a file's name: letters, digits and a few signs, never a way out of the folder."""
    return UNSAFE.sub("_", word)[:LONGEST_NAME].lstrip(".") or "_"
