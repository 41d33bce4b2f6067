"""What the record knows of runs: lists of them, one by its name, the repairs noted on them, their traces.

Only questions to the database, and the one thing that may be added to a run that is over: a repair. Nothing here
judges, compares or shows.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, Engine, Integer, Select, and_, func, insert, or_, select, type_coerce
from sqlalchemy.exc import SQLAlchemyError

from autobench.documents.words import closest, quoted
from autobench.errors import RecordError, UsageError
from autobench.events import RunStarted
from autobench.record import schema
from autobench.record.process import has_ended
from autobench.record.samples import KeptTrace, kept_trace
from autobench.record.store import UNFINISHED, first_line, storable

LAST = "last"
MOST_NAMED = 5  # runs that an error message names
ENDED_WITHOUT = "the program ended without finishing"
STILL_ON = "the run is still going on"

RUNS = schema.runs.c
COLUMNS: tuple[ColumnElement[Any], ...] = (
    RUNS.run,
    RUNS.started,
    RUNS.board,
    RUNS.serial,
    RUNS.sequence,
    # As the database has it: turned into a truth value when the run is made, which is twice as quick in the end.
    type_coerce(RUNS.simulated, Integer),
    RUNS.operator,
    RUNS.verdict,
    RUNS.reason,
    RUNS.seconds,
)
REPAIRS = schema.repairs.c
REPAIR_COLUMNS: tuple[ColumnElement[Any], ...] = (
    REPAIRS.number,
    REPAIRS.run,
    REPAIRS.noted,
    REPAIRS.operator,
    REPAIRS.words,
)
NEWEST_FIRST = (RUNS.started.desc(), RUNS.run.desc())


@dataclass(frozen=True)
class RunRow:
    """One run as a list shows it; `started` is UTC in ISO 8601, `seconds` None for a run that did not end."""

    run: str
    started: str
    board: str
    serial: str | None
    sequence: str
    simulated: bool
    operator: str | None
    verdict: str
    reason: str | None
    seconds: float | None


@dataclass(frozen=True, slots=True)
class Repair:
    """What was done to the board after `run`, in the words of whoever did it; `noted` is UTC in ISO 8601."""

    number: int
    run: str
    noted: str
    operator: str | None
    words: str


@dataclass(frozen=True)
class Which:
    """Which runs are asked for: all, those of a board type, those of a serial number, or both."""

    board: str | None = None
    serial: str | None = None

    def condition(self) -> ColumnElement[bool]:
        """As SQL."""
        asked = ((RUNS.board, self.board), (RUNS.serial, self.serial))
        return and_(True, *(column == storable(word) for column, word in asked if word is not None))


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """A connection whose foreign errors become words."""
    try:
        with engine.connect() as connection:
            yield connection
    except SQLAlchemyError as error:
        raise RecordError(f"the record cannot be read: {first_line(error)}") from error


def run_rows(connection: Connection, rows: Iterable[Any]) -> list[RunRow]:
    """Runs from rows of `COLUMNS`; one that did not end says whether its program is gone or still at it."""
    found = [
        RunRow(run, started, board, serial, sequence, bool(simulated), operator, verdict, reason, seconds)
        for run, started, board, serial, sequence, simulated, operator, verdict, reason, seconds in rows
    ]
    open_ones = [row.run for row in found if row.seconds is None and row.reason == UNFINISHED]
    if not open_ones:
        return found
    told = {run: how_it_stands(connection, run) for run in open_ones}
    return [replace(row, reason=told[row.run]) if row.run in told else row for row in found]


def how_it_stands(connection: Connection, run: str) -> str:
    """In words, why a run has no end."""
    table = schema.events.c
    first = select(table.data).where(table.run == run, table.kind == RunStarted.__name__).limit(1)
    try:
        gone = has_ended(str(json.loads(connection.execute(first).scalar() or "{}").get("process", "")))
    except (ValueError, AttributeError):  # a damaged event; whoever shows the whole run has words for it
        return UNFINISHED
    return UNFINISHED if gone is None else ENDED_WITHOUT if gone else STILL_ON


def list_runs(engine: Engine, which: Which = Which(), limit: int | None = None) -> list[RunRow]:
    """Runs, newest first, at most `limit`. Raises `RecordError`."""
    wanted: Select[Any] = select(*COLUMNS).where(which.condition()).order_by(*NEWEST_FIRST)
    with reading(engine) as connection:
        return run_rows(connection, connection.execute(wanted if limit is None else wanted.limit(limit)))


def count_runs(engine: Engine, which: Which = Which()) -> int:
    """How many runs there are. Raises `RecordError`."""
    with reading(engine) as connection:
        return connection.execute(select(func.count()).select_from(schema.runs).where(which.condition())).scalar_one()


def find_run(engine: Engine, word: str) -> RunRow:
    """The run meant by `word`: `last`, a run's whole name, or the beginning of just one.

    Raises `UsageError` that says what there is, and `RecordError`.
    """
    wanted = select(*COLUMNS).order_by(*NEWEST_FIRST)
    with reading(engine) as connection:
        if word == LAST:
            found = connection.execute(wanted.limit(1)).all()
        else:
            found = connection.execute(wanted.where(RUNS.run == storable(word))).all()
            if not found and word:
                found = connection.execute(
                    wanted.where(RUNS.run.startswith(storable(word), autoescape=True)).limit(MOST_NAMED + 1)
                ).all()
        newest = list(connection.execute(select(RUNS.run).order_by(*NEWEST_FIRST).limit(1000)).scalars())
        if len(found) == 1:
            return run_rows(connection, found)[0]
    if found:
        raise UsageError(f"more than one run begins with {quoted(word)}: {named([row.run for row in found])}")
    raise UsageError(unknown(word, newest))


def unknown(word: str, newest: Sequence[str]) -> str:
    """There is no such run: what there is, newest first, and what was probably meant."""
    if not newest:
        return "the record has no runs yet; 'autobench check' makes one"
    meant = closest(word, newest)
    tail = f"; did you mean {quoted(meant)}?" if meant is not None else ""
    return f"the record has no run {quoted(word)}; the newest are {named(newest)}{tail}"


def named(runs: Sequence[str]) -> str:
    """The first few of many runs."""
    more = ", …" if len(runs) > MOST_NAMED else ""
    return ", ".join(runs[:MOST_NAMED]) + more


def runs_before(engine: Engine, run: RunRow) -> list[RunRow]:
    """Earlier runs of the same board type, serial number and kind of bench, newest first; none without a serial."""
    if run.serial is None:
        return []
    same = and_(RUNS.serial == run.serial, RUNS.board == run.board, RUNS.simulated == run.simulated)
    earlier = or_(RUNS.started < run.started, and_(RUNS.started == run.started, RUNS.run < run.run))
    with reading(engine) as connection:
        return run_rows(connection, connection.execute(select(*COLUMNS).where(same, earlier).order_by(*NEWEST_FIRST)))


def repairs_among(engine: Engine, which: Which, since: str = "") -> list[Repair]:
    """Repairs noted on the runs asked for that began at `since` or later, oldest first. Raises `RecordError`."""
    wanted = select(*REPAIR_COLUMNS).join(schema.runs, RUNS.run == REPAIRS.run).order_by(REPAIRS.number)
    with reading(engine) as connection:
        return [Repair(*row) for row in connection.execute(wanted.where(which.condition(), RUNS.started >= since))]


def repairs_of(engine: Engine, run: str) -> list[Repair]:
    """Repairs noted on one run, oldest first. Raises `RecordError`."""
    wanted = select(*REPAIR_COLUMNS).where(REPAIRS.run == run).order_by(REPAIRS.number)
    with reading(engine) as connection:
        return [Repair(*row) for row in connection.execute(wanted)]


def note_repair(engine: Engine, run: str, words: str, operator: str | None, when: datetime) -> Repair:
    """Add a repair to the record; the run itself stays as it is.

    Raises `UsageError` where there are no words, `RecordError` where the record cannot be written.
    """
    if not words.strip():
        raise UsageError('say what was done, for instance: autobench repair last "U1 swapped"')
    values: dict[str, Any] = {
        "run": run,
        "noted": when.isoformat(timespec="milliseconds"),
        "operator": None if operator is None else storable(operator),
        "words": storable(words.strip()),
    }
    try:
        with engine.begin() as connection:
            key = connection.execute(insert(schema.repairs).values(values)).inserted_primary_key
    except SQLAlchemyError as error:
        raise RecordError(f"the record cannot be written: {first_line(error)}") from error
    return Repair(number=key[0] if key else 0, **values)


def traces_of(engine: Engine, run: str) -> list[KeptTrace]:
    """The traces kept of one run, in the order they were written. Raises `RecordError`, also for damaged samples."""
    table = schema.traces
    with reading(engine) as connection:
        rows = connection.execute(select(table).where(table.c.run == run).order_by(table.c.number)).mappings().all()
    return [kept_trace(dict(row)) for row in rows]
