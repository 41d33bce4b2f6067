"""What the tests of the record write: one start, one reading, and runs of one serial number."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from autobench.events import ReadingTaken, RunStarted
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict

STARTED = RunStarted(
    at=0.0,
    run="20260102-030405-0a0a0a",
    board="tarnbeck-8",
    serial="A7",
    options={"video": "late"},
    sequence="baseline",
    bench="simulated",
    simulated=True,
    operator="Ann",
    steps=("line FETCH",),
    instruments={"supply": "ps-3"},
    files={"a": "b"},
    started="2026-01-02T03:04:05.000+00:00",
)
READING = Reading(
    step="line FETCH",
    stage="cpu",
    net="FETCH",
    point="U1.27",
    quantity="rate",
    value=505e3 / 3.0,
    unit="Hz",
    uncertainty=1.0 / 3.0,
    low=1e5,
    high=None,
    limit_from="board file",
    verdict=Verdict.WITHIN,
    state="moving",
    budget=(("time base", 0.1),),
)

Write = Callable[..., None]


def taken(verdict: Verdict = Verdict.WITHIN, **changed: object) -> ReadingTaken:
    """A reading that was taken."""
    return ReadingTaken(2.0, replace(READING, verdict=verdict, **changed))  # type: ignore[arg-type]


def runs_of_one_unit(write: Write, verdicts: Sequence[str], serial: str = "A7") -> list[str]:
    """Runs of one serial number a minute apart; returns their names, oldest first."""
    names = []
    for minute, verdict in enumerate(verdicts):
        names.append(f"20260102-03{minute:02d}00-{serial.lower():0>6}")
        write(verdict=verdict, run=names[-1], serial=serial, started=f"2026-01-02T03:{minute:02d}:00.000+00:00")
    return names
