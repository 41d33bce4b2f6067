"""The commands on the record: `history`, `show`, `repair`, `compare`, `export`. Words to calls, nothing more."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from autobench.errors import UsageError

if TYPE_CHECKING:
    from sqlalchemy import Engine

    from autobench.record.history import Repair, RunRow
    from autobench.record.jobs import Job

NARROWEST, PIPE_WIDTH = 40, 120
RECORDS = click.option("--records", metavar="URL", help="The record (default: records.sqlite in your data folder).")
JSON_FLAG = click.option("--json", "as_json", is_flag=True, help="Print one JSON document on standard output.")
SERIAL = click.option("--serial", metavar="TEXT", help="Only runs of this serial number.")
BOARD = click.option("--board", metavar="NAME", help="Only runs of this board type.")


@contextmanager
def open_record(records: str | None) -> Iterator[Engine]:
    """The record that is asked for, which must be there; closed afterwards."""
    from autobench.record.store import default_records, open_existing

    engine = open_existing(records or default_records())
    try:
        yield engine
    finally:
        engine.dispose()


def say(lines: Iterable[str], simulated: bool = False) -> None:
    """Plain lines on standard output; what came from outside cannot give the terminal orders.

    In a terminal long lines go on below, indented further than they began; a pipe gets each as one line.
    """
    from autobench.views.history_text import folded
    from autobench.views.wording import harmless

    mark = "SIMULATED  " if simulated else ""
    room = width() - len(mark) if sys.stdout.isatty() else None
    for line in lines:
        for piece in folded(harmless(line), room):
            click.echo(f"{mark}{piece}")


def say_json(document: dict[str, Any]) -> None:
    """One JSON document on standard output."""
    import json

    click.echo(json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False))


def width() -> int:
    """How long a line may be: the terminal's width, or plenty where there is none."""
    return max(shutil.get_terminal_size().columns, NARROWEST) if sys.stdout.isatty() else PIPE_WIDTH


@click.command()
@SERIAL
@BOARD
@click.option(
    "--limit", metavar="N", type=click.IntRange(1), default=20, show_default=True, help="How many runs, newest first."
)
@RECORDS
@JSON_FLAG
def history(serial: str | None, board: str | None, limit: int, records: str | None, as_json: bool) -> int:
    """List the runs of the record, newest first; with --serial also the jobs they make up."""
    from autobench.record.history import Which, count_runs, list_runs, repairs_among
    from autobench.record.jobs import jobs_of
    from autobench.views.history_text import history_lines
    from autobench.views.wording import harmless

    which = Which(board, serial)
    with open_record(records) as engine:
        runs = list_runs(engine, which, limit)
        total = len(runs) if len(runs) < limit else count_runs(engine, which)
        whole = runs if total == len(runs) or serial is None else list_runs(engine, which)
        repairs = repairs_among(engine, which, whole[-1].started if whole else "")
    jobs = jobs_of(whole, repairs) if serial is not None else []
    if as_json:
        say_json(history_document(runs, repairs, total, jobs))
    else:
        # Made harmless before it is laid out: what is written out is longer.
        say(history_lines(harmless(runs), harmless(repairs), total, harmless(jobs), width()))
    return 0


def history_document(runs: list[RunRow], repairs: list[Repair], total: int, jobs: list[Job]) -> dict[str, Any]:
    """What `history --json` prints."""
    from dataclasses import asdict

    noted: dict[str, list[dict[str, Any]]] = {}
    for repair in repairs:
        noted.setdefault(repair.run, []).append(asdict(repair))
    return {
        "total": total,
        "runs": [asdict(run) | {"repairs": noted.get(run.run, [])} for run in runs],
        "jobs": [
            {
                "board": job.board,
                "serial": job.serial,
                "simulated": job.simulated,
                "job": job.number,
                "closed": job.closed,
                "runs": [run.run for run in job.runs],
                "repairs": [asdict(repair) for repair in job.repairs],
            }
            for job in jobs
        ],
    }


@click.command()
@click.argument("run")
@RECORDS
@JSON_FLAG
def show(run: str, records: str | None, as_json: bool) -> int:
    """Show one RUN in full: `last`, a run's name, or the beginning of it."""
    from autobench.record.history import find_run
    from autobench.views.document import run_document
    from autobench.views.history_text import show_lines
    from autobench.views.recorded import recorded

    with open_record(records) as engine:
        found = recorded(engine, find_run(engine, run))
    if as_json:
        say_json(run_document(found.state))
    else:
        say(show_lines(found), found.row.simulated)
    return 0


@click.command()
@click.argument("run")
@click.argument("words", metavar='"WHAT WAS DONE"')
@click.option("--operator", metavar="TEXT", help="Who did it.")
@RECORDS
def repair(run: str, words: str, operator: str | None, records: str | None) -> int:
    """Note what was done to the board after a RUN; the next round of its serial number is compared with that run."""
    from autobench.clock import RealClock
    from autobench.record.history import find_run, note_repair
    from autobench.views.history_text import repair_words

    with open_record(records) as engine:
        found = find_run(engine, run)
        noted = note_repair(engine, found.run, words, operator, RealClock().wall())
    say([f"noted on {found.run}, {found.board} {found.serial or 'without a serial number'}: {repair_words(noted)}"])
    return 0


@click.command()
@click.argument("first", metavar="RUN")
@click.argument("second", metavar="RUN")
@RECORDS
@JSON_FLAG
def compare(first: str, second: str, records: str | None, as_json: bool) -> int:
    """Set two runs side by side: what failed and how it is now, what else moved, and whether the repair cured it."""
    from autobench.views.comparison_text import comparison_document, comparison_lines
    from autobench.views.recorded import compared

    with open_record(records) as engine:
        found = compared(engine, (first, second))
    if as_json:
        say_json(comparison_document(found))
    else:
        sides = [state.started for state in (found.before, found.after)]
        say(comparison_lines(found), any(side is not None and side.simulated for side in sides))
    return 0


@click.command()
@click.argument("run", nargs=-1)
@SERIAL
@BOARD
@click.option("--to", "folder", metavar="FOLDER", required=True, type=click.Path(path_type=Path), help="New or empty.")
@RECORDS
def export(run: tuple[str, ...], serial: str | None, board: str | None, folder: Path, records: str | None) -> int:
    """Write runs to files: readings as CSV, documents as JSON, traces as NPZ (time in s, volts in V)."""
    from autobench.record.export import export as write
    from autobench.record.history import Which, find_run, list_runs
    from autobench.views.recorded import recorded_document

    which = Which(board, serial)
    if bool(run) == (which != Which()):
        raise UsageError("say what to export: one or more RUN, or --serial or --board")
    with open_record(records) as engine:
        found = list({row.run: row for row in (find_run(engine, word) for word in run)}.values())
        if not run:
            found = list_runs(engine, which)[::-1]
        if not found:
            raise UsageError("there are no such runs in the record; 'autobench history' lists what there is")
        done = write(engine, found, folder, lambda row: recorded_document(engine, row))
    say([f"{done.runs} runs, {done.readings} readings and {done.traces} traces are in {folder}"])
    return 0
