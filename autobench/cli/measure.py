"""`autobench measure POINT BOARD`: one reading or trace at a point now. Words to a request, the outcome to output."""

from __future__ import annotations

from typing import Any

import click

from autobench.cli.run_options import done, exit_code, print_document, request_of, run_options


@click.command()
@click.argument("point")
@click.argument("board")
@run_options
def measure(point: str, board: str, as_json: bool, silent: bool, **given: Any) -> int:
    """Power the BOARD safely, look at one POINT (such as U1.27), and switch off again.

    Ohms and polarity come first, as in every round. Exit code: that of the reading's verdict, as with check.
    """
    state = done(request_of(board, given, point=point), silent)
    if as_json:
        print_document(state)
    return exit_code(state)
