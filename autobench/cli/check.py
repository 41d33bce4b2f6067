"""`autobench check BOARD`: the round on one board. Words to a request, the outcome to output and exit code."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from autobench.cli.run_options import done, exit_code, print_document, request_of, run_options

if TYPE_CHECKING:
    from autobench.app import CheckRequest
    from autobench.views.run_state import RunState


@click.command()
@click.argument("board")
@click.option("--sequence", metavar="NAME", default="baseline", show_default=True, help="Which round to do.")
@click.option("--only", metavar="STEP", multiple=True, help="Only these steps, and what they need to be safe.")
@click.option("--report", metavar="FILE.html", type=click.Path(path_type=Path), help="Write the report as well.")
@run_options
def check(
    board: str,
    sequence: str,
    only: tuple[str, ...],
    report: Path | None,
    as_json: bool,
    silent: bool,
    **given: Any,
) -> int:
    """Do the round on one BOARD (a name from `autobench list boards`, or a board file).

    Exit code: 0 good, 1 faulty, 2 a word or file is wrong, 3 undecided, 4 stopped.
    """
    return carried_out(request_of(board, given, sequence=sequence, only=only), report, as_json, silent)


def carried_out(request: CheckRequest, report: Path | None, as_json: bool, silent: bool) -> int:
    """Do what was asked for, with everything that follows it; the exit code."""
    if report is not None:
        from autobench.views.report import check_writable

        check_writable(report)  # before anything is switched on: afterwards it would hide the verdict
    state = done(request, silent)
    after_the_run(request, state, report)
    if as_json:
        print_document(state)
    return exit_code(state)


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
