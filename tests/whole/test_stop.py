"""Stopping in the middle: whatever comes when, the output is off by the simulator's truth and no reading is lost."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from autobench import app
from autobench.events import Event, Exchanged, PowerChanged, ReadingTaken, Truth
from autobench.record.store import RunRecord


class Interrupter:
    """A view that sends a signal to this very process when the n-th event comes, and remembers what was shown."""

    def __init__(self, number: int, sends: signal.Signals = signal.SIGINT, times: int = 1) -> None:
        self.left = number
        self.sends = sends
        self.times = times
        self.shown: list[Event] = []

    def __call__(self, event: Event) -> None:
        self.shown.append(event)
        self.left -= 1
        if self.left == 0:
            for _ in range(self.times):
                os.kill(os.getpid(), self.sends)


@pytest.fixture(scope="module")
def events_of_a_round(tmp_path_factory: pytest.TempPathFactory) -> int:
    """How many events a round has."""
    counter = Interrupter(-1)
    records = str(tmp_path_factory.mktemp("count") / "r.sqlite")
    app.check(app.CheckRequest("tarnbeck-8", records=records, unattended=True), [counter])
    return len(counter.shown)


def stopped_at(tmp_path: Path, view: Interrupter) -> None:
    """Run with `view`, then hold the run to everything a stop must keep."""
    records = tmp_path / f"{view.left}-{view.sends.name}.sqlite"
    state = app.check(app.CheckRequest("tarnbeck-8", records=str(records), unattended=True), [view])
    assert state.ended is not None
    assert state.ended.verdict == "stopped"
    (truth,) = [event for event in view.shown if isinstance(event, Truth)]
    assert not any(truth.outputs.values())
    shown = [event.reading.step for event in view.shown if isinstance(event, ReadingTaken)]
    connection = sqlite3.connect(records)
    kept = [step for (step,) in connection.execute("SELECT step FROM readings ORDER BY number")]
    verdicts = connection.execute("SELECT verdict FROM runs").fetchall()
    connection.close()
    assert kept == shown
    assert verdicts == [("stopped",)]


@pytest.mark.parametrize("share", [0.0, 0.4, 0.8, *(pytest.param(each, marks=pytest.mark.long) for each in (0.2, 0.6))])
def test_ctrl_c_at_any_moment_ends_off_with_every_reading_kept(
    tmp_path: Path, events_of_a_round: int, share: float
) -> None:
    """Ctrl-C at moments spread over the round's events."""
    stopped_at(tmp_path, Interrupter(1 + int(share * (events_of_a_round - 4))))


@pytest.mark.long
@pytest.mark.parametrize("first", range(8))
def test_ctrl_c_at_very_many_moments(tmp_path: Path, events_of_a_round: int, first: int) -> None:
    """Ctrl-C at every 24th event of the round, from eight beginnings; the last events come after all is off."""
    for number in range(1 + 3 * first, events_of_a_round - 4, 24):
        stopped_at(tmp_path, Interrupter(number))


@pytest.mark.parametrize("before_the_end", [4, 8, *(pytest.param(each, marks=pytest.mark.long) for each in (6, 10))])
def test_ctrl_c_while_the_outputs_are_proved_off(tmp_path: Path, events_of_a_round: int, before_the_end: int) -> None:
    """A wish to stop is not lost in the last switching-off, after every step is done."""
    stopped_at(tmp_path, Interrupter(events_of_a_round - before_the_end))


@pytest.mark.parametrize("sends", [signal.SIGTERM, signal.SIGHUP])
def test_other_signals_stop_as_well(tmp_path: Path, events_of_a_round: int, sends: signal.Signals) -> None:
    """SIGTERM and a closed terminal are wishes to stop like Ctrl-C."""
    stopped_at(tmp_path, Interrupter(events_of_a_round // 2, sends))


def test_repeated_ctrl_c_does_not_interrupt_the_switching_off(tmp_path: Path, events_of_a_round: int) -> None:
    """Three signals at once change nothing: OFF is sent and proved."""
    stopped_at(tmp_path, Interrupter(events_of_a_round // 2, times=3))


def test_a_view_that_fails_is_dropped_and_the_round_goes_on(tmp_path: Path) -> None:
    """A broken display must not end a run or leave a board on."""

    def broken(event: Event) -> None:
        raise RuntimeError("no display")

    state = app.check(app.CheckRequest("tarnbeck-8", records=str(tmp_path / "r.sqlite"), unattended=True), [broken])
    assert state.ended is not None
    assert state.ended.verdict == "good"
    assert any("display failed" in notice.words for notice in state.notices)


def test_a_record_that_fails_in_the_middle_stops_the_run_safely(tmp_path: Path) -> None:
    """Losing the record stops the run with words, and everything is off."""
    records = tmp_path / "r.sqlite"
    seen: list[Event] = []

    def spoil(event: Event) -> None:
        seen.append(event)
        if isinstance(event, ReadingTaken) and event.reading.quantity == "current":
            connection = sqlite3.connect(records)
            connection.execute("DROP TABLE events")
            connection.commit()
            connection.close()

    state = app.check(app.CheckRequest("tarnbeck-8", records=str(records), unattended=True), [spoil])
    assert state.ended is not None
    assert state.ended.verdict == "stopped"
    assert "record cannot be written" in (state.ended.reason or "")
    (truth,) = [event for event in seen if isinstance(event, Truth)]
    assert not any(truth.outputs.values())


def is_ending(event: Event) -> bool:
    """The interlock notes that OFF is about to be sent; the output is still on."""
    return isinstance(event, PowerChanged) and event.state == "ending on"


def is_off_sent(event: Event) -> bool:
    """The exchange in which OFF was sent at the end of the round."""
    return isinstance(event, Exchanged) and event.sent.startswith("OUTP OFF") and event.at > 1.5


def ctrl_c_at_the_current(event: Event) -> None:
    """A view that presses Ctrl-C at the first reading of a board that is on."""
    if isinstance(event, ReadingTaken) and event.reading.step == "current +5V":
        os.kill(os.getpid(), signal.SIGINT)


@pytest.mark.parametrize("first", [is_ending, is_off_sent])
def test_a_record_that_fails_while_outputs_are_switched_keeps_nothing_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, first: Callable[[Event], bool]
) -> None:
    """Whatever the record raises, and also for the first time while outputs are made safe: off, stopped, in words."""
    failed, shown = list[Event](), list[Event]()
    write = RunRecord.write

    def failing(record: RunRecord, event: Event) -> None:
        if failed or first(event):
            failed.append(event)
            raise ValueError("a defect")
        write(record, event)

    monkeypatch.setattr(RunRecord, "write", failing)
    request = app.CheckRequest("tarnbeck-8", records=str(tmp_path / "r.sqlite"), unattended=True)
    # Ctrl-C while the board is on: the switching-off is the last one, nothing comes after it to make good for it.
    state = app.check(request, [shown.append, ctrl_c_at_the_current])
    assert failed
    (truth,) = [event for event in shown if isinstance(event, Truth)]
    assert not any(truth.outputs.values())
    assert state.ended is not None
    assert state.ended.verdict == "stopped"
    assert state.ended.reason in ("stopped by Ctrl-C", "the record failed: ValueError: a defect")


@pytest.mark.parametrize("lines", [1, 6])
def test_ctrl_c_to_the_process_exits_4_without_a_traceback(tmp_path: Path, lines: int) -> None:
    """A whole process interrupted after so many lines of progress: exit 4 and one document (or done before)."""
    command = [sys.executable, "-m", "autobench", "check", "tarnbeck-8", "--json", "--unattended"]
    process = subprocess.Popen(
        [*command, "--records", str(tmp_path / "r.sqlite")], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stderr is not None
    shown = [process.stderr.readline() for _ in range(lines)]
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert "Traceback" not in "".join(shown) + err
    assert json.loads(out)["verdict"] == {0: "good", 4: "stopped"}[process.returncode]


def test_ctrl_c_while_loading_is_a_stop(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """An interrupt that strikes before any command runs is exit 4, in words."""
    from autobench import __main__
    from autobench.cli import entry

    def interrupted(arguments: list[str]) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(entry, "run", interrupted)
    assert __main__.main(["check", "tarnbeck-8"]) == 4
    assert "stopped by Ctrl-C" in capsys.readouterr().err


def test_a_broken_pipe_exits_4(tmp_path: Path) -> None:
    """Whoever read our output went away: exit 4, no traceback."""
    command = f"{sys.executable} -m autobench check tarnbeck-8 --json --unattended --records {tmp_path}/r.sqlite"
    script = f"{{ {command}; echo $? > {tmp_path}/code; }} | head -c 1 > /dev/null"
    done = subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=False)
    assert "Traceback" not in done.stderr
    assert (tmp_path / "code").read_text().strip() in ("0", "4")
