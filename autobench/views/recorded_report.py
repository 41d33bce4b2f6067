"""The report of a run in the record: everything it needs is read from the record and, where it is unchanged, the files.

Reads only. The board file adds its limits' words and the dependency graph; if the file has changed since the run, the
report does without it rather than showing what was not used.
"""

from __future__ import annotations

from pathlib import Path
from typing import TypeVar

from sqlalchemy import Engine

from autobench.documents import places
from autobench.documents.bench import Bench
from autobench.documents.board import Board
from autobench.documents.reading import read
from autobench.documents.section import Section
from autobench.errors import FileError
from autobench.record.history import RunRow, runs_before, traces_of
from autobench.views.recorded import Recorded, recorded
from autobench.views.report import write_report

Model = TypeVar("Model", bound=Section)


def write_recorded_report(engine: Engine, row: RunRow, path: Path) -> None:
    """Write the report of a run; with the run before the repair beside it where there is one.

    Raises `RecordError` for a damaged record, `UsageError` where the file cannot be written.
    """
    run = recorded(engine, row)
    earlier = before_the_repair(engine, row)
    traces = {(kept.sight, kept.net, kept.point): kept.trace for kept in traces_of(engine, row.run)}
    repairs = [*(earlier.repairs if earlier is not None else ()), *run.repairs]
    write_report(
        run.state,
        unchanged(run, Board),
        path,
        traces=traces,
        earlier=earlier.state if earlier is not None else None,
        repairs=[repair.words for repair in repairs],
        bench=unchanged(run, Bench),
        identities=dict(run.identities),
    )


def before_the_repair(engine: Engine, row: RunRow) -> Recorded | None:
    """The newest earlier run of the same serial number on which a repair was noted."""
    for candidate in runs_before(engine, row):
        found = recorded(engine, candidate)
        if found.repairs:
            return found
    return None


def unchanged(run: Recorded, model: type[Model]) -> Model | None:
    """The board or bench file of the run, if it is still what the run used."""
    started = run.state.started
    for name, hashed in (started.files if started is not None else {}).items():
        path = Path(name)
        try:
            if path.is_file() and places.sha256_of(path) == hashed:
                return read(path, model)
        except FileError:
            continue  # a file of another kind, or one that cannot be read: not the one looked for
    return None
