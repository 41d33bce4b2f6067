"""`autobench new board|sequence|driver NAME`: a starting file to fill in. Writes that one file."""

from __future__ import annotations

from pathlib import Path

import click

NEXT = {
    "board": ("autobench lint {file}", "autobench plan ./{file}", "autobench rehearse ./{file}"),
    "sequence": ("autobench lint {file}", "autobench plan BOARD --sequence ./{file}"),
    "driver": ("autobench lint {file}",),
}


@click.command()
@click.argument("kind", type=click.Choice(tuple(NEXT)))
@click.argument("name")
def new(kind: str, name: str) -> int:
    """Write NAME.yaml, a commented starting file for a board, a sequence or a driver, into this folder.

    It has no mistakes and can be tried as it is; then replace what is in it. No file is ever written over.
    """
    from autobench.documents.starting_files import starting_file

    path = starting_file(kind, name, Path())
    click.echo(f"written: {path}")
    for line in NEXT[kind]:
        click.echo(f"  {line.format(file=path.name)}")
    return 0
