"""SCPI program messages: text to units with headers resolved from the root, and header patterns to match them.

The rules are those of IEEE 488.2 chapter 7 and SCPI-1999 volume 1, 6. Nothing here sends or receives, and no command of
any instrument is known here; parameter values are read by `autobench.protocols.parameters`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from autobench.errors import ProtocolError
from autobench.protocols.status import error_text

LONGEST_KEPT = 200  # characters of a message that is remembered once it has been taken apart
LONGEST_MNEMONIC = 12
LONGEST_CHARACTER_DATA = 12
SPACE = re.compile(r"[\x00-\x20]*")  # IEEE 488.2 7.4.1.2: every control character is white space too
HEADER = re.compile(r":?[A-Za-z0-9_:]+\??|\*[A-Za-z0-9_]*\??")
MNEMONIC = re.compile(r"[A-Za-z][A-Za-z0-9_]*")
DECIMAL = re.compile(
    r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:\s*[Ee]\s*[+-]?[0-9]+)?(?:\s*/?[A-Za-z][A-Za-z0-9./-]*)?", re.ASCII
)
NON_DECIMAL = re.compile(r"#(?:[Hh][0-9A-Fa-f]+|[Qq][0-7]+|[Bb][01]+)")
EXPRESSION = re.compile(r"\((?:[^\"'#;()]|\([^\"'#;()]*\))*\)")
DATA_STARTS = "\"'(#+-.@,"  # a header that runs into one of these lacks its separator


class ScpiError(ProtocolError):
    """A program message breaks the standard. `number` is the standard's error number, `info` what it is about."""

    def __init__(self, number: int, info: str = "") -> None:
        self.number = number
        self.info = info
        text = error_text(number)
        super().__init__(f"{number} {text}: {info}" if info else f"{number} {text}")

    def __reduce__(self) -> tuple[type[ScpiError], tuple[int, str]]:
        return (ScpiError, (self.number, self.info))


@dataclass(frozen=True)
class Unit:
    """One program message unit. `header` is resolved from the root, in upper case, with any digits as sent.

    A common command has its star in the header: `("*IDN",)`. `parameters` are the data elements as sent, strings with
    their quotes, blocks with their `#`.
    """

    header: tuple[str, ...]
    query: bool
    common: bool
    parameters: tuple[str, ...]

    def __str__(self) -> str:
        return ":".join(self.header) + ("?" if self.query else "")


def short_form(mnemonic: str) -> str:
    """The short form, in upper case, of a long form.

    Written in two cases (`VOLTage`), the capitals say it, exceptions to the rule included (`TCouple` is `TC`).
    Written in one case, the rule of SCPI-1999 volume 1, 6.2.1 applies: up to four letters stay; else the first four,
    or the first three when the fourth is a vowel (`Y` counts as one).
    """
    if mnemonic != mnemonic.upper() and mnemonic != mnemonic.lower():
        return re.sub(r"[a-z]", "", mnemonic)
    mnemonic = mnemonic.upper()
    if len(mnemonic) <= 4:
        return mnemonic
    return mnemonic[:3] if mnemonic[3] in "AEIOUY" else mnemonic[:4]


@dataclass(frozen=True)
class Node:
    """One mnemonic of a pattern; `numbered` if a numeric suffix may follow."""

    long: str
    short: str
    numbered: bool

    def suffix(self, sent: str) -> int | None:
        """The numeric suffix (1 where omitted) if `sent` names this node, else None."""
        name = sent.rstrip("0123456789") if self.numbered else sent
        if name not in (self.long, self.short):
            return None
        return int(sent[len(name) :] or "1")


class Pattern:
    """A header as the standard writes it: capitals for the short form, `[...]` for what may be left out.

    `#` after a mnemonic declares a numeric suffix (`CHANnel#:SCALe`), a final `?` the query form. Common commands are
    patterns too (`*IDN?`).
    """

    def __init__(self, text: str) -> None:
        self.text = text
        self.query = text.endswith("?")
        self.spellings = tuple(expand(text.rstrip("?")))

    def __repr__(self) -> str:
        return f"Pattern({self.text!r})"

    def match(self, header: tuple[str, ...]) -> tuple[int, ...] | None:
        """The numeric suffixes of the `#` nodes sent or left out (then 1), in order; None if the header is another."""
        header = tuple(mnemonic.upper() for mnemonic in header)
        for nodes, present in self.spellings:
            if len(present) != len(header):
                continue
            found: dict[int, int] = {}
            for place, sent in zip(present, header, strict=True):
                suffix = nodes[place].suffix(sent)
                if suffix is None:
                    break
                found[place] = suffix
            else:
                return tuple(found.get(place, 1) for place, node in enumerate(nodes) if node.numbered)
        return None


def expand(text: str) -> Iterator[tuple[tuple[Node, ...], tuple[int, ...]]]:
    """All ways to send a pattern: its nodes, and which of them are present."""
    nodes: list[Node] = []
    ways: list[tuple[int, ...]] = [()]
    before: list[tuple[int, ...]] | None = None
    for part in re.findall(r"\*?[A-Za-z0-9_]+#?|[\[\]:]", text):
        if part == "[":
            if before is not None:
                raise ValueError(f"'{text}': optional parts cannot be nested")
            before = list(ways)
        elif part == "]":
            ways = [*(before or []), *ways]
            before = None
        elif part != ":":
            name = part.rstrip("#")
            nodes.append(Node(name.upper(), short_form(name), part.endswith("#")))
            ways = [(*way, len(nodes) - 1) for way in ways]
    for way in ways:
        yield tuple(nodes), way


def parse_message(text: str) -> list[Unit]:
    """The units of one program message without its terminator; raises `ScpiError` at the first thing that is wrong.

    Path rule (SCPI-1999 vol. 1, 6.2.4): a header without leading colon continues at the level of the one before, whose
    last mnemonic is dropped; common commands neither use nor change the path.
    """
    return list(units(text))


def units(text: str) -> Iterator[Unit]:
    """As `parse_message`, but unit by unit, so that a device acts on what came before the mistake."""
    if len(text) > LONGEST_KEPT:
        yield from parsed(text)
        return
    found, mistake = kept(text)
    yield from found
    if mistake is not None:
        raise ScpiError(*mistake)


@lru_cache(maxsize=4096)
def kept(text: str) -> tuple[tuple[Unit, ...], tuple[int, str] | None]:
    """The units of a message up to its first mistake, and that: the same few messages are sent again and again."""
    found: list[Unit] = []
    try:
        for unit in parsed(text):
            found.append(unit)
    except ScpiError as error:
        return tuple(found), (error.number, error.info)
    return tuple(found), None


def parsed(text: str) -> Iterator[Unit]:
    """Unit by unit, from the text."""
    path: tuple[str, ...] = ()
    at = skip_space(text, 0)
    while at < len(text):
        if text[at] == ";":  # an empty unit does nothing
            at = skip_space(text, at + 1)
            continue
        header, at = read_header(text, at)
        parameters, at = read_parameters(text, at)
        unit = resolved(header, path, parameters)
        if not unit.common:
            path = unit.header[:-1]
        yield unit
        at = skip_space(text, at + 1)


def skip_space(text: str, at: int) -> int:
    """The place of the first character that is not white space."""
    match = SPACE.match(text, at)
    return match.end() if match else at


def read_header(text: str, at: int) -> tuple[str, int]:
    """The header that begins at `at`, and the place after it."""
    match = HEADER.match(text, at)
    if not match:
        raise ScpiError(-102 if text[at] in DATA_STARTS else -101, shown(text[at:]))
    end = match.end()
    if end < len(text) and text[end] > " " and text[end] != ";":
        separated = text[end] not in DATA_STARTS and not match.group().endswith("?")
        raise ScpiError(-101 if separated else -111, shown(text[at : end + 1]))
    return match.group(), end


def resolved(sent: str, path: tuple[str, ...], parameters: tuple[str, ...]) -> Unit:
    """The unit for a header as sent, under the path left by the one before it."""
    query = sent.endswith("?")
    name = sent.rstrip("?").upper()
    if name.startswith("*"):
        if not MNEMONIC.fullmatch(name[1:]):
            raise ScpiError(-102, shown(sent))
        mnemonics: tuple[str, ...] = (name[1:],)
    else:
        mnemonics = tuple(name.removeprefix(":").split(":"))
    for mnemonic in mnemonics:
        if not MNEMONIC.fullmatch(mnemonic):
            raise ScpiError(-102, shown(sent))
        if len(mnemonic) > LONGEST_MNEMONIC:
            raise ScpiError(-112, shown(mnemonic))
    if name.startswith("*"):
        return Unit((name,), query, True, parameters)
    return Unit(mnemonics if name.startswith(":") else path + mnemonics, query, False, parameters)


def read_parameters(text: str, at: int) -> tuple[tuple[str, ...], int]:
    """The data elements from `at` to the end of the unit, and the place of its `;` (or of the end)."""
    found: list[str] = []
    at = skip_space(text, at)
    while at < len(text) and text[at] != ";":
        start, end = at, element_end(text, at)
        found.append(text[start:end])
        at = skip_space(text, end)
        if at >= len(text) or text[at] == ";":
            break
        if text[at] != ",":
            raise ScpiError(separator_error(text[start], text[end]), shown(text[at:]))
        at = skip_space(text, at + 1)
        if at >= len(text) or text[at] == ";":
            raise ScpiError(-102, "nothing after a comma")
    return tuple(found), at


def separator_error(first: str, after: str) -> int:
    """The error for an element that begins with `first` and is followed by neither comma, `;` nor the end."""
    if after <= " " or after == ":" or first in "\"'(":
        return -103
    return -141 if first.isalpha() else -121


def element_end(text: str, at: int) -> int:
    """Where the data element that begins at `at` ends, by its kind (IEEE 488.2 7.7)."""
    first = text[at]
    if first in "\"'":
        return string_end(text, at)
    if first == "(":
        match = EXPRESSION.match(text, at)
        if not match:
            raise ScpiError(-171, shown(text[at:]))
        return match.end()
    if first == "#":
        return hash_end(text, at)
    if first in "+-." or first.isdecimal():
        match = DECIMAL.match(text, at)
        if not match:
            raise ScpiError(-121, shown(text[at:]))
        return match.end()
    match = MNEMONIC.match(text, at)
    if not match:
        raise ScpiError(-102 if first == "," else -101, shown(text[at:]))
    if len(match.group()) > LONGEST_CHARACTER_DATA:
        raise ScpiError(-144, shown(match.group()))
    return match.end()


def string_end(text: str, at: int) -> int:
    """The place after the closing quote; a doubled quote belongs to the string."""
    quote, end = text[at], at + 1
    while True:
        end = text.find(quote, end) + 1
        if end == 0:
            raise ScpiError(-151, "the closing quote is missing")
        if text[end : end + 1] != quote:
            return end
        end += 1


def hash_end(text: str, at: int) -> int:
    """The end of a non-decimal number or of an arbitrary block."""
    kind = text[at + 1 : at + 2]
    if kind in tuple("HhQqBb"):
        match = NON_DECIMAL.match(text, at)
        if not match:
            raise ScpiError(-121, shown(text[at:]))
        return match.end()
    if kind == "0":
        return len(text)  # an indefinite block lasts until the end of the message
    if kind not in tuple("123456789"):
        raise ScpiError(-161, shown(text[at:]))
    start = at + 2 + int(kind)
    digits = text[at + 2 : start]
    if len(digits) != int(kind) or not (digits.isascii() and digits.isdigit()) or start + int(digits) > len(text):
        raise ScpiError(-161, "the block is shorter than it says")
    return start + int(digits)


def shown(text: str) -> str:
    """The beginning of what was sent, fit for an error string."""
    return "".join(letter if " " <= letter <= "~" else "?" for letter in text[:40])
