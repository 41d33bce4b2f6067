"""`autobench lint FILE|FOLDER…`: every mistake of board, bench, sequence and driver files. Words in, lines out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from autobench.errors import Mistake


@click.command()
@click.argument("files", metavar="FILE|FOLDER...", nargs=-1, required=True)
def lint(files: tuple[str, ...]) -> int:
    """Name every mistake in board, bench, sequence and driver files, and in how they go together.

    One line each, as file:line:column, on standard output. Exit code: 0 none, 2 some.
    """
    from autobench.documents.found_files import found_files
    from autobench.plan.lint import lint as mistakes_of

    paths = found_files(files)
    mistakes = mistakes_of(paths)
    for mistake in mistakes:
        click.echo(line_of(mistake))
    wrong = len({mistake.file for mistake in mistakes})
    if mistakes:
        click.echo(f"autobench: {counted(len(mistakes), 'mistake')} in {counted(wrong, 'file')}", err=True)
        return 2
    click.echo(f"{counted(len(paths), 'file')}, no mistakes")
    return 0


def line_of(mistake: Mistake) -> str:
    """`file:line:column: words`; a mistake of the file as a whole has neither line nor column."""
    from autobench.documents.words import printable

    place = f":{mistake.line}" if mistake.line else ""
    place += f":{mistake.column}" if mistake.line and mistake.column else ""
    return printable(f"{mistake.file}{place}: {mistake.text}")


def counted(number: int, word: str) -> str:
    """`1 file`, `3 files`."""
    return f"{number} {word}{'' if number == 1 else 's'}"
