"""How long lint takes, against the least that any program could: start, imports, and the files parsed in C."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from autobench.documents.places import folder
from tests.benchmarks.test_start_up import Stopwatch

pytestmark = pytest.mark.benchmark

MOST = 3.0
# The same libraries, as far as lint needs them (pydantic alone imports nothing until it is used), and the same files
# through the C loader.
BARE = """
import sys, click, numpy, quantiphy, yaml
from pydantic import BaseModel
for path in sys.argv[1:]:
    with open(path, encoding="utf-8") as stream:
        yaml.load(stream, Loader=yaml.CSafeLoader)
"""


def test_lint_of_all_shipped_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Linting everything that ships takes at most three times as long as starting, importing and parsing it."""
    stopwatch = Stopwatch(tmp_path)
    folders = [str(folder("sequences")), str(folder("drivers"))]
    files = [str(path) for home in folders for path in sorted(Path(home).rglob("*.yaml"))]
    bare = stopwatch.seconds([sys.executable, "-c", BARE, *files], runs=9)
    ours = stopwatch.seconds([sys.executable, "-m", "autobench", "lint", *folders], runs=9)
    with capsys.disabled():
        print(
            f"\nlint of {len(files)} files: {1e3 * ours:.0f} ms, "
            f"{ours / bare:.2f} x {1e3 * bare:.0f} ms; at most {MOST} x"
        )
    assert ours <= MOST * bare
