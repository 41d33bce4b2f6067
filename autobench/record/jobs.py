"""Jobs: the runs of one serial number until a `good` after a repair. Pure; the runs come from `history`."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from autobench.record.history import Repair, RunRow


@dataclass(frozen=True)
class Job:
    """One job: its runs and repairs, oldest first; `closed` by a `good` run after a repair.

    Runs of different board types, and simulated and real ones, never share a job. `number` counts the jobs of one
    serial number on one board type from 1.
    """

    board: str
    serial: str
    simulated: bool
    number: int
    runs: tuple[RunRow, ...]
    repairs: tuple[Repair, ...]
    closed: bool


def jobs_of(runs: Iterable[RunRow], repairs: Iterable[Repair]) -> list[Job]:
    """The jobs that `runs` (in any order) make up, oldest first; runs without a serial number belong to none."""
    noted: dict[str, list[Repair]] = {}
    for repair in sorted(repairs, key=lambda repair: repair.number):
        noted.setdefault(repair.run, []).append(repair)
    by_unit: dict[tuple[str, str, bool], list[RunRow]] = {}
    for run in sorted(runs, key=lambda run: (run.started, run.run)):
        if run.serial is not None:
            by_unit.setdefault((run.board, run.serial, run.simulated), []).append(run)
    return [job for unit in by_unit.values() for job in jobs_of_unit(unit, noted)]


def jobs_of_unit(runs: list[RunRow], noted: dict[str, list[Repair]]) -> list[Job]:
    """The jobs of one board with one serial number; `runs` oldest first."""
    found: list[Job] = []
    open_runs: list[RunRow] = []
    for run in runs:
        repaired = any(earlier.run in noted for earlier in open_runs)
        open_runs.append(run)
        if repaired and run.verdict == "good":
            found.append(job_of(open_runs, noted, len(found) + 1, closed=True))
            open_runs = []
    if open_runs:
        found.append(job_of(open_runs, noted, len(found) + 1, closed=False))
    return found


def job_of(runs: list[RunRow], noted: dict[str, list[Repair]], number: int, *, closed: bool) -> Job:
    """One job of these runs."""
    first = runs[0]
    repairs = sorted((repair for run in runs for repair in noted.get(run.run, [])), key=lambda repair: repair.number)
    return Job(first.board, first.serial or "", first.simulated, number, tuple(runs), tuple(repairs), closed)
