"""`autobench rehearse BOARD`: a sequence against every fault. Words to a request, the outcome to output; always 0."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

WIDE_STEP = 0.1  # share of the rounds after which a line is due where there is no terminal


@click.command()
@click.argument("board")
@click.option("--sequence", metavar="NAME", default="baseline", show_default=True, help="Which round to rehearse.")
@click.option("--seeds", metavar="N", type=int, default=3, show_default=True, help="Specimens for every fault.")
@click.option("--first-seed", metavar="N", type=int, default=0, show_default=True, help="The first of them.")
@click.option("--good", metavar="N", type=int, default=10, show_default=True, help="Good boards, for false alarms.")
@click.option("--pairs", metavar="N", type=int, default=0, show_default=True, help="Boards with two faults at once.")
@click.option("--investigate", is_flag=True, help="Go on with the next checks after each faulty round.")
@click.option("--circuit", metavar="FILE", type=click.Path(path_type=Path), help="Another circuit file.")
@click.option("--jobs", metavar="N", type=int, help="Processes that share the work (default: one a core).")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document on standard output.")
def rehearse(as_json: bool, **given: Any) -> int:
    """Do a round on simulated boards with every fault the simulator knows of BOARD, and say what is found and what not.

    Nothing is switched on and nothing is kept. Exit code 0 whatever is found, 2 for a wrong word or file.
    """
    from autobench.rehearsal.rehearse import RehearsalRequest
    from autobench.rehearsal.rehearse import rehearse as whole

    with Progress() as progress:
        done = whole(RehearsalRequest(**given), progress, explained=not as_json)
    if as_json:
        import json

        from autobench.rehearsal.document import rehearsal_document

        click.echo(json.dumps(rehearsal_document(done), ensure_ascii=False, indent=2, allow_nan=False))
        return 0
    from autobench.rehearsal.text import rehearsal_lines
    from autobench.views.wording import harmless

    for line in rehearsal_lines(done):
        click.echo(harmless(line))
    return 0


class Progress:
    """How far a rehearsal is, on standard error: one line that counts in a terminal, else a line now and then."""

    def __init__(self) -> None:
        self._stream = sys.stderr
        self._counts = self._stream.isatty()
        self._next = WIDE_STEP

    def __enter__(self) -> Progress:
        return self

    def __exit__(self, *raised: object) -> None:
        if self._counts:
            click.echo("\r\x1b[K", nl=False, file=self._stream)

    def __call__(self, done: int, of: int) -> None:
        words = f"rehearsed {done} of {of}"
        if self._counts:
            click.echo(f"\r{words}\x1b[K", nl=False, file=self._stream)
        elif done >= self._next * of or done == of:
            click.echo(words, file=self._stream)
            self._next += WIDE_STEP
