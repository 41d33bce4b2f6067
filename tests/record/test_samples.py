"""Traces in the record: the rule of what is kept, and that what is kept comes back as it was."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from autobench.errors import RecordError
from autobench.events import TraceTaken, trace_taken
from autobench.judgement.verdict import Verdict
from autobench.record.history import traces_of
from autobench.record.store import open_engine
from autobench.signals.trace import Trace
from tests.record.shop_runs import STARTED, Write, taken

RUN = STARTED.run
CODES = np.random.default_rng(1).integers(0, 256, 5000, dtype=np.uint8)


def trace(samples: NDArray[np.generic] = CODES) -> Trace:
    """A trace as a scope gives it."""
    return Trace(samples, 2e-7, 0.04, 128.0, 2.5, -1e-4, peak_detect=True)  # type: ignore[arg-type]


def looked(
    net: str = "FETCH",
    point: str = "U1.27",
    sight: str = "FETCH, RD",
    always: bool = False,
    waveform: Trace | None = None,
) -> TraceTaken:
    return trace_taken(1.0, sight, (net, point), waveform or trace(), always)


def nets(records: Path) -> list[str]:
    engine = open_engine(str(records))
    try:
        return [kept.net for kept in traces_of(engine, RUN)]
    finally:
        engine.dispose()


@pytest.mark.parametrize(
    ("verdict", "kept"), [(verdict, [] if verdict is Verdict.WITHIN else ["FETCH"]) for verdict in Verdict]
)
def test_a_trace_is_kept_unless_its_reading_is_within(
    records: Path, write: Write, verdict: Verdict, kept: list[str]
) -> None:
    """Every verdict but `within` keeps the traces of the reading's own net and point, and no others."""
    write(looked(), looked("RD", "U1.21"), looked("FETCH", "U9.1"), taken(verdict))
    assert nets(records) == kept


def test_start_capture_and_video_output_are_always_kept(records: Path, write: Write) -> None:
    """What shows a healthy start and a healthy picture is there to compare with, whatever the verdict."""
    video = taken(step="video output", stage="video", net="VIDEO", point="J2.1", quantity="sync amplitude", state=None)
    write(looked("RESET", "U1.26", always=True), looked("VIDEO", "J2.1"), looked("WR", "U1.22"), video)
    assert nets(records) == ["RESET", "VIDEO"]


def test_each_trace_is_written_once_and_a_new_capture_anew(records: Path, write: Write) -> None:
    """Two readings of one capture share its trace; a capture taken again is another trace; both sights are kept."""
    outside = taken(Verdict.OUTSIDE)
    write(looked(), looked(sight="FETCH, RD over seconds"), outside, outside, looked(), outside)
    assert nets(records) == ["FETCH", "FETCH", "FETCH"]


@pytest.mark.parametrize(
    "samples", [CODES, np.array([1.5, -2.25, 1e-9], np.float32), np.array([np.pi, -0.0, 1e300 / 1e290], np.float64)]
)
def test_a_trace_comes_back_bit_for_bit(records: Path, write: Write, samples: NDArray[np.generic]) -> None:
    """Samples, type, scaling, time base and ends of the converter are those that were captured."""
    given = trace(samples)
    write(looked(waveform=given), taken(Verdict.OUTSIDE))
    engine = open_engine(str(records))
    (kept,) = traces_of(engine, RUN)
    engine.dispose()
    assert kept.trace.samples.dtype == given.samples.dtype
    assert kept.trace.samples.tobytes() == given.samples.tobytes()
    assert np.array_equal(kept.trace.in_volts(), given.in_volts())
    for name in ("interval", "start", "step", "reference", "offset", "clipped", "peak_detect"):
        assert getattr(kept.trace, name) == getattr(given, name)


def test_the_log_has_everything_but_the_samples(records: Path, write: Write) -> None:
    """The event of a kept trace tells where and how; its samples are in the table, packed."""
    write(looked(), taken(Verdict.OUTSIDE))
    connection = sqlite3.connect(records)
    (data,) = connection.execute("SELECT data FROM events WHERE kind = 'TraceTaken'").fetchone()
    dtype, count, packed = connection.execute("SELECT dtype, count, length(samples) FROM traces").fetchone()
    connection.close()
    assert "samples" not in json.loads(data)
    assert json.loads(data)["interval"] == 2e-7
    assert (dtype, count) == ("uint8", CODES.size)
    assert packed < 1.01 * CODES.size + 100


@pytest.mark.parametrize("damage", ["UPDATE traces SET samples = x'00'", "UPDATE traces SET sha256 = 'ab'"])
def test_damaged_samples_are_noticed(records: Path, write: Write, damage: str) -> None:
    """Samples that are not those that were written are refused in words, never shown."""
    write(looked(), taken(Verdict.OUTSIDE))
    connection = sqlite3.connect(records)
    connection.execute(damage)
    connection.commit()
    connection.close()
    engine = open_engine(str(records))
    with pytest.raises(RecordError, match=r"trace of FETCH in run .* is damaged"):
        traces_of(engine, RUN)
    engine.dispose()
