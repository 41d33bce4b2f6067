"""Wheel, editable install and bare checkout all find drivers, sequences and circuits."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def boards(python_path: Path, folder: Path) -> list[dict[str, str]]:
    """`list boards` by whatever autobench stands first on the path, from a folder that holds none."""
    environment = os.environ | {"PYTHONPATH": str(python_path), "XDG_DATA_HOME": str(folder)}
    done = subprocess.run(
        [sys.executable, "-m", "autobench", "list", "boards", "--json"],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    found: list[dict[str, str]] = json.loads(done.stdout)
    return found


def check(python_path: Path, folder: Path) -> int:
    """Exit code of a round by that autobench."""
    environment = os.environ | {"PYTHONPATH": str(python_path), "XDG_DATA_HOME": str(folder)}
    command = [sys.executable, "-m", "autobench", "check", "tarnbeck-8", "--unattended"]
    return subprocess.run(command, cwd=folder, env=environment, capture_output=True, check=False).returncode


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel, built and unpacked as an installer would."""
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(folder), str(ROOT)],
        capture_output=True,
        check=True,
    )
    (wheel,) = folder.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder / "site")
    return folder / "site"


def test_the_wheel_holds_its_data_inside_the_package(unpacked: Path) -> None:
    """Drivers and sequences lie in the package, circuits and wiring in the simulator, no tests anywhere."""
    assert list((unpacked / "autobench" / "drivers").glob("*/*.yaml"))
    assert list((unpacked / "autobench" / "sequences").glob("boards/*.yaml"))
    assert list((unpacked / "simulated_instruments").glob("board/circuits/*.yaml"))
    assert not (unpacked / "tests").exists()
    assert not (unpacked / "drivers").exists()


def test_a_board_is_checked_from_the_wheel(unpacked: Path, tmp_path: Path) -> None:
    """The round passes with nothing but the wheel's own files."""
    for row in boards(unpacked, tmp_path):
        assert row["file"].startswith(str(unpacked / "autobench" / "sequences"))
    assert check(unpacked, tmp_path) == 0


def test_a_board_is_checked_from_the_bare_checkout(tmp_path: Path) -> None:
    """An editable install and a bare checkout use the folders beside the package."""
    for row in boards(ROOT, tmp_path):
        assert row["file"].startswith(str(ROOT / "sequences"))
    assert check(ROOT, tmp_path) == 0
