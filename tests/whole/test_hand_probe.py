"""A whole job with a hand-held probe at a terminal, key by key, as a technician does it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.whole.pseudo_terminal import Typed

JOB = ("check", "tarnbeck-8", "--bench", "hand", "--serial", "H7", "--operator", "bench two")


@contextmanager
def typed(tmp_path: Path, *arguments: str, term: str = "dumb", size: tuple[int, int] = (80, 24)) -> Iterator[Typed]:
    """A command at a terminal with a record of its own."""
    run = Typed([*arguments, "--records", str(tmp_path / "r.sqlite")], {"HOME": str(tmp_path)}, term=term, size=size)
    try:
        yield run
    finally:
        run.close()


def shown(tmp_path: Path) -> dict[str, object]:
    """The document of the last run in the record."""
    command = [sys.executable, "-m", "autobench", "show", "last", "--json", "--records", str(tmp_path / "r.sqlite")]
    done = subprocess.run(
        command, capture_output=True, text=True, check=True, env={**os.environ, "HOME": str(tmp_path)}
    )
    found: dict[str, object] = json.loads(done.stdout)
    return found


def test_a_job_with_back_repeat_skip_a_slip_and_off(tmp_path: Path) -> None:
    """A tip that misses, one that slips off, the point before once more, one left out with a reason, off in the middle:
    stopped, everything off, and every reading as it stood is in the record."""
    faults = ("--fault", "probe-not-touching@U1.11", "--fault", "probe-not-touching@U2.2")
    with typed(tmp_path, *JOB, *faults) as run:
        assert "SIMULATED" in run.until("J1.1")
        run.until("CLIP U18.8")
        run.type("\r")
        run.until("CLIP U1.26")
        run.type("\r")
        asked = run.until("POWER.*Enter")
        assert "5.000 V" in asked
        run.type(" ")  # a foot switch sends a space
        run.until("TOUCH SW1.2")
        live = run.until("TOUCH U1.11")  # the first try misses
        assert "within" in live
        run.until("no contact")
        run.type("b")
        run.until("TOUCH SW1.2")
        run.until("TOUCH U1.11")  # the second slips off
        run.until("no contact")
        run.type("r")
        asked = run.until("TOUCH U18.8")  # the third held
        assert "rail +5V cpu" in asked
        run.until("TOUCH U2.2")  # sync: the first try misses
        run.until("nothing seen")
        run.type("s")
        run.until("[Ww]hy")
        run.type("bent pon\x7f\x7fin\r")
        run.until("TOUCH U1.24")
        run.type("o")
        assert run.ended() == 4
    document = shown(tmp_path)
    assert document["verdict"] == "stopped"
    assert "off key" in str(document["reason"])
    readings = document["readings"]
    assert isinstance(readings, list)
    by_step = {row["step"]: row for row in reversed(readings)}
    assert by_step["sync"]["verdict"] == "skipped"
    assert "bent pin" in by_step["sync"]["reason"]
    assert by_step["rail +5V cpu"]["verdict"] == "within"
    assert [row["step"] for row in readings].count("rail +5V switch") == 1
    assert all(row["verdict"] != "outside" for row in readings)  # a floating tip accused nobody


def test_the_live_screen_asks_in_large_letters_and_gives_the_terminal_back(tmp_path: Path) -> None:
    """At 80 columns by 24 lines; Ctrl-C in the middle of a prompt ends it stopped, with the output off."""
    with typed(tmp_path, *JOB, "--only", "rails", term="xterm-256color") as run:
        run.until("J1.1")
        run.until("█")
        run.until("U18.8")
        run.type("\r")
        run.until("U1.26")
        run.type("\r")
        run.until("POWER")
        run.type("\r")
        run.until("SW1.2")
        run.type("\x03")
        run.until("STOPPED")
        assert run.ended() == 4
    assert shown(tmp_path)["verdict"] == "stopped"


def test_without_a_terminal_the_hand_bench_is_refused(tmp_path: Path) -> None:
    """Nobody is there to ask: exit 2, in words, and nothing was opened."""
    command = [sys.executable, "-m", "autobench", *JOB, "--records", str(tmp_path / "r.sqlite")]
    done = subprocess.run(command, capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL)
    assert done.returncode == 2
    assert "needs a person" in done.stderr
    assert not (tmp_path / "r.sqlite").exists()
