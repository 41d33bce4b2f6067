"""From files to models: all mistakes at once, in our words, never in the library's."""

# ruff: noqa: E501  (an expected message stands on one line, as a person sees it)

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import Field

from autobench.documents.bench import Bench
from autobench.documents.board import Board
from autobench.documents.fields import Listed, Name, Seconds, Words, YesNo, whole
from autobench.documents.loader import parse
from autobench.documents.places import find_board
from autobench.documents.reading import MOST_MISTAKES, model_of, read
from autobench.documents.section import Complaint, Section
from autobench.documents.sequence import Sequence
from autobench.errors import FileError


class Shelf(Section):
    """A section with one field of every sort that the library could complain about by itself."""

    name: Name
    words: Words = "none"
    depth: int = 1
    height: float = 1.0
    kind: Literal["wood", "steel"] = "wood"
    holes: Annotated[tuple[Annotated[int, whole(1, 9)], ...], Listed(), Field(max_length=3)] = ()
    boxes: dict[Name, Seconds] = Field(default_factory=dict)
    fixed: YesNo = False

    def check(self) -> Iterator[Complaint]:
        if self.fixed and self.depth > 3:
            yield Complaint(("depth",), "is too deep for a fixed shelf")
            yield Complaint(("fixed",), "a deep shelf cannot be fixed", at_key=True)


class Room(Section):
    """Shelves in a list."""

    shelves: tuple[Shelf, ...]


def made(text: str, model: type[Any] = Room) -> Any:
    """The model of a file `x.yaml` with this text."""
    tree, mistakes = parse(text.encode(), "x.yaml")
    return model_of(tree, model, mistakes)


def said(text: str, model: type[Any] = Room) -> str:
    """What is said about it."""
    with pytest.raises(FileError) as caught:
        made(text, model)
    return str(caught.value)


WRONG: list[tuple[str, str]] = [
    ("shelves: many\n", "x.yaml:1: shelves: must be a list"),
    ("shelves:\n", "x.yaml:1: shelves: nothing is written here"),
    ("- a\n- b\n", "x.yaml:1: must hold keys of its own"),
    ("a text\n", "x.yaml:1: must hold keys of its own"),
    ("shelves:\n  - top\n", "x.yaml:2: shelves > item 1: must hold keys of its own"),
    ("shelves:\n  - name: a\n  - words: b\n", "x.yaml:3: the key 'name' is missing under shelves > item 2"),
    ("shelves:\n  - name: a\n    depth: deep\n", "x.yaml:3: shelves > item 1 > depth: 'deep' is not a whole number"),
    ("shelves:\n  - name: a\n    height: x\n", "x.yaml:3: shelves > item 1 > height: 'x' is not a number"),
    (
        "shelves:\n  - name: a\n    kind: steal\n",
        "x.yaml:3: shelves > item 1 > kind: 'steal' is not known here; allowed are wood, steel; did you mean 'steel'?",
    ),
    (
        "shelves:\n  - name: a\n    kind: [wood]\n",
        "x.yaml:3: shelves > item 1 > kind: must be one word; allowed are wood, steel",
    ),
    ("shelves:\n  - name: a\n    holes: 1, 2, x\n", "x.yaml:3: shelves > item 1 > holes: 'x' is not a whole number"),
    ("shelves:\n  - name: a\n    holes: 1, 2, 3, 4\n", "x.yaml:3: shelves > item 1 > holes: takes at most 3, has 4"),
    (
        "shelves:\n  - name: a\n    holes:\n      - 1\n      - 10\n",
        "x.yaml:5: shelves > item 1 > holes > item 2: '10' is out of range; 1 to 9 is allowed",
    ),
    ("shelves:\n  - name: a\n    boxes: 3 s\n", "x.yaml:3: shelves > item 1 > boxes: must hold keys of its own"),
    (
        "shelves:\n  - name: a\n    boxes:\n      b: 3 V\n",
        "x.yaml:4: shelves > item 1 > boxes > b: '3 V' is in V, but s is wanted",
    ),
    (
        "shelves:\n  - name: a\n    boxes:\n      ' b': 3 s\n",
        "x.yaml:4: shelves > item 1 > boxes: ' b' begins or ends with a space, or has two together",
    ),
    (
        "shelves:\n  - name: a\n    fixed: yes\n    depth: 4\n",
        "x.yaml:3: shelves > item 1 > fixed: a deep shelf cannot be fixed\nx.yaml:4: shelves > item 1 > depth: is too deep for a fixed shelf",
    ),
    (
        "shelves:\n  - name: " + "n" * 60 + "\n",
        f"x.yaml:2: shelves > item 1 > name: '{'n' * 60}' is too long for a name; at most 48 characters",
    ),
    (
        "shelves:\n  - name: a\n    words: " + "w" * 500 + "\n",
        "x.yaml:3: shelves > item 1 > words: is longer than 400 characters",
    ),
    ("shelves:\n  - {name: ''}\n", "x.yaml:2: shelves > item 1 > name: nothing is written here; a name is wanted"),
    (
        "shelves:\n  - name: a\n    <<: {words: b}\n",
        "x.yaml:3: unknown key '<<' under shelves > item 1; allowed are name, words, depth, height, kind, holes, boxes, fixed",
    ),
]


@pytest.mark.parametrize(("text", "words"), WRONG)
def test_a_wrong_value_is_said_in_our_words(text: str, words: str) -> None:
    """Whatever the library calls it, the message names the place and what to write."""
    assert said(text) == words


def test_all_mistakes_come_at_once_in_reading_order() -> None:
    """Three mistakes of different sorts in one file give three messages, by line."""
    text = "shelves:\n  - name: a\n    name: b\n  - nmae: c\n  - name: d\n    kind: paper\n"
    assert said(text).splitlines() == [
        "x.yaml:3: the key 'name' under shelves > item 1 is written twice; the first is on line 2",
        "x.yaml:4: unknown key 'nmae' under shelves > item 2; allowed are name, words, depth, height, kind, holes, boxes, "
        "fixed; did you mean 'name'?",
        "x.yaml:6: shelves > item 3 > kind: 'paper' is not known here; allowed are wood, steel",
    ]


def test_a_misspelt_key_is_not_also_missing() -> None:
    """One slip gives one message: the key it was meant to be is not called missing as well."""
    assert "missing" not in said("shelves:\n  - nmae: c\n")


def test_a_key_that_is_there_is_not_suggested() -> None:
    """A suggestion is never a key that stands beside the unknown one already."""
    assert "did you mean" not in said("shelves:\n  - name: a\n    namee: b\n")


def test_keys_are_read_with_spaces_only() -> None:
    """The file writes `when off`; the field's own spelling with an underscore is unknown."""
    text = find_board("tarnbeck-8").read_text(encoding="utf-8").replace("cpu class:", "cpu_class:")
    with pytest.raises(FileError, match=r"unknown key 'cpu_class' under architecture; .*did you mean 'cpu class'\?"):
        made(text, Board)


def test_lists_may_be_written_in_two_ways() -> None:
    """`1, 2` and a YAML list mean the same."""
    written = [made(f"shelves:\n  - name: a\n    holes: {holes}\n").shelves[0].holes for holes in ("1, 2", "[1, 2]")]
    assert written == [(1, 2), (1, 2)]


def test_models_cannot_be_changed() -> None:
    """What was read stays as it was read."""
    board = read(find_board("tarnbeck-8"), Board)
    with pytest.raises(ValueError, match="frozen"):
        board.board = "other"


def test_very_many_mistakes_are_cut() -> None:
    """A file of nothing but mistakes gives a readable number of messages and their count."""
    lines = said("shelves:\n" + "".join(f"  - nam{number}: x\n" for number in range(1000))).splitlines()
    assert len(lines) == MOST_MISTAKES + 1
    assert "more mistakes are not shown" in lines[-1]


def test_escapes_never_reach_the_terminal() -> None:
    """Control characters written as escapes in a file come out as escapes in the message."""
    words = said('shelves:\n  - name: "a\\e[2Jb"\n  - "\\e[31mred": 1\n    name: c\n')
    assert "\x1b" not in words
    assert r"'a\x1b[2Jb' is not a name" in words


YAML_VALUES = st.recursive(
    st.text("abc 019:.-±%VAs{}[]'\"\n\\", max_size=12),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["name", "holes", "boxes", "kind", "depth", "fixed", "x"]), inner, max_size=4)
    ),
    max_leaves=8,
)


@given(YAML_VALUES)
def test_no_value_breaks_the_reader(value: Any) -> None:
    """Any tree gives a model or mistakes with lines, and never the library's own words."""
    import json

    text = json.dumps({"shelves": [value]})
    try:
        made(text)
        mistakes = []
    except FileError as error:
        mistakes = list(error.mistakes) or pytest.fail("refused without a reason")
    for mistake in mistakes:
        assert mistake.line == 1
        assert not any(word in mistake.text.lower() for word in ("pydantic", "input should", "field required"))


@pytest.mark.parametrize("model", [Bench, Board, Sequence])
def test_the_schema_of_a_file_kind_speaks_of_texts(model: type[Section]) -> None:
    """The JSON Schema describes the file as written: keys with spaces, quantities as texts, nothing else allowed."""
    schema = model.model_json_schema()
    assert schema["additionalProperties"] is False
    for section in schema["$defs"].values():
        assert section["additionalProperties"] is False
        assert not any("_" in key for key in section["properties"])
    assert "Quantity" not in schema["$defs"]
    assert "Span" not in schema["$defs"]


def test_the_packages_themselves_do_not_load_the_validator() -> None:
    """`autobench --help` must not pay for pydantic: neither package, nor loader or look-up of files, imports it."""
    code = (
        "import sys, autobench, autobench.documents, autobench.documents.places, autobench.documents.loader;"
        "sys.exit('pydantic' in sys.modules)"
    )
    root = Path(__file__).parents[2]
    assert subprocess.run([sys.executable, "-c", code], cwd=root, check=False).returncode == 0
