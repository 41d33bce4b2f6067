"""How long a person waits: start-up and a whole round, each against a bare baseline of the same run."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

import pytest

pytestmark = pytest.mark.benchmark


def seconds(command: list[str], runs: int = 7) -> float:
    """Median wall time of a whole process."""
    taken = []
    for _ in range(runs):
        began = time.perf_counter()
        subprocess.run(command, check=False, capture_output=True)
        taken.append(time.perf_counter() - began)
    return statistics.median(taken)


def test_help_starts_quickly(capsys: pytest.CaptureFixture[str]) -> None:
    """`autobench --help` takes at most 2.5 times the bare import of the libraries it shows itself with."""
    bare = seconds([sys.executable, "-c", "import click, rich"])
    ours = seconds([sys.executable, "-m", "autobench", "--help"])
    with capsys.disabled():
        print(
            f"\n--help: {1e3 * ours:.0f} ms, {ours / bare:.2f} x the bare import ({1e3 * bare:.0f} ms); at most 2.5 x"
        )
    assert ours <= 2.5 * bare


def test_the_round_as_a_whole_process(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A whole round on the in-process bench, start-up and record included, takes at most 2 s."""
    records = str(tmp_path / "records.sqlite")
    command = [sys.executable, "-m", "autobench", "check", "tarnbeck-8", "--records", records, "--unattended"]
    assert subprocess.run(command, check=False, capture_output=True).returncode == 0
    ours = seconds(command, runs=5)
    bare = seconds([sys.executable, "-c", "import numpy, pyvisa, pydantic, sqlalchemy"], runs=5)
    with capsys.disabled():
        print(f"\nround: {ours:.2f} s whole process, {ours / bare:.2f} x the bare imports ({bare:.2f} s); at most 2 s")
    assert ours <= 2.0
