"""The options of every command that powers a board, and what they come to. Words to a request, nothing more."""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from autobench.errors import UsageError

if TYPE_CHECKING:
    from autobench.app import CheckRequest
    from autobench.cli.keyboard import Keyboard
    from autobench.views.run_state import RunState
    from autobench.views.terminal import Terminal

Command = TypeVar("Command", bound=Callable[..., Any])

OPTIONS = (
    click.option("--serial", metavar="TEXT", help="Serial number of this board, to find its runs again."),
    click.option(
        "--with", "fitted", metavar="OPTION=CHOICE", multiple=True, help="An option this board is fitted with."
    ),
    click.option("--bench", metavar="FILE", help="Bench file (default: the simulated bench)."),
    click.option(
        "--records", metavar="URL", help="Where to keep the record (default: records.sqlite in your data folder)."
    ),
    click.option("--json", "as_json", is_flag=True, help="Print one JSON document on standard output."),
    click.option("--silent", is_flag=True, help="No bell."),
    click.option("--unattended", is_flag=True, help="Ask nothing; what needs a hand is skipped."),
    click.option("--operator", metavar="TEXT", help="Who does this, for the record."),
    click.option(
        "--fault",
        "faults",
        metavar="NAME[@PART]",
        multiple=True,
        help="Simulated bench: a fault of the board or the bench.",
    ),
    click.option(
        "--soldered", metavar="OPTION=CHOICE", multiple=True, help="Simulated bench: what the board really has."
    ),
    click.option(
        "--circuit", metavar="FILE", type=click.Path(path_type=Path), help="Simulated bench: another circuit file."
    ),
    click.option(
        "--seed", metavar="N", type=int, default=None, help="Simulated bench: which of its boards (default 0)."
    ),
)


def run_options(command: Command) -> Command:
    """Decorate a command with the options above, in their order."""
    for option in reversed(OPTIONS):
        command = option(command)
    return command


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


def request_of(board: str, given: dict[str, Any], **more: Any) -> CheckRequest:
    """The request that these options come to. Without a terminal there is nobody to ask, but for the simulated person
    that an investigation works with."""
    from autobench import app

    return app.CheckRequest(
        board=board,
        serial=given["serial"],
        options=pairs(given["fitted"], "--with"),
        bench=given["bench"],
        records=given["records"],
        unattended=given["unattended"] or not (sys.stdin.isatty() or more.get("investigate", False)),
        operator=given["operator"],
        simulation=app.Simulation(
            given["faults"], pairs(given["soldered"], "--soldered"), given["circuit"], given["seed"]
        ),
        **more,
    )


def done(request: CheckRequest, silent: bool) -> RunState:
    """The run, shown on standard error while it goes on."""
    from autobench import app
    from autobench.views.terminal import Terminal

    with Terminal(sys.stderr, bell=not silent) as terminal, keyboard(request, terminal) as keys:
        return app.check(request, [terminal.show], keys=keys)


def keyboard(request: CheckRequest, terminal: Terminal) -> AbstractContextManager[Keyboard | None]:
    """The keys of the person at the bench, or nobody's."""
    if request.unattended or not sys.stdin.isatty():
        return nullcontext()
    from autobench.cli.keyboard import Keyboard

    return Keyboard(sys.stdin, aside=terminal.aside)


def print_document(state: RunState) -> None:
    """The run's document on standard output."""
    import json

    from autobench.views.document import run_document

    click.echo(json.dumps(run_document(state), ensure_ascii=False, indent=2, allow_nan=False))


def exit_code(state: RunState) -> int:
    """The exit code of a run's verdict."""
    from autobench import app

    return app.EXIT_CODES[state.ended.verdict] if state.ended else 4
