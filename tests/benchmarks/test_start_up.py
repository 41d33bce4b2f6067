"""How long a person waits: start-up and a whole round, each against a bare baseline of the same run."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

pytestmark = pytest.mark.benchmark

ROUND_SECONDS = 3.0  # the whole round with scope, lines, both buses, memory and record: some 215 readings
FIRST_ROUND_SECONDS = 2.0  # ohms, polarity, current and rails
HELP_FACTOR = 2.5
BARE_SECONDS = 0.5  # the bare imports where the figures above were set; on a slower machine they grow with it


class Stopwatch:
    """Times whole processes; compiled modules are kept, as an installation keeps them."""

    def __init__(self, folder: Path) -> None:
        self.environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
        self.environment["PYTHONPYCACHEPREFIX"] = str(folder / "compiled")

    def seconds(self, command: list[str], runs: int) -> float:
        """Least wall time of a process over `runs`, after one that compiles: what else the machine does is not ours."""
        taken = []
        for _ in range(runs + 1):
            began = time.perf_counter()
            subprocess.run(command, check=False, capture_output=True, env=self.environment)
            taken.append(time.perf_counter() - began)
        return min(taken[1:])


@pytest.fixture
def stopwatch(tmp_path: Path) -> Stopwatch:
    return Stopwatch(tmp_path)


def test_help_starts_quickly(stopwatch: Stopwatch, capsys: pytest.CaptureFixture[str]) -> None:
    """`autobench --help` takes at most 2.5 times the bare import of the libraries it shows itself with."""
    bare = stopwatch.seconds([sys.executable, "-c", "import click, rich"], runs=9)
    ours = stopwatch.seconds([sys.executable, "-m", "autobench", "--help"], runs=9)
    with capsys.disabled():
        print(f"\n--help: {1e3 * ours:.0f} ms, {ours / bare:.2f} x the bare import; at most {HELP_FACTOR} x")
    assert ours <= HELP_FACTOR * bare


@pytest.mark.parametrize(
    ("words", "most"),
    [([], ROUND_SECONDS), (["--only", "ohms", "--only", "power", "--only", "rail +5V far"], FIRST_ROUND_SECONDS)],
)
def test_a_round_as_a_whole_process(
    stopwatch: Stopwatch, tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str], most: float
) -> None:
    """A round on the in-process bench, start-up and record included, stays below its figure."""
    records = str(tmp_path / "records.sqlite")
    command = [sys.executable, "-m", "autobench", "check", "tarnbeck-8", "--records", records, "--unattended", *words]
    assert subprocess.run(command, check=False, capture_output=True).returncode == 0
    ours = stopwatch.seconds(command, runs=5)
    bare = stopwatch.seconds([sys.executable, "-c", "import numpy, pyvisa, pydantic, sqlalchemy"], runs=5)
    what = " ".join(words) or "the whole round"
    limit = most * max(1.0, bare / BARE_SECONDS)
    with capsys.disabled():
        print(f"\n{what}: {ours:.2f} s, {ours / bare:.1f} x the bare imports ({bare:.2f} s); at most {limit:.2f} s")
    assert ours <= limit
