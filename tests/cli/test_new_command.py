"""`autobench new`: starting files that have no mistakes and can be tried as they are; the description followed."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from autobench.__main__ import main
from autobench.documents.places import folder
from autobench.documents.starting_files import STARTERS

KINDS = ("board", "sequence", "driver")
MARK = "<!-- describe your own board -->\n```sh\n"


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder that a person sits in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def described() -> list[list[str]]:
    """The commands of 'a board of your own, from nothing', as words."""
    text = (folder("sequences") / "README.md").read_text(encoding="utf-8")
    block = text[text.index(MARK) + len(MARK) :].split("```")[0]
    return [line.split()[1:] for line in block.splitlines() if line.startswith("autobench ")]


@pytest.mark.parametrize("kind", KINDS)
def test_a_starting_file_lints_clean(kind: str, desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It is there, says its own name, explains itself in remarks, and has no mistake."""
    assert main(["new", kind, f"my-{kind}"]) == 0
    assert capsys.readouterr().out.startswith(f"written: my-{kind}.yaml\n")
    text = (desk / f"my-{kind}.yaml").read_text(encoding="utf-8")
    assert f"\n{kind}: my-{kind}\n" in text
    assert len(re.findall(r"(?m)(?:^| )# ", text)) >= 8
    assert "NAME" not in text
    assert main(["lint", f"my-{kind}.yaml"]) == 0


def test_the_description_is_followed_from_nothing_to_a_round(
    desk: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every command of the description but the rehearsal, in its order, in an empty folder: each does what it says."""
    monkeypatch.setenv("XDG_DATA_HOME", str(desk / "data"))
    names = [words[0] for words in described()]
    assert names == ["new", "lint", "plan", "check", "rehearse"]
    for words in described()[:-1]:
        assert main(words) == 0, (words, capsys.readouterr())
    said = capsys.readouterr()
    assert "1 file, no mistakes" in said.out
    assert "CANNOT" not in said.out
    assert "GOOD" in said.err


@pytest.mark.long
def test_the_description_is_followed_to_a_rehearsed_board(desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The new board is rehearsed against every fault as it stands: no false alarm on good boards, most faults found."""
    import json

    new, *_, rehearse = described()
    assert main(new) == 0
    capsys.readouterr()
    assert main([*rehearse, "--seeds", "1", "--good", "3", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["board"] == "my-board"
    assert found["good"] == {"runs": 3, "faulty": 0, "undecided": 0}
    runs = sum(fault["runs"] for fault in found["faults"])
    assert sum(fault["detected"] for fault in found["faults"]) >= 0.9 * runs > 0


@pytest.mark.parametrize("board", ["pellin-600", "my-board"])
def test_a_new_sequence_runs_on_any_board(
    board: str, desk: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The starting round is done as it is, on a shipped board and on one of a person's own."""
    monkeypatch.setenv("XDG_DATA_HOME", str(desk / "data"))
    main(["new", "board", "my-board"])
    main(["new", "sequence", "my-round"])
    name = "./my-board.yaml" if board == "my-board" else board
    assert main(["check", name, "--sequence", "./my-round.yaml", "--unattended"]) == 0
    assert "GOOD" in capsys.readouterr().err


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_is_written_over(kind: str, desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is there stays as it is, byte for byte."""
    path = desk / "mine.yaml"
    path.write_bytes(b"precious")
    assert main(["new", kind, "mine"]) == 2
    assert "mine.yaml is there already; nothing was written" in capsys.readouterr().err
    assert path.read_bytes() == b"precious"


@pytest.mark.parametrize(
    "name", ["", ".", "..", "../x", "a/b", "a\\b", "a b", "-x", "x" * 41, "con", "a;b", "é", "a\n", "\x1b[2J", "x.yaml"]
)
def test_names_are_checked(name: str, desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What could not be a file's name everywhere, or would leave the folder, is refused, and nothing is written."""
    assert main(["new", "board", "--", name]) == 2
    err = capsys.readouterr().err
    assert "cannot be the name of a board" in err
    assert "\x1b" not in err
    assert list(desk.iterdir()) == []


@pytest.mark.parametrize(("kind", "name"), [("board", "tarnbeck-8"), ("sequence", "baseline"), ("driver", "ps-3")])
def test_the_name_of_a_shipped_file_is_taken(
    kind: str, name: str, desk: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file of one's own must not hide behind, or in front of, one that ships."""
    assert main(["new", kind, name]) == 2
    assert "ships with autobench" in capsys.readouterr().err
    assert list(desk.iterdir()) == []


def test_a_folder_that_cannot_be_written_is_said(
    desk: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder that has gone meanwhile: words, and exit code 2."""
    gone = desk / "gone"
    gone.mkdir()
    monkeypatch.chdir(gone)
    gone.rmdir()
    assert main(["new", "board", "mine"]) == 2
    assert "cannot be written" in capsys.readouterr().err


def test_every_starting_file_is_of_a_kind_one_can_ask_for() -> None:
    """The folder holds what the command knows, and nothing else."""
    assert sorted(path.stem for path in STARTERS.iterdir()) == sorted(KINDS)
