"""Tables of the record: the append-only event log, which is the truth, and plain tables for people's own SQL.

Two tables hold what the log does not: `traces` has the samples of an event of the log (which has only the rest), and
`repairs` what a person noted about a run once it was over – a run's own log never changes after its end.

Only table definitions and the schema's version; nothing here opens a database.
"""

from __future__ import annotations

from sqlalchemy import Boolean, Column, Float, ForeignKey, Index, Integer, LargeBinary, MetaData, String, Table, Text

VERSION = 2

metadata = MetaData()

about = Table(
    "about",
    metadata,
    Column("name", String(40), primary_key=True),
    Column("value", String(200), nullable=False),
)

runs = Table(
    "runs",
    metadata,
    Column("run", String(40), primary_key=True),
    Column("started", String(40), nullable=False),  # UTC, ISO 8601
    Column("board", String(120), nullable=False),
    Column("serial", String(120)),
    Column("options", Text, nullable=False),  # JSON
    Column("sequence", String(120), nullable=False),
    Column("bench", String(120), nullable=False),
    Column("simulated", Boolean, nullable=False),
    Column("operator", String(120)),
    Column("instruments", Text, nullable=False),  # JSON: name -> identity
    Column("files", Text, nullable=False),  # JSON: file -> SHA-256
    # A run that was killed keeps `stopped` and this reason, since it is written at the start and replaced at the end.
    Column("verdict", String(20), nullable=False),
    Column("reason", Text),
    Column("seconds", Float),
    # People ask for the newest runs: of all, of one board type, of one serial number.
    Index("runs_by_date", "started", "run"),
    Index("runs_by_board", "board", "started", "run"),
    Index("runs_by_serial", "serial", "started", "run"),
)

events = Table(
    "events",
    metadata,
    Column("run", String(40), ForeignKey("runs.run"), primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("at", Float, nullable=False),  # seconds on the run's clock
    Column("kind", String(40), nullable=False),
    Column("data", Text, nullable=False),  # JSON
)

readings = Table(
    "readings",
    metadata,
    Column("run", String(40), ForeignKey("runs.run"), primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("at", Float, nullable=False),
    Column("step", String(200), nullable=False),
    Column("stage", String(20), nullable=False),
    Column("net", String(120)),
    Column("point", String(120)),
    Column("quantity", String(40), nullable=False),
    Column("value", Float),
    Column("unit", String(20), nullable=False),
    Column("uncertainty", Float),  # standard, k = 1
    Column("low", Float),
    Column("high", Float),
    Column("limit_from", Text),
    Column("state", String(20)),
    Column("verdict", String(20), nullable=False),
    Column("conditional", Boolean, nullable=False),
    Column("reason", Text),
    Column("required", Boolean, nullable=False),
    Column("usual_low", Float),
    Column("usual_high", Float),
    Column("rule", String(20), nullable=False),
    Column("budget", Text, nullable=False),  # JSON: [[name, standard uncertainty], ...]
)

traces = Table(
    "traces",
    metadata,
    Column("run", String(40), ForeignKey("runs.run"), primary_key=True),
    Column("number", Integer, primary_key=True),  # of its event
    Column("at", Float, nullable=False),
    Column("sight", Text, nullable=False),  # which points were captured together, and how
    Column("net", String(120), nullable=False),
    Column("point", String(120), nullable=False),
    Column("interval", Float, nullable=False),  # s from sample to sample
    Column("start", Float, nullable=False),  # s, of the first sample
    # volts = (sample - reference) * step + offset
    Column("step", Float, nullable=False),
    Column("reference", Float, nullable=False),
    Column("offset", Float, nullable=False),
    Column("clipped_low", Float),
    Column("clipped_high", Float),
    Column("peak_detect", Boolean, nullable=False),
    Column("dtype", String(10), nullable=False),  # numpy's name; little-endian
    Column("count", Integer, nullable=False),
    Column("sha256", String(64), nullable=False),  # of the samples before packing
    Column("samples", LargeBinary, nullable=False),  # zlib
)

repairs = Table(
    "repairs",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("run", String(40), ForeignKey("runs.run"), nullable=False, index=True),
    Column("noted", String(40), nullable=False),  # UTC, ISO 8601
    Column("operator", String(120)),
    Column("words", Text, nullable=False),
)
