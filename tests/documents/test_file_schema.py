"""The schema of each kind of file: made from the code, shipped, named by every shipped file, and fulfilled by it."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

from autobench.__main__ import main
from autobench.documents.file_kinds import FILE_KINDS, kind_of
from autobench.documents.file_schema import FOLDERS, schema_file, schema_of, schema_text
from autobench.documents.loader import load
from autobench.documents.places import folder

KINDS = tuple(FILE_KINDS)
FILES = sorted([*folder("sequences").rglob("*.yaml"), *folder("drivers").rglob("*.yaml")])
NAMES = [path.stem for path in FILES]


class EditorsLoader(yaml.SafeLoader):
    """Reads a file as an editor does: numbers are numbers, `yes` is a word (YAML 1.2.2, section 10.3)."""


EditorsLoader.yaml_implicit_resolvers = {}
EditorsLoader.add_implicit_resolver("tag:yaml.org,2002:int", re.compile(r"^[-+]?[0-9]+$"), list("-+0123456789"))
EditorsLoader.add_implicit_resolver(
    "tag:yaml.org,2002:float", re.compile(r"^[-+]?(\.[0-9]+|[0-9]+\.[0-9]*)([eE][-+]?[0-9]+)?$"), list("-+.0123456789")
)


def as_an_editor_sees(path: Path) -> Any:
    """A file as values; a key is always a text."""
    return json.loads(json.dumps(yaml.load(path.read_text(encoding="utf-8"), Loader=EditorsLoader)))


def sections(schema: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    """Every mapping with keys in a schema, by name."""
    found = [("", schema), *schema.get("$defs", {}).items()]
    whole = [(name, each) for name, part in found for each in (part, *part.get("anyOf", ()))]
    return [(name, each) for name, each in whole if "properties" in each]


@pytest.mark.parametrize("kind", KINDS)
def test_a_schema_is_one(kind: str) -> None:
    """The schema is valid by the meta-schema of its draft, which the reference library holds (JSON Schema 2020-12)."""
    schema = schema_of(kind)
    assert schema["$schema"] == jsonschema.Draft202012Validator.META_SCHEMA["$id"]
    jsonschema.Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("path", FILES, ids=NAMES)
def test_a_shipped_file_fulfils_its_schema(path: Path) -> None:
    """What an editor checks while a person types finds nothing wrong in what ships."""
    kind = kind_of(load(path))
    assert kind is not None
    errors = jsonschema.Draft202012Validator(schema_of(kind)).iter_errors(as_an_editor_sees(path))
    assert [f"{list(error.path)}: {error.message[:200]}" for error in errors] == []


@pytest.mark.parametrize("path", FILES, ids=NAMES)
def test_a_shipped_file_names_its_schema(path: Path) -> None:
    """The first line tells an editor where the schema of this kind of file lies, seen from the file."""
    kind = kind_of(load(path))
    first = path.read_text(encoding="utf-8").splitlines()[0]
    assert first == f"# yaml-language-server: $schema={os.path.relpath(schema_file(kind or ''), path.parent)}"


@pytest.mark.parametrize("kind", KINDS)
def test_the_shipped_schema_is_the_one_the_code_makes(kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    """`autobench schema KIND` prints it; after a change of a model it is printed into the file again."""
    assert main(["schema", kind]) == 0
    assert capsys.readouterr().out == schema_text(kind)
    assert schema_file(kind).read_text(encoding="utf-8") == schema_text(kind), f"autobench schema {kind} > it"


@pytest.mark.parametrize("kind", KINDS)
def test_every_key_says_what_it_is(kind: str) -> None:
    """An editor shows words beside every key, and no key an unknown one."""
    found = sections(schema_of(kind))
    assert [f"{name}.{key}" for name, each in found for key, value in each["properties"].items()
            if not value.get("description")] == []  # fmt: skip
    assert [name for name, each in found if each.get("additionalProperties") is not False] == []


@pytest.mark.parametrize("kind", KINDS)
def test_schema_and_description_know_the_same_keys(kind: str) -> None:
    """The description beside the files names every key that the schema has, and the code reads no other."""
    text = (folder(FOLDERS[kind]) / "README.md").read_text(encoding="utf-8")
    keys = {key for _, each in sections(schema_of(kind)) for key in each["properties"]}
    assert sorted(key for key in keys if f"`{key}`" not in text) == []
    named = {name for _, each in sections(schema_of(kind)) for name in each["properties"]}
    assert set(FILE_KINDS[kind].key_names()) <= named


WRONG = (
    ("board", "architecture:\n  cpu class: Q\n", "architecture"),
    ("sequence", "sequence: x\nwords: x\nsteps:\n  - {step: a, stage: nowhere, wait: 1 s}\n", "steps"),
    ("bench", "bench: x\nwords: x\nsimulated: maybe\n", "simulated"),
    ("driver", "driver: x\nkind: toaster\n", "kind"),
)


@pytest.mark.parametrize(("kind", "text", "key"), WRONG)
def test_a_schema_finds_what_is_wrong(tmp_path: Path, kind: str, text: str, key: str) -> None:
    """A word that is not allowed is found at its key."""
    path = tmp_path / "wrong.yaml"
    path.write_text(text, encoding="utf-8")
    errors = list(jsonschema.Draft202012Validator(schema_of(kind)).iter_errors(as_an_editor_sees(path)))
    assert key in {str(error.path[0]) for error in errors if error.path}
