"""Instruments that work at the same time: the verdicts of the serial order, and OFF whatever happens meanwhile.

Over sockets, each instrument with a thread of its own, on a clock that jumps to whatever is waited for.
"""

from __future__ import annotations

import os
import signal
import sqlite3
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest

from autobench import app
from autobench.events import Event, Exchanged, ReadingTaken, StepStarted
from autobench.judgement.reading import Reading
from autobench.record.store import open_engine
from autobench.record.transcript import transcript_of
from autobench.views.run_state import RunState
from simulated_instruments.bench import SimulatedBench
from tests.whole.test_sockets import bench_file

# What does not hang on the moment: how often a program uses a line differs from one moment to the next.
STEADY = ("voltage", "current", "frequency", "line rate", "field rate", "sync amplitude", "reset width", "high level")
RELATED = 2.0  # standard uncertainties of the difference (k = 2, GUM)
Outcome = tuple[RunState, bool]


def round_of(
    folder: Path, faults: tuple[str, ...] = (), *, one_by_one: bool = False, view: Callable[[Event], None] | None = None
) -> Outcome:
    """A round over sockets, and whether any output was still on behind it, by the simulator's own account."""
    folder.mkdir(exist_ok=True)
    with SimulatedBench.open("tarnbeck-8", options={"video": "late"}, faults=faults, seed=5) as served:
        request = app.CheckRequest(
            "tarnbeck-8",
            bench=str(bench_file(served, folder)),
            records=str(folder / "records.sqlite"),
            unattended=True,
            one_by_one=one_by_one,
        )
        state = app.check(request, [] if view is None else [view], clock=served.clock)
        return state, served.truth().any_on


def told(reading: Reading) -> tuple[str, str, str, str, bool]:
    return reading.step, reading.stage, reading.quantity, str(reading.verdict), reading.conditional


def agree(one: Reading, other: Reading) -> bool:
    """Whether two readings of the same thing agree within their uncertainties."""
    if one.quantity not in STEADY or one.value is None or other.value is None:
        return True
    spread = ((one.uncertainty or 0.0) ** 2 + (other.uncertainty or 0.0) ** 2) ** 0.5
    return abs(one.value - other.value) <= RELATED * spread


def both_orders(folder: Path, faults: tuple[str, ...]) -> None:
    serial, _ = round_of(folder / "serial", faults, one_by_one=True)
    together, left_on = round_of(folder / "together", faults)
    assert not left_on
    assert serial.ended is not None
    assert together.ended is not None
    assert together.ended.verdict == serial.ended.verdict
    assert list(map(told, together.readings)) == list(map(told, serial.readings))
    assert [
        one.step for one, other in zip(serial.readings, together.readings, strict=True) if not agree(one, other)
    ] == []


@pytest.mark.long
def test_a_good_board_gets_the_verdicts_of_the_serial_order(tmp_path: Path) -> None:
    """The same readings in the same order with the same verdicts, and the steady values within k = 2."""
    both_orders(tmp_path, ())


@pytest.mark.long
@pytest.mark.parametrize(
    "fault", ["fetch-strobe-dead", "connector-resistance", "cpu-dead", "long-ground-lead", "decoupler-short"]
)
def test_a_fault_gets_the_verdicts_of_the_serial_order(tmp_path: Path, fault: str) -> None:
    """Faults of the board and the bench, with looks beyond the plan (long, fast, in the air) and before power."""
    both_orders(tmp_path, (fault,))


def test_the_record_has_every_exchange_at_the_step_that_wanted_it(tmp_path: Path) -> None:
    """Captures are taken before their steps, which shows in their times; in the record they stand in the steps' order,
    and no instrument was ever in two conversations."""
    seen: list[Event] = []
    state, _ = round_of(tmp_path / "r", view=seen.append)
    started = {event.step: event.at for event in seen if isinstance(event, StepStarted)}
    step, early = "", 0
    for event in seen:
        if isinstance(event, StepStarted):
            step = event.step
        if isinstance(event, Exchanged) and event.instrument == "scope" and step.startswith("line"):
            early += event.at < started[step]
    assert early > 100, "nothing was done ahead"
    assert state.started is not None
    engine = open_engine(str(tmp_path / "r" / "records.sqlite"))
    times = [exchange.at for exchange in transcript_of(engine, state.started.run)]
    engine.dispose()
    assert times == sorted(times), "what is played back keeps the order in which it was said"
    for name in ("scope", "relays", "meter"):
        talks = sorted(
            (event.at, event.at + event.seconds)
            for event in seen
            if isinstance(event, Exchanged) and event.instrument == name
        )
        assert all(second[0] >= first[1] - 1e-9 for first, second in pairwise(talks))


class Strike:
    """A view that does something once, so many events after the first line was looked at, and keeps what it saw."""

    def __init__(self, after: int, deed: Callable[[], None]) -> None:
        self.left, self.deed = after, deed
        self.begun = False
        self.shown: list[str] = []

    def __call__(self, event: Event) -> None:
        if isinstance(event, ReadingTaken):
            self.shown.append(event.reading.step)
        self.begun = self.begun or (isinstance(event, StepStarted) and event.step.startswith("ripple"))
        if self.begun:
            self.left -= 1
            if self.left == 0:
                self.deed()


def ctrl_c() -> None:
    os.kill(os.getpid(), signal.SIGINT)


def stopped(folder: Path, strike: Strike) -> RunState:
    """A round in which something strikes: stopped, off by the simulator's truth, every reading shown is kept."""
    state, left_on = round_of(folder, view=strike)
    assert strike.left <= 0, "nothing struck"
    assert not left_on
    assert state.ended is not None
    assert state.ended.verdict == "stopped"
    connection = sqlite3.connect(folder / "records.sqlite")
    kept = [step for (step,) in connection.execute("SELECT step FROM readings ORDER BY number")]
    connection.close()
    assert kept == strike.shown
    return state


@pytest.mark.parametrize("after", [1, 400])
def test_ctrl_c_while_instruments_work_ends_off(tmp_path: Path, after: int) -> None:
    """Threads that are capturing, moving relays or working things out end; the output is off."""
    state = stopped(tmp_path / "r", Strike(after, ctrl_c))
    assert state.ended is not None
    assert state.ended.reason == "stopped by Ctrl-C"


@pytest.mark.long
@pytest.mark.parametrize("after", range(20, 1500, 130))
def test_ctrl_c_at_many_moments_of_the_overlapped_work(tmp_path: Path, after: int) -> None:
    """The same, all along the looks of the scope."""
    stopped(tmp_path / "r", Strike(after, ctrl_c))


def lost(folder: Path, lose: Callable[[SimulatedBench], None], one_by_one: bool = False) -> str:
    """A round in which an instrument is lost while threads talk to it: stopped and off; why, in words."""
    folder.mkdir()
    with SimulatedBench.open("tarnbeck-8", options={"video": "late"}, seed=5) as bench:
        strike = Strike(30, lambda: lose(bench))
        request = app.CheckRequest(
            "tarnbeck-8",
            bench=str(bench_file(bench, folder)),
            records=str(folder / "records.sqlite"),
            unattended=True,
            one_by_one=one_by_one,
        )
        state = app.check(request, [strike], clock=bench.clock)
        assert not bench.truth().any_on
    assert strike.left <= 0, "nothing struck"
    assert state.ended is not None
    assert state.ended.verdict == "stopped"
    return state.ended.reason or ""


@pytest.mark.parametrize("name", ["scope", "meter"])
def test_a_connection_that_breaks_in_another_thread_stops_the_run(tmp_path: Path, name: str) -> None:
    """The cable is pulled at the other end while a thread talks to the instrument, or while none does."""
    assert name in lost(tmp_path / "r", lambda bench: bench.drop_connections(name))


@pytest.mark.long
@pytest.mark.parametrize("name", ["scope", "relays"])
def test_an_instrument_that_falls_silent_in_another_thread_stops_the_run(tmp_path: Path, name: str) -> None:
    """Nothing answers any more: the run says who, when everything was tried to bring it back."""
    assert name in lost(tmp_path / "r", lambda bench: bench.unplug(name))


@pytest.mark.long
def test_a_record_that_fails_while_instruments_work_ends_off(tmp_path: Path) -> None:
    """The disk is full in the middle of the overlapped work."""
    folder = tmp_path / "r"

    def spoil() -> None:
        connection = sqlite3.connect(folder / "records.sqlite")
        connection.execute("DROP TABLE events")
        connection.commit()
        connection.close()

    state, left_on = round_of(folder, view=Strike(200, spoil))
    assert not left_on
    assert state.ended is not None
    assert state.ended.verdict == "stopped"
    assert "record" in (state.ended.reason or "")
