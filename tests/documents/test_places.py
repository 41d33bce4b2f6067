"""Where files are found: shipped folders, names, paths, and what is refused."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from autobench.documents import places
from autobench.errors import FileError, UsageError

ROOT = Path(__file__).parents[2]


def test_shipped_files_are_found_by_name() -> None:
    """A name gives the shipped file."""
    assert places.find_board("tarnbeck-8").name == "tarnbeck-8.yaml"
    assert places.find_sequence("baseline").name == "baseline.yaml"
    bench = places.find_bench("simulated")
    assert bench.name == "simulated.yaml"
    assert places.find_driver("ps-3", bench).parent.name == "supplies"


def test_lists_give_names_and_files() -> None:
    """The lists hold what ships, by name, each name once."""
    for found in (places.list_boards(), places.list_sequences(), places.list_benches(), places.list_drivers()):
        names = [name for name, _ in found]
        assert names == sorted(set(names))
        assert all(path.is_file() for _, path in found)
    assert "tarnbeck-8" in dict(places.list_boards())
    assert "ps-3" in dict(places.list_drivers())


@pytest.mark.parametrize("inside", [True, False])
def test_the_folders_are_found_inside_the_package_and_beside_it(tmp_path: Path, inside: bool) -> None:
    """A wheel has the folders inside the package, a checkout beside it; both are found, whatever the current folder."""
    package = tmp_path / "site" / "autobench"
    shutil.copytree(ROOT / "autobench", package, ignore=shutil.ignore_patterns("__pycache__"))
    home = package if inside else package.parent
    for name in ("drivers", "sequences"):
        shutil.copytree(ROOT / name, home / name)
    code = "from autobench.documents.places import find_board; print(find_board('tarnbeck-8'))"
    command = [sys.executable, "-c", f"import sys; sys.path.insert(0, {str(package.parent)!r}); {code}"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == str(home / "sequences" / "boards" / "tarnbeck-8.yaml")


def test_a_missing_folder_is_said_in_words(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A broken installation is told apart from an unknown name."""
    monkeypatch.setattr(places, "PACKAGE", tmp_path / "autobench")
    with pytest.raises(UsageError, match="the folder 'sequences' that belongs to autobench is missing"):
        places.find_board("tarnbeck-8")


def test_a_path_is_a_file_that_exists(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A text with a separator, `..` or the suffix is a path, and only if the file is there."""
    (tmp_path / "below").mkdir()
    (tmp_path / "mine.yaml").write_text("board: mine\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path / "below")
    assert places.find_board(str(tmp_path / "mine.yaml")) == tmp_path / "mine.yaml"
    assert places.find_board("../mine.yaml").samefile(tmp_path / "mine.yaml")
    with pytest.raises(UsageError, match=r"no such file, and no board is named '\.\./yours\.yaml'"):
        places.find_board("../yours.yaml")
    with pytest.raises(UsageError, match="no such file, and no board is named"):
        places.find_board("../below")  # a folder is no file
    monkeypatch.chdir(tmp_path)
    assert places.find_board("mine.yaml") == Path("mine.yaml")
    with pytest.raises(UsageError, match="no board is named 'mine'"):
        places.find_board("mine")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("tarnbek-8", "no board is named 'tarnbek-8'; allowed "),
        ("", "a board is needed, by name or as a file"),
        (" ", "a board is needed, by name or as a file"),
        ("a\x00b", r"'a\x00b' can be neither the name of a board nor a file"),
        ("a\nb", r"'a\nb' can be neither the name of a board nor a file"),
        ("x/" * 1000, f"'{'x/' * 30}…' can be neither the name of a board nor a file"),
        ("x" * 300 + ".yaml", "no such file, and no board is named"),
        ("../../etc", "no such file, and no board is named '../../etc'"),
    ],
)
def test_what_is_no_name_and_no_file_is_refused_with_words(text: str, words: str) -> None:
    """Unknown names are answered with those there are; texts that can be no path never reach the file system."""
    with pytest.raises(UsageError) as caught:
        places.find_board(text)
    assert str(caught.value).startswith(words)


def test_a_close_name_is_suggested() -> None:
    """A slip in a name is answered with the name it was meant to be."""
    with pytest.raises(UsageError, match="did you mean 'tarnbeck-8'"):
        places.find_board("tarnbek-8")
    with pytest.raises(UsageError, match="did you mean 'baseline'"):
        places.find_sequence("base-line")


def test_a_driver_beside_the_bench_file_comes_first(tmp_path: Path) -> None:
    """A driver that was copied beside the bench file and edited is the one that is used, by name or as a file."""
    bench = tmp_path / "bench.yaml"
    assert places.find_driver("ps-3", bench).parent.name == "supplies"
    (tmp_path / "ps-3.yaml").write_text("driver: ps-3\n", encoding="utf-8")
    assert places.find_driver("ps-3", bench) == tmp_path / "ps-3.yaml"
    assert places.find_driver("ps-3.yaml", bench) == tmp_path / "ps-3.yaml"
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "own.yaml").write_text("driver: own\n", encoding="utf-8")
    assert places.find_driver("mine/own.yaml", bench) == tmp_path / "mine" / "own.yaml"
    with pytest.raises(UsageError, match=r"no driver is named 'ps-33'; allowed .*did you mean 'ps-3"):
        places.find_driver("ps-33", bench)


def test_the_hash_of_a_file(tmp_path: Path) -> None:
    """The hash is SHA-256 over the bytes; a file that cannot be read is said in words."""
    path = tmp_path / "x"
    path.write_bytes(b"abc")
    known = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"  # FIPS 180-4, example for "abc"
    assert places.sha256_of(path) == known == hashlib.sha256(b"abc").hexdigest()
    with pytest.raises(FileError, match="cannot be read: no such file or directory"):
        places.sha256_of(tmp_path / "nothing")
