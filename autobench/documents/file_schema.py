"""The JSON Schema (draft 2020-12) of each kind of file, made from the models the files are read with.

What an editor shows beside a key is what the model says of it. The checks that compare keys with each other are no part
of a schema; `autobench lint` makes them.
"""

from __future__ import annotations

import ast
import json
import re
import sys
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from autobench.documents.file_kinds import FILE_KINDS
from autobench.documents.places import folder
from autobench.documents.schema_examples import EXAMPLES
from autobench.documents.section import Section

DIALECT = "https://json-schema.org/draft/2020-12/schema"
COMMENT = re.compile(r"\s#\s*(.+)$")
FOLDERS = {"board": "sequences", "bench": "sequences", "sequence": "sequences", "driver": "drivers"}
# A bare number or word is one text to us, whatever type YAML sees in it.
SCALARS = ["string", "number"]
AS_WORD = ("Out",)  # sections that may be written as one word


def schema_file(kind: str) -> Path:
    """Where the shipped schema of a kind of file lies, for an editor to find."""
    return folder(FOLDERS[kind]) / "schemas" / f"{kind}.json"


def schema_text(kind: str) -> str:
    """The schema as it is written to a file."""
    return json.dumps(schema_of(kind), ensure_ascii=False, indent=1) + "\n"


def schema_of(kind: str) -> dict[str, Any]:
    """The schema of a kind of file: `board`, `bench`, `sequence` or `driver`."""
    model = FILE_KINDS[kind]
    made: dict[str, Any] = model.model_json_schema(by_alias=True)
    for name in AS_WORD:
        if name in made.get("$defs", {}):
            describe(made["$defs"][name], name)
            made["$defs"][name] = {"anyOf": [{"type": "string"}, made["$defs"][name]]}
    for name, section in [(model.__name__, made), *made.get("$defs", {}).items()]:
        describe(section, name)
    plain: dict[str, Any] = without_titles(made)
    words = (model.__doc__ or "").strip()
    return {"$schema": DIALECT, "title": f"{kind} file of autobench", **plain, "description": first_sentence(words)}


def describe(section: dict[str, Any], name: str) -> None:
    """Puts descriptions and examples to the keys of one section."""
    told = descriptions().get(name, {})
    for key, value in section.get("properties", {}).items():
        words = told.get(key)
        if words:
            value["description"] = " ".join(words.split())
        examples = EXAMPLES.get(f"{name}.{key}") or EXAMPLES.get(key)
        if examples:
            value["examples"] = list(examples)


def without_titles(value: Any, inside: str = "") -> Any:
    """The schema without the library's titles, and with every lone text also allowed as a bare number or date."""
    if isinstance(value, list):
        return [without_titles(each) for each in value]
    if not isinstance(value, dict):
        return value
    names = inside in ("properties", "$defs")  # here the keys are words of the file
    found = {key: without_titles(each, key) for key, each in value.items() if names or key not in ("title", "default")}
    if not names and found.get("type") == "string" and not ({"enum", "const", "pattern", "format"} & found.keys()):
        found["type"] = SCALARS
    return found


@cache
def descriptions() -> Mapping[str, Mapping[str, str]]:
    """Section to key to what the model says of it: the text under the field, or the remark beside it."""
    found = {}
    for model in sections(Section):
        told = told_of(sys.modules[model.__module__].__file__ or "").get(model.__name__, {})
        found[model.__name__] = {
            field.alias or key: told[key] for key, field in model.model_fields.items() if key in told
        }
    return found


@cache
def told_of(file: str) -> Mapping[str, Mapping[str, str]]:
    """Every class of a module with what it says of its fields."""
    source = Path(file).read_text(encoding="utf-8")
    lines = source.splitlines()
    return {
        node.name: dict(told_fields(node, lines)) for node in ast.parse(source).body if isinstance(node, ast.ClassDef)
    }


def told_fields(node: ast.ClassDef, lines: list[str]) -> Iterator[tuple[str, str]]:
    """The fields of one section with what is said of each."""
    for number, item in enumerate(node.body):
        if not isinstance(item, ast.AnnAssign) or not isinstance(item.target, ast.Name):
            continue
        after = node.body[number + 1] if number + 1 < len(node.body) else None
        if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant) and isinstance(after.value.value, str):
            yield item.target.id, after.value.value
            continue
        beside = COMMENT.search(lines[(item.end_lineno or item.lineno) - 1])
        if beside is not None:
            yield item.target.id, beside[1]


def sections(model: type[Section]) -> Iterator[type[Section]]:
    """Every section there is, in whichever module."""
    for each in model.__subclasses__():
        yield each
        yield from sections(each)


def first_sentence(words: str) -> str:
    """What stands before the first full stop."""
    return " ".join(words.split(".")[0].split()) + "."
