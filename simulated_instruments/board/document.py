"""A YAML file of the simulator as nested entries that remember their line. It knows no circuit and no wiring.

Every scalar stays the text that was written (`10`, `1e3` and `no` are not turned into something else), and whoever
reads an entry says what it should be; a wrong one raises `FileError` with file and line.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from autobench.errors import FileError, Mistake, QuantityError
from autobench.quantity import Span, parse_quantity, parse_span

# The C parser where it is built in: the same safe subset, several times faster. No constructor is ever run.
LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


@dataclass(frozen=True)
class Entry:
    """One value of the file: a text, a list or a mapping of entries."""

    file: str
    line: int
    name: str
    text: str | None = None
    items: tuple[Entry, ...] = ()
    fields: Mapping[str, Entry] = field(default_factory=dict)

    def wrong(self, text: str) -> FileError:
        """The error that says `text` about this entry."""
        return FileError([Mistake(self.file, self.line, 0, f"{self.name}: {text}" if self.name else text)])

    def words(self) -> str:
        """The text of a scalar."""
        if self.text is None:
            raise self.wrong("one value is wanted here, not a list or mapping")
        return self.text

    def number(self, unit: str) -> float:
        """The value of a scalar such as `15 mohm` in the base unit."""
        try:
            return parse_quantity(self.words(), unit).value
        except QuantityError as error:
            raise self.wrong(str(error)) from error

    def span(self, unit: str) -> Span:
        """A scalar such as `0.05 ohm .. 0.6 ohm`."""
        try:
            return parse_span(self.words(), unit)
        except QuantityError as error:
            raise self.wrong(str(error)) from error

    def whole(self) -> int:
        """A scalar that is a whole number."""
        if not self.words().isdigit():
            raise self.wrong(f"'{self.text}' is not a whole number")
        return int(self.words())

    def pairs(self) -> Iterator[tuple[str, Entry]]:
        """The fields of a mapping, in the order written."""
        if self.text:
            raise self.wrong("a mapping is wanted here, not one value")
        if self.items:
            raise self.wrong("a mapping is wanted here, not a list")
        return iter(self.fields.items())

    def only(self, *allowed: str) -> None:
        """Refuse fields other than `allowed`."""
        for key, entry in self.pairs():
            if key not in allowed:
                raise entry.wrong(f"unknown here; allowed are {', '.join(allowed)}")

    def __getitem__(self, key: str) -> Entry:
        found = self.get(key)
        if found is None:
            raise self.wrong(f"'{key}' is missing")
        return found

    def get(self, key: str) -> Entry | None:
        """The field `key`, or None."""
        return dict(self.pairs()).get(key)


def read_entries(path: Path) -> Entry:
    """The file at `path`; raises `FileError` if it cannot be read or is not YAML."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is not text in UTF-8"
        raise FileError([Mistake(str(path), 0, 0, f"cannot be read: {reason}")]) from error
    try:
        node = yaml.compose(text, Loader=LOADER)
    except yaml.MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 0
        raise FileError([Mistake(str(path), line, 0, f"is not YAML: {error.problem}")]) from error
    except (yaml.YAMLError, RecursionError) as error:
        raise FileError([Mistake(str(path), 0, 0, f"is not YAML: {error}")]) from error
    if not isinstance(node, yaml.MappingNode):
        raise FileError([Mistake(str(path), 1, 0, "a mapping of fields is wanted at the top")])
    return entry_of(node, str(path), "", set())


def entry_of(node: yaml.Node, file: str, name: str, seen: set[int]) -> Entry:
    """The entry of a YAML node. A node met twice is an alias, which could make a small file endless: refused."""
    line = node.start_mark.line + 1
    if isinstance(node, yaml.ScalarNode):
        return Entry(file, line, name, text=str(node.value))
    if id(node) in seen:
        raise FileError([Mistake(file, line, 0, "anchors and aliases are not used in these files")])
    seen.add(id(node))
    if isinstance(node, yaml.SequenceNode):
        items = tuple(entry_of(item, file, name, seen) for item in node.value)
        return Entry(file, line, name, items=items)
    fields: dict[str, Entry] = {}
    for key, value in node.value:
        if not isinstance(key, yaml.ScalarNode):
            raise FileError([Mistake(file, line, 0, "a field's name must be one word or sentence")])
        if key.value in fields:
            raise FileError([Mistake(file, key.start_mark.line + 1, 0, f"'{key.value}' is written twice")])
        fields[key.value] = entry_of(value, file, f"{name} {key.value}".strip(), seen)
    return Entry(file, line, name, fields=fields)
