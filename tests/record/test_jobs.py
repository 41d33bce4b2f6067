"""Jobs: the runs of one serial number until a `good` after a repair."""

from __future__ import annotations

from autobench.record.history import Repair, RunRow
from autobench.record.jobs import jobs_of


def run(
    name: str, verdict: str, serial: str | None = "A7", board: str = "tarnbeck-8", simulated: bool = False
) -> RunRow:
    started = f"2026-01-02T03:04:{int(name):02d}.000+00:00"
    return RunRow(name, started, board, serial, "baseline", simulated, None, verdict, None, 1.0)


def repair(number: int, of: str) -> Repair:
    return Repair(number, of, "2026-01-02T03:05:00.000+00:00", None, "U1 swapped")


def told(runs: list[RunRow], repairs: list[Repair]) -> list[tuple[str, int, bool]]:
    """Runs of each job run together, its number, and whether it is closed."""
    return [("".join(run.run for run in job.runs), job.number, job.closed) for job in jobs_of(runs, repairs)]


def test_a_good_run_after_a_repair_closes_the_job() -> None:
    """What comes later is a new job of the same unit."""
    runs = [run("1", "faulty"), run("2", "faulty"), run("3", "good"), run("4", "faulty")]
    assert told(runs, [repair(1, "1")]) == [("123", 1, True), ("4", 2, False)]
    assert told(runs[::-1], [repair(1, "1")]) == [("123", 1, True), ("4", 2, False)]


def test_a_good_run_without_a_repair_closes_nothing() -> None:
    """A board that is good by itself may fail again: the job stays open."""
    assert told([run("1", "faulty"), run("2", "good"), run("3", "faulty")], []) == [("123", 1, False)]


def test_a_repair_noted_on_the_good_run_itself_is_too_late() -> None:
    """Only a round after the repair proves it."""
    assert told([run("1", "faulty"), run("2", "good")], [repair(1, "2")]) == [("12", 1, False)]


def test_units_are_kept_apart() -> None:
    """Serial numbers, board types, and simulated and real runs never share a job; runs without a serial have none."""
    runs = [
        run("1", "faulty"),
        run("2", "good", serial="B1"),
        run("3", "good", board="pellin-600"),
        run("4", "good", simulated=True),
        run("5", "good", serial=None),
    ]
    assert told(runs, [repair(1, "1")]) == [("1", 1, False), ("2", 1, False), ("3", 1, False), ("4", 1, False)]


def test_a_job_has_the_repairs_of_its_runs_in_order() -> None:
    """Every repair noted on any run of the job, as they were noted."""
    (job,) = jobs_of([run("1", "faulty"), run("2", "faulty")], [repair(2, "1"), repair(1, "2")])
    assert [found.number for found in job.repairs] == [1, 2]
