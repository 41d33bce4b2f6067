"""Starting files for a board, a sequence or a driver of one's own. Writes one new file and never over another."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from autobench.documents import places
from autobench.documents.file_schema import schema_file
from autobench.documents.words import quoted
from autobench.errors import UsageError

STARTERS = Path(__file__).resolve().parent / "starters"
SHIPPED: dict[str, Callable[[], list[tuple[str, Path]]]] = {
    "board": places.list_boards,
    "sequence": places.list_sequences,
    "driver": places.list_drivers,
}
# A name is a file's name on every system, a word on a command line, and what a plate or a bench file calls it.
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")
TAKEN_BY_SYSTEMS = re.compile(r"con|prn|aux|nul|com[0-9]|lpt[0-9]", re.IGNORECASE)
PLACEHOLDER = re.compile(r"\bNAME\b")


def starting_file(kind: str, name: str, folder: Path) -> Path:
    """Write NAME.yaml of a kind into `folder` and return where it is.

    Raises `UsageError` for a name that cannot be one or that ships, for a file that is there, and for a folder that
    cannot be written.
    """
    if not NAME.fullmatch(name) or TAKEN_BY_SYSTEMS.fullmatch(name):
        allowed = f"up to 40 letters, digits, - and _ are allowed, such as my-{kind}-1"
        raise UsageError(f"{quoted(name)} cannot be the name of a {kind}; {allowed}")
    if name in dict(SHIPPED[kind]()):
        raise UsageError(f"a {kind} {quoted(name)} ships with autobench; choose another name for your own")
    path = folder / f"{name}{places.SUFFIX}"
    try:
        with open(path, "x", encoding="utf-8") as stream:
            stream.write(starting_text(kind, name))
    except FileExistsError:
        raise UsageError(f"{path} is there already; nothing was written") from None
    except OSError as error:
        words = error.strerror or str(error)
        raise UsageError(f"{path} cannot be written: {words[:1].lower()}{words[1:]}") from None
    return path


def starting_text(kind: str, name: str) -> str:
    """The text of a starting file, with the line that tells an editor where its schema is."""
    text = (STARTERS / f"{kind}{places.SUFFIX}").read_text(encoding="utf-8")
    return f"# yaml-language-server: $schema={schema_file(kind)}\n{PLACEHOLDER.sub(name, text)}"
