"""YAML files as trees of texts with their places: bytes in, `Tree` out, every scalar kept exactly as written.

Nothing is constructed from a file: the reader of events never makes an object, a number or a date, follows no alias
and obeys no tag. Size, depth and number of nodes are bounded. This module must not know what any key means.
"""

from __future__ import annotations

import hashlib
import unicodedata
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from autobench.documents.syntax import plain_words
from autobench.errors import FileError, Mistake

MOST_BYTES = 1_000_000
MOST_DEPTH = 30
MOST_NODES = 50_000
MOST_TWICE = 100

# The parser in C where it is there; both are of the safe family and give the same events.
PARSER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


@dataclass(frozen=True)
class Scalar:
    """A text as written (quotes and escapes undone). `line` and `column` count from 1; `plain` means without quotes."""

    text: str
    line: int
    column: int
    plain: bool = True


@dataclass(frozen=True)
class Entries:
    """Keys with their values, in the order of the file; no key comes twice."""

    items: tuple[tuple[Scalar, Node], ...]
    line: int
    column: int

    def value(self, key: str) -> Node | None:
        """The value of `key`, or `None`."""
        return next((value for name, value in self.items if name.text == key), None)

    def key(self, key: str) -> Scalar | None:
        """The key as it stands in the file, with its place, or `None`."""
        return next((name for name, _ in self.items if name.text == key), None)


@dataclass(frozen=True)
class Listing:
    """A list of values."""

    items: tuple[Node, ...]
    line: int
    column: int


Node = Scalar | Entries | Listing
Route = tuple[str | int, ...]  # from the root: a key for each step into `Entries`, a number from 0 into a `Listing`


@dataclass(frozen=True)
class Tree:
    """One file. `file` is its path as given, `sha256` the hash of the bytes that were read."""

    file: str
    root: Node
    sha256: str

    def place(self, route: Route) -> tuple[int, int]:
        """Line and column that a mistake at `route` is reported at.

        That is the value where it is a text, else the key it belongs to. A route that leads out of the tree ends at
        the last part that is there.
        """
        node, place = self.root, (self.root.line, self.root.column)
        for part in route:
            below, key = step_into(node, part)
            if below is None:
                break
            node = below
            mark = key if key is not None and not (isinstance(node, Scalar) and node.text) else node
            place = (mark.line, mark.column)
        return place

    def key_place(self, route: Route) -> tuple[int, int]:
        """Line and column of the key at the end of `route` (its value's where there is no such key)."""
        node = self.node(route[:-1])
        key = node.key(str(route[-1])) if route and isinstance(node, Entries) else None
        return (key.line, key.column) if key else self.place(route)

    def node(self, route: Route) -> Node | None:
        """The node at `route`, or `None`."""
        node: Node | None = self.root
        for part in route:
            if node is None:
                return None
            node, _ = step_into(node, part)
        return node

    def mistake(self, route: Route, text: str) -> Mistake:
        """A mistake at `route`, with `text` as its words: how checks across files point at a line."""
        return Mistake(self.file, *self.place(route), text)

    def plain(self) -> Any:
        """The tree as dicts, lists and strings, without places."""
        return bare(self.root)


def load(path: str | Path) -> Tree:
    """Read a file; raises `FileError` with every mistake in its form (not its meaning)."""
    tree, mistakes = scan(path)
    if mistakes:
        raise FileError(mistakes)
    return tree


def scan(path: str | Path) -> tuple[Tree, list[Mistake]]:
    """As `load`, but keys written twice and tags come back as mistakes beside the tree.

    Raises `FileError` where there is no tree to go on with.
    """
    file = str(path)
    try:
        if Path(path).is_dir():
            raise FileError([Mistake(file, 0, 0, "is a folder, not a file")])
        with open(path, "rb") as stream:
            data = stream.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        words = getattr(error, "strerror", None) or str(error)
        raise FileError([Mistake(file, 0, 0, f"cannot be read: {words[:1].lower()}{words[1:]}")]) from error
    return parse(data, file)


def parse(data: bytes, file: str) -> tuple[Tree, list[Mistake]]:
    """As `scan`, for the bytes of a file that have been read already."""
    text = decode(data, file)
    builder = Builder(file)
    try:
        for event in yaml.parse(text, Loader=PARSER):
            builder.take(event)
    except yaml.YAMLError as error:
        raise FileError([syntax_mistake(error, file)]) from error
    if builder.root is None:
        raise FileError([Mistake(file, 0, 0, "the file is empty")])
    return Tree(file, builder.root, hashlib.sha256(data).hexdigest()), builder.mistakes


def decode(data: bytes, file: str) -> str:
    """The text of a file; raises `FileError` for one too large, not UTF-8, or with characters that cannot be seen."""
    if len(data) > MOST_BYTES:
        raise FileError([Mistake(file, 0, 0, f"is larger than {MOST_BYTES // 1000} kB; no file of this kind is")])
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        wrong = f"is not UTF-8 text (byte {data[error.start]:#04x}); save it as UTF-8"
        raise FileError([Mistake(file, line, 0, wrong)]) from error
    for number, line_text in enumerate(text.split("\n"), 1):
        check_line(line_text.removesuffix("\r"), number, file)
    return text


def check_line(text: str, number: int, file: str) -> None:
    """Raises `FileError` for a tab in the indentation or a character that no one can see."""
    indent = text[: len(text) - len(text.lstrip(" \t"))]
    if "\t" in indent and text.strip():
        raise FileError([Mistake(file, number, indent.index("\t") + 1, "indented with a tab; use spaces")])
    if text.isascii() and text.isprintable():
        return
    for column, character in enumerate(text, 1):
        # Cc control, Cf direction marks and zero widths, Cs halves, Zl and Zp line ends that YAML counts, editors not
        if character != "\t" and unicodedata.category(character) in ("Cc", "Cf", "Cs", "Zl", "Zp"):
            wrong = f"holds the invisible character U+{ord(character):04X}; delete it"
            raise FileError([Mistake(file, number, column, wrong)])


def syntax_mistake(error: yaml.YAMLError, file: str) -> Mistake:
    """What the YAML parser found, in plain words."""
    words = plain_words(error)
    marks = [getattr(error, "problem_mark", None), getattr(error, "context_mark", None)]
    if "never closed" in words:
        marks.reverse()  # where the quote or bracket opens, not where the parser gave up
    mark = next((each for each in marks if each is not None), None)
    line, column = (mark.line + 1, mark.column + 1) if mark else (0, 0)
    return Mistake(file, line, column, words)


@dataclass
class Opened:
    """A mapping or list whose end has not been seen."""

    line: int
    column: int
    is_mapping: bool
    key: Scalar | None = None
    entries: list[tuple[Scalar, Node]] = field(default_factory=list)
    items: list[Node] = field(default_factory=list)
    seen: dict[str, int] = field(default_factory=dict)


class Builder:
    """Takes the parser's events one by one and builds the tree on a stack of its own, within bounds."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.root: Node | None = None
        self.mistakes: list[Mistake] = []
        self.opened: list[Opened] = []
        self.nodes = 0
        self.documents = 0

    def take(self, event: Any) -> None:
        """Raises `FileError` for what ends the reading: aliases, a second document, too deep, too many."""
        line, column = event.start_mark.line + 1, event.start_mark.column + 1
        if isinstance(event, yaml.DocumentStartEvent):
            self.documents += 1
            if self.documents > 1:
                self.refuse(line, column, "a second document begins here; write one document a file")
        elif isinstance(event, yaml.NodeEvent):
            self.check_node(event, line, column)
            if isinstance(event, yaml.ScalarEvent):
                self.add(Scalar(event.value, line, column, not event.style))
            else:
                self.open(line, column, isinstance(event, yaml.MappingStartEvent))
        elif isinstance(event, yaml.CollectionEndEvent):
            top = self.opened.pop()
            if top.is_mapping:
                self.add(Entries(tuple(top.entries), top.line, top.column))
            else:
                self.add(Listing(tuple(top.items), top.line, top.column))

    def check_node(self, event: Any, line: int, column: int) -> None:
        self.nodes += 1
        if self.nodes > MOST_NODES:
            self.refuse(line, column, f"more than {MOST_NODES} values; no file of this kind has so many")
        if isinstance(event, yaml.AliasEvent):
            self.refuse(line, column, f"'*{event.anchor}' refers to another place; write the value out")
        if event.anchor is not None:
            self.refuse(line, column, f"'&{event.anchor}' names a place; write values out where they are needed")
        if event.tag is not None:
            tag = event.tag.replace("tag:yaml.org,2002:", "!!")
            self.mistakes.append(Mistake(self.file, line, column, f"the tag '{tag}' has no meaning here; delete it"))

    def open(self, line: int, column: int, is_mapping: bool) -> None:
        top = self.opened[-1] if self.opened else None
        if top and top.is_mapping and top.key is None:
            self.refuse(line, column, "a key must be a plain text")
        if len(self.opened) >= MOST_DEPTH:
            self.refuse(line, column, f"nested deeper than {MOST_DEPTH} levels")
        self.opened.append(Opened(line, column, is_mapping))

    def add(self, node: Node) -> None:
        if not self.opened:
            self.root = node
            return
        top = self.opened[-1]
        if not top.is_mapping:
            top.items.append(node)
        elif top.key is None and isinstance(node, Scalar):
            top.key = node
        elif top.key is not None:
            self.add_entry(top, top.key, node)
            top.key = None

    def add_entry(self, top: Opened, key: Scalar, node: Node) -> None:
        if key.text in top.seen:
            first = top.seen[key.text]
            text = f"the key '{key.text}'{self.under()} is written twice; the first is on line {first}"
            self.mistakes.append(Mistake(self.file, key.line, key.column, text))
            if len(self.mistakes) >= MOST_TWICE:
                self.refuse(key.line, key.column, "so many keys are written twice that the rest was not read")
            return
        top.seen[key.text] = key.line
        top.entries.append((key, node))

    def under(self) -> str:
        """Where the innermost open mapping stands, as ` under a > b`."""
        parts = []
        for opened in self.opened[:-1]:
            parts.append(opened.key.text if opened.key else f"item {len(opened.items) + 1}")
        return f" under {' > '.join(parts)}" if parts else ""

    def refuse(self, line: int, column: int, text: str) -> None:
        raise FileError([*self.mistakes, Mistake(self.file, line, column, text)])


def step_into(node: Node, part: str | int) -> tuple[Node | None, Scalar | None]:
    """The node one step below, with its key where it has one; (None, None) where there is no such step."""
    if isinstance(node, Entries):
        return node.value(str(part)), node.key(str(part))
    if isinstance(node, Listing) and isinstance(part, int) and 0 <= part < len(node.items):
        return node.items[part], None
    return None, None


def bare(node: Node) -> Any:
    """A node as dicts, lists and strings. Depth is bounded by the builder, so this may recurse."""
    if isinstance(node, Scalar):
        return node.text
    if isinstance(node, Listing):
        return [bare(item) for item in node.items]
    return {key.text: bare(value) for key, value in node.items}
