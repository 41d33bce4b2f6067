"""What must never reach a person: names of our own code, raw exceptions, marks of programs. Finds; runs nothing."""

from __future__ import annotations

import ast
import builtins
import html
import json
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("autobench", "simulated_instruments")
# A name of one hump (`Board`, `Trace`) is a word of the trade as well: it is ours only as `Board(…)` or `Verdict.GOOD`.
HUMPS = re.compile(r"[A-Z][A-Za-z0-9]*[a-z0-9][A-Z][A-Za-z0-9]*")
MARKS = {
    "a trace of a crash": re.compile(r"Traceback|most recent call last|^ +File \"", re.MULTILINE),
    "an object": re.compile(
        r"<[^<>\n]*\bobject\b[^<>\n]*>|\bobject at 0x|<class |<function |\bPosixPath\b|\bOrderedDict\b"
    ),
    "a value of the language": re.compile(r"\b(?:None|nan|NaN|inf|Infinity|dtype|array\()(?![\w-])|\b(?:True|False)\b"),
    "a name with underscores": re.compile(r"(?<![\w/.-])_*[A-Za-z][A-Za-z0-9]*_[A-Za-z0-9_]+"),
    "a module": re.compile(
        r"\b(?:autobench|simulated_instruments|pyvisa\w*|sqlalchemy|pydantic|numpy|jinja2)\.\w+|\w+\.py\b"
    ),
    "a number as programs write it": re.compile(r"\b\d+(?:\.\d+)?[eE][+-]\d+\b"),
    "a placeholder": re.compile(r"\{\{|\}\}|\{[a-z]\w*\}|%\(|%[sdr]\b"),
    "our own source": re.compile("|".join(re.escape(str(ROOT / package)) + r"\b" for package in PACKAGES)),
}


@cache
def class_names() -> frozenset[str]:
    """The names of all classes in our packages, read from their source so that none is missed for not being loaded."""
    return frozenset(
        node.name
        for package in PACKAGES
        for path in (ROOT / package).rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ClassDef)
    )


@cache
def exception_names() -> frozenset[str]:
    """The names of the language's own exceptions; words that people use as well (`Warning`) are none."""
    found = {
        name for name, value in vars(builtins).items() if isinstance(value, type) and issubclass(value, BaseException)
    }
    return frozenset(name for name in found if not name.endswith("Warning"))


@cache
def patterns() -> dict[str, re.Pattern[str]]:
    """Everything that is looked for, by what it is."""
    ours = sorted(class_names())
    humped = [name for name in ours if HUMPS.fullmatch(name)]
    exceptions = "|".join(sorted(exception_names()))
    return {
        "a class of ours": re.compile(rf"\b(?:{'|'.join(humped)})\b"),
        "a class of ours at work": re.compile(rf"\b(?:{'|'.join(ours)})(?:\(|\.[A-Za-z_]+\b)"),
        "an exception": re.compile(rf"\b(?:{exceptions}|[A-Z]\w+(?:Error|Exception))\b"),
        **MARKS,
    }


def offenders(text: str) -> list[tuple[str, str]]:
    """What is wrong in a text, each with the words round it."""
    found = []
    for what, pattern in patterns().items():
        for match in pattern.finditer(text):
            found.append((what, text[max(match.start() - 40, 0) : match.end() + 40].replace("\n", " ")))
    return found


def words_of_document(document: Any) -> Iterator[str]:
    """All texts in a JSON document but the keys of its objects, which are the contract's."""
    if isinstance(document, str):
        yield document
    elif isinstance(document, dict):
        for value in document.values():
            yield from words_of_document(value)
    elif isinstance(document, list):
        for value in document:
            yield from words_of_document(value)


def words_of_json(text: str) -> str:
    """The texts in what `--json` printed; numbers that are none (`NaN`) do not get through."""

    def refuse(constant: str) -> float:
        raise AssertionError(f"{constant} is no JSON")

    return "\n".join(words_of_document(json.loads(text, parse_constant=refuse)))


def words_of_page(page: str) -> str:
    """What a person reads, or hears read, of an HTML page: its text, titles and labels, without style and markup."""
    body = re.sub(r"<style>.*?</style>", " ", page, flags=re.DOTALL)
    labels = re.findall(r'\b(?:aria-label|data-label|title|alt)="([^"]*)"', body)
    return html.unescape("\n".join([re.sub(r"<[^>]*>", " ", body), *labels]))
