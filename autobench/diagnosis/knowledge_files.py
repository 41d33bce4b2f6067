"""The knowledge that is data: reads the files of `autobench/diagnosis/knowledge`. It draws no conclusions from them."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from autobench.documents.loader import load

FOLDER = Path(__file__).parent / "knowledge"


@cache
def knowledge(name: str) -> dict[str, Any]:
    """The file `name`.yaml as plain mappings, lists and texts; raises `FileError` where it cannot be read."""
    plain: dict[str, Any] = load(FOLDER / f"{name}.yaml").plain()
    return plain
