"""`autobench check BOARD`: the round on one board. Words to a request, the outcome to output and exit code."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from autobench.errors import UsageError

if TYPE_CHECKING:
    from autobench.app import CheckRequest
    from autobench.views.run_state import RunState


def pairs(written: tuple[str, ...], option: str) -> dict[str, str]:
    """`NAME=CHOICE` words as a dictionary; raises `UsageError` for anything else or for a name given twice."""
    found: dict[str, str] = {}
    for word in written:
        name, equals, choice = word.partition("=")
        if not (name and equals and choice):
            raise UsageError(f"{option} wants OPTION=CHOICE, not '{word}'")
        if name in found:
            raise UsageError(f"{option} gives '{name}' twice")
        found[name] = choice
    return found


@click.command()
@click.argument("board")
@click.option("--serial", metavar="TEXT", help="Serial number of this board, to find its runs again.")
@click.option("--with", "fitted", metavar="OPTION=CHOICE", multiple=True, help="An option this board is fitted with.")
@click.option("--bench", metavar="FILE", help="Bench file (default: the simulated bench).")
@click.option("--sequence", metavar="NAME", default="baseline", show_default=True, help="Which round to do.")
@click.option("--only", metavar="STEP", multiple=True, help="Only these steps, and what they need to be safe.")
@click.option(
    "--records", metavar="URL", help="Where to keep the record (default: records.sqlite in your data folder)."
)
@click.option("--report", metavar="FILE.html", type=click.Path(path_type=Path), help="Write the report as well.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document on standard output.")
@click.option("--unattended", is_flag=True, help="Ask nothing; what needs a hand is skipped.")
@click.option("--operator", metavar="TEXT", help="Who does this, for the record.")
@click.option(
    "--fault", metavar="NAME[@PART]", multiple=True, help="Simulated bench: a fault of the board or the bench."
)
@click.option("--soldered", metavar="OPTION=CHOICE", multiple=True, help="Simulated bench: what the board really has.")
@click.option(
    "--circuit", metavar="FILE", type=click.Path(path_type=Path), help="Simulated bench: another circuit file."
)
@click.option("--seed", metavar="N", type=int, default=None, help="Simulated bench: which of its boards (default 0).")
def check(
    board: str,
    serial: str | None,
    fitted: tuple[str, ...],
    bench: str | None,
    sequence: str,
    only: tuple[str, ...],
    records: str | None,
    report: Path | None,
    as_json: bool,
    unattended: bool,
    operator: str | None,
    fault: tuple[str, ...],
    soldered: tuple[str, ...],
    circuit: Path | None,
    seed: int | None,
) -> int:
    """Do the round on one BOARD (a name from `autobench list boards`, or a board file).

    Exit code: 0 good, 1 faulty, 2 a word or file is wrong, 3 undecided, 4 stopped.
    """
    from autobench import app
    from autobench.views.document import run_document
    from autobench.views.terminal import Terminal

    request = app.CheckRequest(
        board=board,
        serial=serial,
        options=pairs(fitted, "--with"),
        bench=bench,
        sequence=sequence,
        only=only,
        records=records,
        unattended=unattended or not sys.stdin.isatty(),
        operator=operator,
        simulation=app.Simulation(fault, pairs(soldered, "--soldered"), circuit, seed),
    )
    if report is not None:
        from autobench.views.report import check_writable

        check_writable(report)  # before anything is switched on: afterwards it would hide the verdict
    with Terminal(sys.stderr, bell=True) as terminal:
        state = app.check(request, [terminal.show], ask=terminal.asking(ask_person))
    after_the_run(request, state, report)
    if as_json:
        import json

        click.echo(json.dumps(run_document(state), ensure_ascii=False, indent=2, allow_nan=False))
    return app.EXIT_CODES[state.ended.verdict] if state.ended else 4


def after_the_run(request: CheckRequest, state: RunState, report: Path | None) -> None:
    """What follows a run that is over: the comparison with the one before a repair, and the report."""
    from autobench.record.history import find_run
    from autobench.record.store import default_records, open_existing

    if state.started is None or (report is None and request.serial is None):
        return
    engine = open_existing(request.records or default_records())
    try:
        if request.serial is not None:
            from autobench.views.comparison_text import comparison_lines
            from autobench.views.recorded import comparison_after_repair
            from autobench.views.wording import harmless

            found = comparison_after_repair(engine, state.started.run)
            for line in comparison_lines(found) if found is not None else ():
                click.echo(harmless(line), err=True)
        if report is not None:
            from autobench.views.recorded_report import write_recorded_report

            write_recorded_report(engine, find_run(engine, state.started.run), report)
            click.echo(f"written: {report}", err=True)
    finally:
        engine.dispose()


def ask_person(words: str) -> bool:
    """Ask the person at the terminal a yes-or-no question."""
    return click.confirm(words, err=True)
