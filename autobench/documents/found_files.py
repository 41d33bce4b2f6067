"""The files that words on a command line stand for: files as named, and what folders hold. Opens none of them."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from autobench.documents.places import LONGEST_PATH
from autobench.documents.words import quoted
from autobench.errors import UsageError

SUFFIXES = (".yaml", ".yml")
MOST_FILES = 2000  # in the folders of one command; nobody keeps so many files of these kinds


def found_files(words: Iterable[str]) -> list[Path]:
    """Every file named, and every `.yaml` file in the folders named and below, each once, in order.

    Hidden folders and links to folders are not entered. A path that leads to nothing comes back as it is. Raises
    `UsageError` for a word that can be no path, a folder without such files or with far too many.
    """
    found: dict[Path, None] = {}
    for word in words:
        if not word.strip() or not word.isprintable() or len(word) > LONGEST_PATH:
            raise UsageError(f"{quoted(word)} can be neither a file nor a folder")
        path = Path(word)
        inside = below(path) if is_folder(path) else [path]
        if not inside:
            raise UsageError(f"the folder {quoted(word)} holds no file that ends in .yaml")
        found |= dict.fromkeys(inside)
        if len(found) > MOST_FILES:
            raise UsageError(f"more than {MOST_FILES} files are found in {quoted(word)}; name a smaller folder")
    return list(found)


def below(folder: Path) -> list[Path]:
    """The `.yaml` files of a folder and the folders in it, sorted."""
    found: list[Path] = []
    for home, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        found += [Path(home, name) for name in sorted(names) if name.endswith(SUFFIXES) and not name.startswith(".")]
        if len(found) > MOST_FILES:
            break
    return found


def is_folder(path: Path) -> bool:
    """Whether `path` is a folder; one that cannot be looked at is none."""
    try:
        return path.is_dir()
    except OSError:
        return False
