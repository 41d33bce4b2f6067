"""The record's store: opens a database and appends what happened in a run, flushed with every reading.

Events and the plain tables are written in one transaction. The log is only ever added to; in the plain tables the row
of a run says in the end how it ended, and readings of a step that was taken again make room for the new ones. No view
and no instrument is known here.
"""

from __future__ import annotations

import json
import os
import re
from itertools import groupby
from operator import itemgetter
from pathlib import Path
from typing import Any, Self

from sqlalchemy import (
    Connection,
    Engine,
    Executable,
    bindparam,
    create_engine,
    delete,
    event,
    insert,
    inspect,
    select,
    update,
)
from sqlalchemy.exc import ArgumentError, SQLAlchemyError

from autobench.documents.words import quoted
from autobench.errors import RecordError, UsageError
from autobench.events import (
    Event,
    Exchanged,
    Prompted,
    PromptEnded,
    ReadingTaken,
    RunEnded,
    RunStarted,
    StepStarted,
    StepTakenAgain,
    TraceTaken,
    Watched,
    plain,
)
from autobench.record import schema
from autobench.record.samples import Untold, trace_row

ADD_RUN, ADD_EVENT, ADD_READING = insert(schema.runs), insert(schema.events), insert(schema.readings)
ADD_TRACE = insert(schema.traces)
END_RUN = update(schema.runs).where(schema.runs.c.run == bindparam("of_run"))
WITHDRAW = delete(schema.readings).where(
    schema.readings.c.run == bindparam("of_run"), schema.readings.c.step == bindparam("of_step")
)
# Events that wait for the next one that matters; a killed run may lose only these. While an output is live they wait
# for no longer than this (s), so that a full disk is found out in a long wait too, not after it.
LIVE_FLUSH = 0.5
WAITING = (Exchanged, Watched, StepStarted, TraceTaken, Prompted, PromptEnded)

# s a write waits for somebody else's lock. Power may be on meanwhile, so this stays below the guard's lease, and a
# switching-off that has to be told to the record is not held up for longer than this, once.
BUSY_SECONDS = 0.5

AS_TEXT = json.JSONEncoder(ensure_ascii=False)  # made once: an exchange a millisecond is written

UNFINISHED = "the run did not end: it was killed, or is still going on"


# Greedy on purpose: a password may hold any character, and too much masked does no harm.
PASSWORD = re.compile(r"(://[^:/@\s]*):.*@")
PASSWORD_WORD = re.compile(r"(?i)(\b\w*(?:password|passwd|pwd|secret|token)\w*)=[^&\s]*")


def database_url(records: str) -> str:
    """A database URL from what a person wrote: a URL is kept, anything else is the path of an SQLite file."""
    if "://" in records:
        return records
    return f"sqlite:///{Path(records).expanduser().absolute()}"


def unsecret(text: str) -> str:
    """`text` with the password of a database URL in it masked: what is shown on a screen is read by others."""
    return PASSWORD_WORD.sub(r"\1=***", PASSWORD.sub(r"\1:***@", text))


def default_records() -> str:
    """The record in the person's own data folder."""
    home = os.environ.get("XDG_DATA_HOME") or str(Path.home() / ".local" / "share")
    return str(Path(home) / "autobench" / "records.sqlite")


def open_engine(records: str) -> Engine:
    """Open (and on first use create) the database. Raises `UsageError` for a URL that is none, else `RecordError`."""
    url = database_url(records)
    try:
        if url.startswith("sqlite:///"):
            Path(url.removeprefix("sqlite:///")).parent.mkdir(parents=True, exist_ok=True)
        engine = create_engine(url, connect_args={"timeout": BUSY_SECONDS} if url.startswith("sqlite") else {})
        if engine.dialect.name == "sqlite":
            event.listen(engine, "connect", prepare_sqlite)
        with engine.begin() as connection:
            check_version(connection)
        if engine.dialect.name == "sqlite":
            with engine.connect() as connection:
                keep_ahead(connection)
    except ArgumentError as error:
        raise UsageError(
            f"{quoted(unsecret(records))} is neither a file nor the URL of a kind of database known here"
        ) from error
    except ModuleNotFoundError as error:
        raise RecordError(f"this kind of record needs the Python package '{error.name}', which is not here") from error
    except (SQLAlchemyError, OSError) as error:
        raise RecordError(f"the record {unsecret(records)} cannot be opened: {unsecret(first_line(error))}") from error
    return engine


def open_existing(records: str) -> Engine:
    """Open a record that is there already; raises `UsageError` where there is none, and makes nothing."""
    url = database_url(records)
    path = Path(url.removeprefix("sqlite:///"))
    if url.startswith("sqlite:///") and not path.exists():
        raise UsageError(f"there is no record at {quoted(str(path))} yet; 'autobench check' starts one")
    return open_engine(records)


def prepare_sqlite(connection: Any, _record: Any) -> None:
    """Settings of one connection. They change nothing in the file, which may turn out to be somebody else's."""
    cursor = connection.cursor()
    cursor.execute("PRAGMA synchronous=NORMAL")
    cursor.execute("PRAGMA foreign_keys=ON")
    cursor.close()


def keep_ahead(connection: Connection) -> None:
    """Write-ahead log: a killed process loses nothing that was committed, and readers do not block the run."""
    connection.exec_driver_sql("PRAGMA journal_mode=WAL")


def check_version(connection: Connection) -> None:
    """Create the tables in an empty database; refuse one of another schema version, or somebody else's."""
    tables = set(inspect(connection).get_table_names())
    if not tables:
        schema.metadata.create_all(connection)
        connection.execute(insert(schema.about).values(name="schema version", value=str(schema.VERSION)))
        return
    if "about" not in tables:
        raise RecordError("this database belongs to some other program: it is not a record of autobench")
    found = connection.execute(select(schema.about.c.value).where(schema.about.c.name == "schema version")).scalar()
    if found != str(schema.VERSION):
        raise RecordError(
            f"the record has schema version {found}, this autobench writes version {schema.VERSION}: "
            "use the autobench that wrote it, or start a new record"
        )


def first_line(error: BaseException) -> str:
    """The first line of a foreign error: the rest is for programmers."""
    original = getattr(error, "orig", None) or error
    return (str(original).splitlines() or ["no reason is given"])[0]


class RunRecord:
    """The record of one run, from its first event to its last.

    Every event is kept; exchanges and looks of the watch wait briefly for the next event that matters, so that one
    reading costs one transaction. Raises `RecordError` when the store cannot be written.
    """

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._run = ""
        self._number = 0
        self._flushed_at = 0.0  # on the run's clock
        self._failed = False  # told already: the end need not say it once more
        self._untold = Untold()
        self._waiting: list[tuple[Executable, dict[str, Any]]] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *raised: object) -> None:
        try:
            if self._waiting:
                self._flush()
        except RecordError:
            if not self._failed:
                raise
        finally:
            self._engine.dispose()

    def write(self, happened: Event) -> None:
        """Append one event; readings, notices and the run's start and end are on the disk when this returns.

        A trace is held back until a reading shows that it is worth keeping (`samples` has the rule).
        """
        failed, self._failed = self._failed, True
        self._take(happened)
        self._failed = failed

    def _take(self, happened: Event) -> None:
        """The same, for an event that may fail to be kept."""
        if isinstance(happened, TraceTaken) and not happened.always:
            self._untold.hold(happened)
            return
        if isinstance(happened, RunStarted):
            self._run = happened.run
            self._waiting.append((ADD_RUN, run_row(happened)))
        if isinstance(happened, ReadingTaken):
            for taken in self._untold.asked_for(happened.reading):
                self._add(taken)
        self._add(happened)
        if isinstance(happened, RunEnded):
            values = {"verdict": happened.verdict, "reason": happened.reason, "seconds": happened.seconds}
            self._waiting.append((END_RUN, values | {"of_run": self._run}))
        looked = isinstance(happened, Watched) and happened.at - self._flushed_at >= LIVE_FLUSH
        if looked or not isinstance(happened, WAITING):
            self._flushed_at = happened.at
            self._flush()

    def _add(self, happened: Event) -> None:
        """The event's row in the log, and its row in a plain table where it has one."""
        self._number += 1
        data = plain(happened)
        at = data.pop("at")
        row = {"run": self._run, "number": self._number}
        self._waiting.append((ADD_EVENT, row | {"at": at, "kind": type(happened).__name__, "data": written(data)}))
        if isinstance(happened, ReadingTaken):
            columns = data["reading"] | {"budget": json.dumps(data["reading"]["budget"])}
            self._waiting.append((ADD_READING, columns | row | {"at": at}))
        if isinstance(happened, StepTakenAgain):
            self._waiting.append((WITHDRAW, {"of_run": self._run, "of_step": happened.step}))
        if isinstance(happened, TraceTaken):
            self._waiting.append((ADD_TRACE, trace_row(happened) | row))

    def _flush(self) -> None:
        try:
            with self._engine.begin() as connection:
                # Neighbours of one kind go in one call: a capture brings dozens of exchanges.
                for statement, rows in groupby(self._waiting, key=itemgetter(0)):
                    connection.execute(statement, [row for _, row in rows])
        except (SQLAlchemyError, OSError) as error:
            raise RecordError(f"the record cannot be written: {first_line(error)}") from error
        except MemoryError as error:
            raise RecordError("the record cannot be written: no memory is left") from error
        finally:
            self._waiting.clear()  # what could not be written once is told once, not tried again at the end


def written(data: dict[str, Any]) -> str:
    """JSON as it goes into the database; what is no text in any encoding becomes a question mark."""
    return storable(AS_TEXT.encode(data))


def storable(text: str) -> str:
    """`text` as every database takes it: bytes of a command line that are no text become question marks."""
    return text if text.isascii() else text.encode("utf-8", "replace").decode("utf-8")


def run_row(started: RunStarted) -> dict[str, Any]:
    """The run's row as it stands until the run ends."""
    return {
        "run": started.run,
        "started": started.started,
        "board": started.board,
        "serial": None if started.serial is None else storable(started.serial),
        "options": json.dumps(started.options),
        "sequence": started.sequence,
        "bench": started.bench,
        "simulated": started.simulated,
        "operator": None if started.operator is None else storable(started.operator),
        "instruments": written(started.instruments),
        "files": written(started.files),
        "verdict": "stopped",
        "reason": UNFINISHED,
    }
