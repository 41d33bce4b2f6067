"""`autobench investigate BOARD`: the round, then next checks one after another. Words to a request, nothing more."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from autobench.cli.check import carried_out
from autobench.cli.run_options import request_of, run_options


@click.command()
@click.argument("board")
@click.option("--minutes", metavar="N", type=click.FloatRange(min=0.0), help="Stop after so many minutes of checks.")
@click.option("--sequence", metavar="NAME", default="baseline", show_default=True, help="Which round to do first.")
@click.option("--only", metavar="STEP", multiple=True, help="Only these steps, and what they need to be safe.")
@click.option("--report", metavar="FILE.html", type=click.Path(path_type=Path), help="Write the report as well.")
@run_options
def investigate(
    board: str,
    minutes: float | None,
    sequence: str,
    only: tuple[str, ...],
    report: Path | None,
    as_json: bool,
    silent: bool,
    **given: Any,
) -> int:
    """Do the round on one BOARD, then go on with the check that tells the suspects apart best, again and again.

    It ends when they are told apart, when no check is left, or when the minutes are over. What the fixture reaches is
    looked at by itself, the rest is asked for; hands on the board only with every rail proved off. Exit code: as with
    check.
    """
    request = request_of(board, given, sequence=sequence, only=only, investigate=True, minutes=minutes)
    return carried_out(request, report, as_json, silent)
