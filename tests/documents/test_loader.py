"""YAML files as trees of texts: what is kept, what is refused, and on which line."""

# ruff: noqa: E501  (an expected message stands on one line, as a person sees it)

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
import yaml

from autobench.documents import loader
from autobench.documents.loader import MOST_BYTES, MOST_DEPTH, MOST_NODES, Entries, Scalar, load, parse
from autobench.errors import FileError

WRONG_FORM: list[tuple[bytes, str]] = [
    (b"", "x.yaml: the file is empty"),
    (b"# only a remark\n", "x.yaml: the file is empty"),
    (b"a: 1\nb:\n\tc: 2\n", "x.yaml:3: indented with a tab; use spaces"),
    (b"a: 1\nb: caf\xe9\n", "x.yaml:2: is not UTF-8 text (byte 0xe9); save it as UTF-8"),
    (b"a: 1\nb: \x07\n", "x.yaml:2: holds the invisible character U+0007; delete it"),
    ("a: 1\nb: \u202eV 5\n".encode(), "x.yaml:2: holds the invisible character U+202E; delete it"),
    ("a: 1\nb: 5\u2028V\n".encode(), "x.yaml:2: holds the invisible character U+2028; delete it"),
    (b"a: 1\nb: &here 2\n", "x.yaml:2: '&here' names a place; write values out where they are needed"),
    (b"a: 1\nb: *here\n", "x.yaml:2: '*here' refers to another place; write the value out"),
    (b"a: 1\n---\nb: 2\n", "x.yaml:2: a second document begins here; write one document a file"),
    (
        b"a: 1\nb: !!python/object/apply:os.getcwd []\n",
        "x.yaml:2: the tag '!!python/object/apply:os.getcwd' has no meaning here; delete it",
    ),
    (b"a: 1\n? [b]\n: 2\n", "x.yaml:2: a key must be a plain text"),
    (b"a: 1\nb: 2\na: 3\n", "x.yaml:3: the key 'a' is written twice; the first is on line 1"),
    (
        b"a:\n  b:\n    - c: 1\n      c: 2\n",
        "x.yaml:4: the key 'c' under a > b > item 1 is written twice; the first is on line 3",
    ),
    (
        b"a: b: c\n",
        "x.yaml:1: cannot be read as YAML: a second ':' on the line, or wrong indentation; a text with ': ' needs quotes",
    ),
    (b"a:\n  b: 1\n c: 2\n", "x.yaml:3: cannot be read as YAML: the indentation does not fit the lines above"),
    (b"a: 1\nb: 'open\nc: 2\n", "x.yaml:2: cannot be read as YAML: a quote is never closed"),
    (b"a: 1\nb: {c: 1\nd: 2\n", "x.yaml:2: cannot be read as YAML: a '{' is never closed, or a ',' is missing"),
    (b"a: 1\nb: [1, 2\nd: 2\n", "x.yaml:2: cannot be read as YAML: a '[' is never closed, or a ',' is missing"),
    (b"a: 1\nb: @x\n", "x.yaml:2: cannot be read as YAML: a text cannot begin with this character; put it in quotes"),
    (b"a: 1\nlost words\n", "x.yaml:3: cannot be read as YAML: this is not 'key: value'"),
    (
        b"a: 1\nb: - c\n",
        "x.yaml:2: cannot be read as YAML: a '-' cannot stand here; begin the list on a line of its own",
    ),
    (b"{a: 1}}\n", "x.yaml:1: cannot be read as YAML: the file goes on after its end; is a bracket closed twice?"),
]


def said(data: bytes) -> str:
    """What is said about a file `x.yaml` with these bytes."""
    try:
        _, mistakes = parse(data, "x.yaml")
    except FileError as error:
        return str(error)
    return "\n".join(str(mistake) for mistake in mistakes)


@pytest.mark.parametrize(("data", "words"), WRONG_FORM)
def test_a_file_of_wrong_form_is_refused_with_words(data: bytes, words: str) -> None:
    """Every way a file can be malformed has one sentence and its line."""
    assert said(data) == words


def test_scalars_stay_as_written(tmp_path: Path) -> None:
    """Nothing is turned into a number, a date, a truth value or nothing: YAML 1.1 would do all four here."""
    path = tmp_path / "x.yaml"
    path.write_text("power: off\nat: 2026-03-02\nten: 010\ntime: 1:30\nnone: ~\nempty:\nyes: no\n", encoding="utf-8")
    assert load(path).plain() == {
        "power": "off",
        "at": "2026-03-02",
        "ten": "010",
        "time": "1:30",
        "none": "~",
        "empty": "",
        "yes": "no",
    }


def test_quotes_and_escapes_are_undone_and_remembered() -> None:
    """A quoted text is its content, and is told apart from a plain one."""
    tree, _ = parse(b"a: \"x\\ny\"\nb: 'it''s'\nc: plain\n", "x.yaml")
    assert isinstance(tree.root, Entries)
    assert tree.root.value("a") == Scalar("x\ny", 1, 4, plain=False)
    assert tree.root.value("b") == Scalar("it's", 2, 4, plain=False)
    assert tree.root.value("c") == Scalar("plain", 3, 4, plain=True)


def test_places_count_from_one_and_point_at_the_value_or_its_key() -> None:
    """A text is pointed at itself, a mapping or an empty value by its key, a list item by its beginning."""
    tree, _ = parse(b"# remark\na:\n  b: c\n  d:\n  e:\n    - f: 1\n    - g: 2\n", "x.yaml")
    assert tree.place(("a", "b")) == (3, 6)
    assert tree.place(("a",)) == (2, 1)
    assert tree.place(("a", "d")) == (4, 3)
    assert tree.place(("a", "e", 1)) == (7, 7)
    assert tree.place(("a", "e", 1, "g")) == (7, 10)
    assert tree.key_place(("a", "b")) == (3, 3)
    assert tree.place(("a", "nothing", "there")) == (2, 1)
    assert str(tree.mistake(("a", "b"), "is wrong")) == "x.yaml:3: is wrong"


def test_windows_line_ends_and_a_byte_order_mark_change_nothing() -> None:
    """Files saved by another editor read the same, lines included."""
    tree, mistakes = parse("\ufeffa: 1\r\nb:\r\n  c: 2\r\n".encode(), "x.yaml")
    assert not mistakes
    assert tree.plain() == {"a": "1", "b": {"c": "2"}}
    assert tree.place(("b", "c")) == (3, 6)


def test_a_bomb_of_aliases_is_refused_at_the_first_anchor() -> None:
    """The billion-laughs file is refused before anything is multiplied."""
    lines = [b"a0: &a0 [x, x, x, x, x, x, x, x, x]"]
    for level in range(1, 10):
        before = b"*a%d" % (level - 1)
        lines.append(b"a%d: &a%d [%s]" % (level, level, b", ".join([before] * 9)))
    assert said(b"\n".join(lines)) == "x.yaml:1: '&a0' names a place; write values out where they are needed"


@pytest.mark.parametrize("opening", [b"[", b"{a: ", b"- "])
def test_deep_nesting_is_refused(opening: bytes) -> None:
    """A file nested deeper than any real one is refused with its line, not with a broken stack."""
    assert said(b"a: 1\nb:\n  " + opening * (MOST_DEPTH + 5)) == f"x.yaml:3: nested deeper than {MOST_DEPTH} levels"
    assert "nested" in said(opening * 200_000)


def test_depth_up_to_the_bound_is_read() -> None:
    """The bound itself is allowed."""
    assert said(b"[" * MOST_DEPTH + b"x" + b"]" * MOST_DEPTH) == ""


def test_too_many_nodes_are_refused() -> None:
    """More values than any real file has are refused."""
    assert said(b"a: [" + b"x, " * (MOST_NODES + 1) + b"]") == (
        f"x.yaml:1: more than {MOST_NODES} values; no file of this kind has so many"
    )


def test_a_large_file_is_refused_unread(tmp_path: Path) -> None:
    """A file beyond the bound is refused as a whole."""
    path = tmp_path / "large.yaml"
    path.write_bytes(b"#" * (MOST_BYTES + 1))
    with pytest.raises(FileError) as caught:
        load(path)
    assert str(caught.value) == f"{path}: is larger than 1000 kB; no file of this kind is"


def test_what_cannot_be_read_is_said_in_words(tmp_path: Path) -> None:
    """A missing file and a folder are mistakes of the file as a whole."""
    with pytest.raises(FileError, match=r"nothing\.yaml: cannot be read: no such file or directory"):
        load(tmp_path / "nothing.yaml")
    with pytest.raises(FileError, match="is a folder, not a file"):
        load(tmp_path)


def test_the_hash_is_of_the_very_bytes_that_were_read(tmp_path: Path) -> None:
    """The tree carries the SHA-256 of its file, so that the record cannot name other bytes than those obeyed."""
    data = b"a: 1\n"
    path = tmp_path / "x.yaml"
    path.write_bytes(data)
    assert load(path).sha256 == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize(
    "data",
    [
        b"[" * 100_000,
        b"a: &a [x]\nb: *a\n",
        b"a: 1\n---\nb: 2\n",
        b"a: 1\na: 2\n",
        b"a: b: c\n",
        b"a: 'x\n",
        b"a:\n  b: 1\n c: 2\n",
    ],
)
def test_the_parser_in_python_is_as_strict(monkeypatch: pytest.MonkeyPatch, data: bytes) -> None:
    """Where the library was built without its C parser, the same files are refused, on the same lines."""
    fast = said(data)
    assert fast
    monkeypatch.setattr(loader, "PARSER", yaml.SafeLoader)
    assert said(data).split(": ")[0] == fast.split(": ")[0]


def test_all_keys_written_twice_are_told_at_once() -> None:
    """Mistakes that do not end the reading are all found."""
    assert said(b"a: 1\na: 2\nb:\n  c: 1\n  c: 2\n").count("\n") == 1
