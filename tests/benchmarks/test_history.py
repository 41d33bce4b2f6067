"""How long a shop waits for its history: 100 000 runs in the record, each question against the bare SQL query."""

from __future__ import annotations

import json
import math
import random
import sqlite3
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest
from sqlalchemy import insert

from autobench.record import schema
from autobench.record.history import Which, list_runs, repairs_among
from autobench.record.jobs import jobs_of
from autobench.record.store import open_engine
from autobench.views.history_text import history_lines

pytestmark = pytest.mark.benchmark

RUNS = 100_000
BOARDS = ("tarnbeck-8", "wexcombe-2", "pellin-600", "orrin-tk")
UNIT, UNIT_RUNS = "shop reference 1", 2_000  # a board that is checked several times a day
AT_MOST = 3.0
BARE = "SELECT run, started, board, serial, sequence, simulated, operator, verdict, reason, seconds FROM runs WHERE {} "
ORDER = "ORDER BY started DESC, run DESC"


def row(number: int, chance: random.Random) -> dict[str, object]:
    """One run of a shop that has been at it for some years."""
    minute, day = number % 1440, number // 1440
    started = (
        f"20{20 + day // 360:02d}-{1 + day % 360 // 30:02d}-{1 + day % 30:02d}T{minute // 60:02d}:{minute % 60:02d}"
    )
    unit = number % (RUNS // UNIT_RUNS) == 0
    verdict = chance.choices(("good", "faulty", "undecided", "stopped"), (50, 40, 8, 2))[0]
    return {
        "run": f"{number:08d}-{chance.randrange(16**6):06x}",
        "started": f"{started}:00.000+00:00",
        "board": BOARDS[0] if unit else chance.choice(BOARDS),
        "serial": UNIT if unit else f"A{chance.randrange(30_000):05d}",
        "options": "{}",
        "sequence": "baseline",
        "bench": "fixture 1",
        "simulated": False,
        "operator": "A. Technician",
        "instruments": json.dumps({"supply": "ps-3"}),
        "files": "{}",
        "verdict": verdict,
        "reason": None if verdict == "good" else "line D3: D3 is low at 0.21 V where it should be moving",
        "seconds": 42.0,
    }


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The record, filled by bulk insert."""
    path = tmp_path_factory.mktemp("record") / "records.sqlite"
    chance = random.Random(4)
    engine = open_engine(str(path))
    rows = [row(number, chance) for number in range(RUNS)]
    with engine.begin() as connection:
        connection.execute(insert(schema.runs), rows)
        repaired = [{"run": found["run"], "noted": found["started"], "words": "U1 swapped"} for found in rows[::7]]
        connection.execute(insert(schema.repairs), repaired)
    engine.dispose()
    return path


def seconds(works: Sequence[Callable[[], object]], times: int) -> list[float]:
    """The quickest of several calls of each, taken in turn, so that a busy machine slows all alike."""
    best = [math.inf] * len(works)
    for _ in range(times):
        for place, work in enumerate(works):
            began = time.perf_counter()
            work()
            best[place] = min(best[place], time.perf_counter() - began)
    return best


@pytest.mark.parametrize(
    ("name", "which", "condition", "word", "times"),
    [
        ("a serial number", Which(serial=UNIT), "serial = ?", UNIT, 30),
        ("a board type", Which(board=BOARDS[1]), "board = ?", BOARDS[1], 9),
    ],
)
def test_history_is_little_more_than_its_query(
    records: Path, capsys: pytest.CaptureFixture[str], name: str, which: Which, condition: str, word: str, times: int
) -> None:
    """All runs of a serial number, or of a board type, take at most three times the bare query on an open database."""
    connection = sqlite3.connect(records)
    engine = open_engine(str(records))
    try:
        works = (
            lambda: connection.execute(BARE.format(condition) + ORDER, (word,)).fetchall(),
            lambda: list_runs(engine, which),
        )
        bare, ours = seconds(works, times)
        count = len(list_runs(engine, which))
        assert [run.run for run in list_runs(engine, which)] == [
            found[0] for found in connection.execute(BARE.format(condition) + ORDER, (word,))
        ]
    finally:
        connection.close()
        engine.dispose()
    with capsys.disabled():
        figures = f"{1e3 * ours:.1f} ms, {ours / bare:.2f} x the bare query ({1e3 * bare:.1f} ms)"
        print(f"\nhistory of {name}, {count} of {RUNS} runs: {figures}; at most {AT_MOST:g} x")
    assert ours <= AT_MOST * bare


def test_the_newest_runs_do_not_cost_the_whole_record(records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What the terminal shows by default – twenty runs of a board type – comes without reading all of them."""
    engine = open_engine(str(records))
    which = Which(board=BOARDS[1])
    try:
        whole, newest = seconds((lambda: list_runs(engine, which), lambda: list_runs(engine, which, 20)), 5)
    finally:
        engine.dispose()
    with capsys.disabled():
        print(f"\nhistory, 20 newest of a board type: {1e3 * newest:.2f} ms, {newest / whole:.3f} x all of them")
    assert newest <= 0.1 * whole


def test_jobs_and_words_of_a_serial_number(records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Runs, repairs, jobs and the lines of a serial number with 2 000 runs take at most a second."""
    engine = open_engine(str(records))
    which = Which(serial=UNIT)

    def whole() -> list[str]:
        runs, repairs = list_runs(engine, which), repairs_among(engine, which)
        return history_lines(runs, repairs, len(runs), jobs_of(runs, repairs))

    try:
        (taken,) = seconds((whole,), 5)
    finally:
        engine.dispose()
    with capsys.disabled():
        print(f"\nhistory of a serial number in words, {UNIT_RUNS} runs: {1e3 * taken:.0f} ms; at most 1 s")
    assert taken <= 1.0
