"""`autobench list …`: what boards, sequences, drivers and faults there are, and from which file."""

from __future__ import annotations

import json
from collections.abc import Sequence

import click

JSON_FLAG = click.option("--json", "as_json", is_flag=True, help="Print JSON on standard output.")


@click.group("list")
def list_group() -> None:
    """List what there is."""


def show_files(kind: str, as_json: bool) -> int:
    """Names and files of one kind."""
    from autobench.documents import places

    found = {"boards": places.list_boards, "sequences": places.list_sequences, "drivers": places.list_drivers}[kind]()
    if as_json:
        click.echo(json.dumps([{"name": name, "file": str(path)} for name, path in found], indent=2))
        return 0
    show_table([(name, str(path)) for name, path in found])
    return 0


def show_table(rows: Sequence[Sequence[str]]) -> None:
    """Rows in aligned columns, two spaces apart."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))] if rows else []
    for row in rows:
        click.echo("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())


@list_group.command()
@JSON_FLAG
def boards(as_json: bool) -> int:
    """Board files."""
    return show_files("boards", as_json)


@list_group.command()
@JSON_FLAG
def sequences(as_json: bool) -> int:
    """Sequence files."""
    return show_files("sequences", as_json)


@list_group.command()
@JSON_FLAG
def drivers(as_json: bool) -> int:
    """Driver files, one a command dialect."""
    return show_files("drivers", as_json)


@list_group.command()
@click.argument("board")
@JSON_FLAG
def faults(board: str, as_json: bool) -> int:
    """Faults the simulator knows for a BOARD, for `check --fault`."""
    from autobench import app

    found = app.list_faults(board)
    if as_json:
        click.echo(json.dumps(found, ensure_ascii=False, indent=2))
        return 0
    show_table(
        [
            (str(row["kind"]), f"{row['fault']}@{row['part'] or row['net'] or ''}".rstrip("@"), str(row["words"]))
            for row in found
        ]
    )
    return 0
