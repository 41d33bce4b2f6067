"""Which kind of file a file is, told by its own first words, and the file read as that kind. Compares no two files."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from autobench.documents.bench import Bench
from autobench.documents.board import Board
from autobench.documents.driver import Driver
from autobench.documents.included import resolved
from autobench.documents.loader import Entries, Tree, scan
from autobench.documents.places import is_file
from autobench.documents.reading import model_of
from autobench.documents.section import Section
from autobench.documents.sequence import Sequence
from autobench.documents.words import closest, quoted
from autobench.errors import FileError, Mistake

# The key that names a file's kind, and what a file of that kind is read as.
FILE_KINDS: Mapping[str, type[Section]] = {"board": Board, "bench": Bench, "sequence": Sequence, "driver": Driver}
NAMED_FOR_FILE = ("board", "sequence", "driver")  # found by the name of their file


@dataclass(frozen=True)
class Inspected:
    """One file as far as it could be read: its `kind` and `document` where it is of one, and every mistake in it."""

    path: Path
    kind: str | None = None
    tree: Tree | None = None
    document: Section | None = None
    mistakes: tuple[Mistake, ...] = ()

    @property
    def name(self) -> str:
        """The name it gives itself."""
        return str(getattr(self.document, self.kind or "", ""))


def inspect(path: Path) -> Inspected:
    """The file with all its mistakes; raises nothing."""
    if not is_file(path):
        words = "is neither a file nor a folder" if os.path.lexists(path) else "there is no such file or folder"
        return Inspected(path, mistakes=(Mistake(str(path), 0, 0, words),))
    try:
        tree, mistakes = scan(path)
    except FileError as error:
        return Inspected(path, mistakes=error.mistakes)
    kind = kind_of(tree)
    if kind is None:
        found = Mistake(tree.file, tree.root.line, tree.root.column, unknown_kind(tree))
        return Inspected(path, None, tree, None, (*mistakes, found))
    mistakes += misnamed(tree, kind, path)
    try:
        document: Section = model_of(tree, FILE_KINDS[kind], mistakes)
        if isinstance(document, Sequence):
            document = resolved(document, tree, path)
    except FileError as error:
        return Inspected(path, kind, tree, None, error.mistakes)
    return Inspected(path, kind, tree, document)


def kind_of(tree: Tree) -> str | None:
    """`board`, `bench`, `sequence` or `driver`: the first of these keys at the top of the file; `None` without one."""
    if not isinstance(tree.root, Entries):
        return None
    return next((key.text for key, _ in tree.root.items if key.text in FILE_KINDS), None)


def unknown_kind(tree: Tree) -> str:
    """What to say about a file that is of no kind."""
    keys = [key.text for key, _ in tree.root.items] if isinstance(tree.root, Entries) else []
    meant = next((word for key in keys[:1] if (word := closest(key, FILE_KINDS)) is not None), None)
    begin = "a file begins with 'board:', 'bench:', 'sequence:' or 'driver:' and its name"
    if not keys:
        return f"holds no keys; {begin}"
    found = f"nothing says what kind of file this is, its first key is {quoted(keys[0])}; {begin}"
    return found if meant is None else f"{found}; did you mean {quoted(meant)}?"


def misnamed(tree: Tree, kind: str, path: Path) -> list[Mistake]:
    """Boards, sequences and drivers are found by the name of their file, so both are the same."""
    name = tree.node((kind,))
    written = getattr(name, "text", None)
    if kind not in NAMED_FOR_FILE or not isinstance(written, str) or not written or written == path.stem:
        return []
    text = f"{kind}: {quoted(written)} is found by the name of its file, which is {quoted(path.stem)}; make them alike"
    return [tree.mistake((kind,), text)]
