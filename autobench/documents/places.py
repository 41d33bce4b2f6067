"""Where the files are: the shipped drivers, boards, sequences and benches, and files a user names.

Names and paths only: nothing is read here but for the hash of a file, and nothing of a file's meaning is known.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable
from pathlib import Path

from autobench.documents.words import choice_text, quoted
from autobench.errors import FileError, Mistake, UsageError

PACKAGE = Path(__file__).resolve().parents[1]
SUFFIX = ".yaml"
LONGEST_PATH = 1024


def folder(name: str) -> Path:
    """The shipped folder `drivers` or `sequences`: inside the package when installed, else beside it."""
    for home in (PACKAGE, PACKAGE.parent):
        if (home / name).is_dir():
            return home / name
    raise UsageError(f"the folder '{name}' that belongs to autobench is missing; install it again")


def list_boards() -> list[tuple[str, Path]]:
    """Name and file of every shipped board, by name."""
    return named((folder("sequences") / "boards").glob(f"*{SUFFIX}"))


def list_sequences() -> list[tuple[str, Path]]:
    """Name and file of every shipped sequence, by name."""
    return named(folder("sequences").glob(f"*{SUFFIX}"))


def list_benches() -> list[tuple[str, Path]]:
    """Name and file of every shipped bench, by name."""
    return named((folder("sequences") / "benches").glob(f"*{SUFFIX}"))


def list_drivers() -> list[tuple[str, Path]]:
    """Name and file of every shipped driver, by name; the files stand in one folder for each kind of instrument."""
    return named(folder("drivers").glob(f"*/*{SUFFIX}"))


def find_board(name_or_path: str) -> Path:
    """The file of a board; raises `UsageError` with the names there are."""
    return find("board", name_or_path, list_boards())


def find_sequence(name_or_path: str) -> Path:
    """The file of a sequence; raises `UsageError` with the names there are."""
    return find("sequence", name_or_path, list_sequences())


def find_bench(name_or_path: str) -> Path:
    """The file of a bench; raises `UsageError` with the names there are."""
    return find("bench", name_or_path, list_benches())


def find_sequence_beside(name_or_path: str, beside: Path) -> Path:
    """The file of a sequence as written in the sequence file `beside`; one beside it comes before a shipped one."""
    return find_beside("sequence", name_or_path, beside, list_sequences())


def find_driver(name_or_path: str, beside: Path) -> Path:
    """The file of a driver as written in the bench file `beside`.

    A file beside the bench file comes before a shipped one of the same name, so that a copy that was edited is the
    one that is used. Raises `UsageError` with the names there are.
    """
    return find_beside("driver", name_or_path, beside, list_drivers())


def find_beside(kind: str, name_or_path: str, beside: Path, known: list[tuple[str, Path]]) -> Path:
    """The file that another file, `beside`, names: in the same folder, else one of the `known`; raises `UsageError`."""
    check_text(kind, name_or_path)
    home = beside.parent
    if not has_separator(name_or_path):
        for candidate in (home / f"{name_or_path}{SUFFIX}", home / name_or_path):
            if is_file(candidate):
                return candidate
    return find(kind, name_or_path, known, home)


def find(kind: str, name_or_path: str, known: list[tuple[str, Path]], home: Path | None = None) -> Path:
    """A known name, else a file that exists (seen from `home` where it is given); raises `UsageError`."""
    check_text(kind, name_or_path)
    for name, path in known:
        if name == name_or_path:
            return path
    is_path = has_separator(name_or_path) or name_or_path.endswith((SUFFIX, ".yml"))
    if is_path:
        path = (home or Path()) / name_or_path
        if is_file(path):
            return path
    names = [name for name, _ in known]
    missing = "no such file, and " if is_path else ""
    raise UsageError(f"{missing}no {kind} is named {quoted(name_or_path)}; {choice_text(name_or_path, names)}")


def check_text(kind: str, text: str) -> None:
    """Raises `UsageError` for a text that can be neither a name nor a path."""
    if not text.strip():
        raise UsageError(f"a {kind} is needed, by name or as a file")
    if not text.isprintable() or len(text) > LONGEST_PATH:
        raise UsageError(f"{quoted(text)} can be neither the name of a {kind} nor a file")


def has_separator(text: str) -> bool:
    """Whether a text says where a file is, and so is never a mere name."""
    return ".." in text or any(separator in text for separator in (os.sep, os.altsep, "/") if separator)


def is_file(path: Path) -> bool:
    """Whether `path` is a file; a path that cannot be looked at is none."""
    try:
        return path.is_file()
    except OSError:
        return False


def named(paths: Iterable[Path]) -> list[tuple[str, Path]]:
    """Files by their stem, sorted."""
    return sorted((path.stem, path) for path in paths)


def sha256_of(path: str | Path) -> str:
    """Hash of a file's bytes, in hexadecimal; raises `FileError` where it cannot be read."""
    try:
        with open(path, "rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except (OSError, ValueError) as error:
        words = getattr(error, "strerror", None) or str(error)
        raise FileError([Mistake(str(path), 0, 0, f"cannot be read: {words[:1].lower()}{words[1:]}")]) from error
