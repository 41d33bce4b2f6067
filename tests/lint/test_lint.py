"""`autobench lint`: every mistake of every file, at its line and column, in words a technician can act on."""

from __future__ import annotations

import os
import re
import shutil
from pathlib import Path

import pytest

from autobench.__main__ import main
from autobench.documents.places import folder
from tests.lint.wrong_files import WRONG_FILES
from tests.whole.inner_words import offenders

BASE = Path(__file__).parent / "right_files"
PLACE = re.compile(r"^[^:\n]+\.ya?ml:[0-9]+:[0-9]+: ")


@pytest.fixture
def files(tmp_path: Path) -> Path:
    """The files that have no mistake."""
    return Path(shutil.copytree(BASE, tmp_path / "files"))


def linted(capsys: pytest.CaptureFixture[str], *words: str | Path) -> tuple[int, list[str], str]:
    """Exit code, what is said on standard output with the folder left out, and what on standard error."""
    code = main(["lint", *map(str, words)])
    out, err = capsys.readouterr()
    return code, [line.rsplit("/", 1)[-1] if line.startswith("/") else line for line in out.splitlines()], err


def said_in(folder: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    """What is said about the files of a folder that has mistakes, names of folders left out."""
    code = main(["lint", str(folder)])
    out, err = capsys.readouterr()
    assert (code, err != "") == (2, True)
    return [line.replace(f"{folder}/", "") for line in out.splitlines()]


def test_every_shipped_file_is_clean(capsys: pytest.CaptureFixture[str]) -> None:
    """Boards, benches, sequences and drivers that ship have no mistake, by themselves and together."""
    code, out, err = linted(capsys, folder("sequences"), folder("drivers"))
    assert (code, err) == (0, "")
    assert re.fullmatch(r"[0-9]+ files, no mistakes", out[0])


def test_the_files_the_wrong_ones_are_made_of_are_clean(files: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is said about a changed file is about the change."""
    assert linted(capsys, files) == (0, ["5 files, no mistakes"], "")


def test_there_are_enough_wrong_files() -> None:
    """At least eighty, of all four kinds, no two alike."""
    assert len({(name, old, new) for name, old, new, _ in WRONG_FILES}) >= 80
    assert {name for name, *_ in WRONG_FILES} == {path.name for path in BASE.iterdir()}


@pytest.mark.parametrize(("name", "old", "new", "said"), WRONG_FILES)
def test_a_wrong_file_gets_exactly_these_words(
    files: Path, capsys: pytest.CaptureFixture[str], name: str, old: str, new: str, said: list[str]
) -> None:
    """Every mistake once, with file, line and column, in plain words; nothing else is complained about."""
    path = files / name
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    found = said_in(files, capsys)
    assert found == said
    assert all(PLACE.match(line) for line in found)
    assert offenders("\n".join(line.replace("{", "<").replace("}", ">") for line in found)) == []


def test_mistakes_of_all_files_come_at_once(files: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A board, a bench, a sequence and a driver are wrong: one command names all of it, file by file as given."""
    for name, old, new in (
        ("bread-2.yaml", "trip: 5.5 V", "trip: 5.0 V"),
        ("corner.yaml", "line frequency: 50 Hz", "line frequency: 55 Hz"),
        ("short.yaml", "words: a short round\n", ""),
        ("ps-x.yaml", "kind: supply", "kind: suply"),
    ):
        path = files / name
        path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    order = [files / name for name in ("short.yaml", "ps-x.yaml", "corner.yaml", "bread-2.yaml")]
    code, out, err = linted(capsys, *order)
    assert code == 2
    assert [line.split(":")[0] for line in out] == ["short.yaml", "ps-x.yaml", "corner.yaml", "bread-2.yaml"]
    assert err == "autobench: 4 mistakes in 4 files\n"


def test_a_driver_that_a_bench_names_is_looked_at_too(files: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Only the bench is given; the mistake is in the driver beside it, and is named there once."""
    path = files / "ps-x.yaml"
    path.write_text(path.read_text(encoding="utf-8").replace("kind: supply", "kind: suply"), encoding="utf-8")
    code, out, _ = linted(capsys, files / "corner.yaml")
    assert code == 2
    assert [line.split(":")[:2] for line in out] == [["ps-x.yaml", "5"]]


def test_the_steps_of_a_sequence_want_one_bench_that_can(files: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With two benches a step is a mistake only if neither has the instrument; with no bench nothing is said."""
    bench = (files / "corner.yaml").read_text(encoding="utf-8")
    cut = (
        bench.replace("bench: corner", "bench: bare")
        .replace("driver: o-1b,", "driver: m-2,")
        .replace(", probe: 10", "")
    )
    cut = cut.replace(", scope 1: 3, scope 2: 4, scope 3: 5, scope 4: 6", "")
    (files / "bare.yaml").write_text(cut, encoding="utf-8")
    assert linted(capsys, files)[0] == 0
    assert linted(capsys, files / "short.yaml")[0] == 0
    code, out, _ = linted(capsys, files / "short.yaml", files / "bare.yaml")
    assert (code, len(out)) == (2, 1)
    assert out[0].endswith("no instrument can do this: bench 'bare' has neither a scope nor a counter")


def write_hostile(home: Path) -> None:
    """Files that no editor writes."""
    (home / "bytes.yaml").write_bytes(b"board: \xff\xfe\x00")
    (home / "nul.yaml").write_bytes(b"board: a\x00b\n")
    (home / "empty.yaml").write_bytes(b"")
    (home / "alias.yaml").write_text("board: &a [*a]\n", encoding="utf-8")
    (home / "merge.yaml").write_text("a: &x {b: 1}\nboard:\n  <<: *x\n", encoding="utf-8")
    (home / "tag.yaml").write_text("board: !!python/object/apply:os.system [x]\n", encoding="utf-8")
    (home / "deep.yaml").write_text("board: " + "[" * 200 + "]" * 200, encoding="utf-8")
    (home / "two.yaml").write_text("board: a\n---\nboard: b\n", encoding="utf-8")
    (home / "list.yaml").write_text("- board\n- bench\n", encoding="utf-8")
    (home / "turn.yaml").write_text("board: a\u202eb\n", encoding="utf-8")
    (home / "large.yaml").write_text("board: a\n" + "# x\n" * 300_000, encoding="utf-8")
    (home / "long.yaml").write_text(f"board: {'a' * 5000}\n", encoding="utf-8")
    (home / "bell\x07.yaml").write_text("bord: a\n", encoding="utf-8")
    (home / "folder.yaml").mkdir()
    (home / "loop.yaml").symlink_to(home / "loop.yaml")
    (home / "nowhere.yaml").symlink_to(home / "nothing")
    (home / "circle").symlink_to(home)
    os.mkfifo(home / "pipe.yaml")


def test_hostile_files_get_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Bytes, circles of aliases, tags that would run code, pipes and links to themselves: words, and an end."""
    write_hostile(tmp_path)
    code = main(["lint", str(tmp_path)])
    out, err = capsys.readouterr()
    assert code == 2
    said = {line.rsplit(".yaml", 1)[0].rsplit("/", 1)[-1] for line in out.splitlines()}
    wanted = {path.stem for path in tmp_path.iterdir() if path.suffix == ".yaml" and path.name != "folder.yaml"}
    assert {name for name in wanted if "\x07" not in name} <= said
    assert "\x07" not in out + err
    assert "\u202e" not in out + err
    assert offenders(out.replace(str(tmp_path), "FOLDER").replace("!!python/object/apply:os.system", "")) == []


@pytest.mark.parametrize("word", ["", " ", "a\nb.yaml", "x" * 5000, "\x1b[31m.yaml"])
def test_a_word_that_can_be_no_path_is_refused(word: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 2, and nothing in the answer gives the terminal orders."""
    code, out, err = linted(capsys, word)
    assert (code, out) == (2, [])
    assert "can be neither a file nor a folder" in err
    assert "\x1b" not in err


def test_a_folder_without_files_is_a_slip(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing to look at is not 'no mistakes'."""
    code, _, err = linted(capsys, tmp_path)
    assert code == 2
    assert "holds no file that ends in .yaml" in err


def test_sequences_that_include_each_other_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A circle of three is named in full, in every file of it."""
    for name, other in (("one", "two"), ("two", "three"), ("three", "one")):
        text = f"sequence: {name}\nwords: x\nsteps:\n  - include: {other}\n"
        (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8")
    said = said_in(tmp_path, capsys)
    assert any(line.endswith("includes itself: one > two > three > one") for line in said)
    assert len([line for line in said if "includes itself" in line]) == 3


def test_what_is_included_many_times_over_has_an_end(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Ten files that each include the next ten times would be ten thousand million steps; five hundred are allowed."""
    steps = "".join(f"  - step: wait {number}\n    stage: power\n    wait: 1 s\n" for number in range(10))
    (tmp_path / "s9.yaml").write_text(f"sequence: s9\nwords: x\nsteps:\n{steps}", encoding="utf-8")
    for level in range(9):
        entries = "".join(f"  - include: s{level + 1}\n    called: n{number}\n" for number in range(10))
        text = f"sequence: s{level}\nwords: x\nsteps:\n{entries}"
        (tmp_path / f"s{level}.yaml").write_text(text, encoding="utf-8")
    code, out, _ = linted(capsys, tmp_path / "s0.yaml")
    assert code == 2
    assert any("more than 500 steps with all that is included" in line for line in out)
