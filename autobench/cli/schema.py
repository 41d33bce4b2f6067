"""`autobench schema KIND`: the JSON Schema of a kind of file, for editors. Prints, and writes nothing."""

from __future__ import annotations

import click

KINDS = ("board", "bench", "sequence", "driver")


@click.command()
@click.argument("kind", type=click.Choice(KINDS))
def schema(kind: str) -> int:
    """Print the JSON Schema (draft 2020-12) of a KIND of file, with what each key means.

    An editor uses it when the first line of a file says '# yaml-language-server: $schema=' and where it lies.
    """
    from autobench.documents.file_schema import schema_text

    click.echo(schema_text(kind), nl=False)
    return 0
