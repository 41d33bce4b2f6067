"""The guard as a process against a served supply: it switches off when it must, never otherwise, and is watched."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from autobench import app
from autobench.clock import RealClock
from autobench.documents.gathered import read_documents
from autobench.documents.places import find_bench
from autobench.errors import GuardError
from autobench.events import Event, ReadingTaken
from autobench.instruments.link import nothing, unheard
from autobench.instruments.opened import Opened, Opener
from autobench.plan.planner import Planner
from autobench.run import guard as guard_module
from autobench.run.guard import GuardProcess, NoGuard, guard_for
from autobench.run.guard_process import Guard as ProcessSide
from autobench.run.guard_process import Way
from simulated_instruments.bench import SimulatedBench

PATIENCE = 5.0  # s a test waits for what must come


class Stand:
    """A supply served in real time, opened, its first output on, and a guard over it."""

    def __init__(self, folder: Path, lease: float) -> None:
        self.served = SimulatedBench.open("tarnbeck-8", options={"video": "late"}, seed=1, clock=RealClock())
        self.file = served_file(self.served, folder)
        documents = read_documents("tarnbeck-8", str(self.file), "baseline")
        self.feeds = Planner(documents.bench, documents.drivers, documents.board, {}).feeds
        opener = Opener(None, RealClock(), unheard, nothing)
        self.opened: Opened = opener.open(documents.bench, documents.drivers, only_supplies=True)
        self.guard = GuardProcess(self.feeds, self.opened.supplies, lease)

    def switch_on(self) -> None:
        self.guard.ready()
        self.opened.supplies["supply"].on(1)
        assert self.on

    @property
    def on(self) -> bool:
        return self.served.truth().any_on

    def comes_off(self) -> bool:
        """Whether the output goes off within the patience."""
        until = time.monotonic() + PATIENCE
        while self.on and time.monotonic() < until:
            time.sleep(0.01)
        return not self.on

    def close(self) -> None:
        self.guard.disarm()
        self.guard.close()
        self.opened.close()
        self.served.close()


def served_file(served: SimulatedBench, folder: Path) -> Path:
    text = find_bench("simulated").read_text(encoding="utf-8").replace("simulated: in-process", "simulated: served")
    for name, address in served.serve_sockets().items():
        text = text.replace(served.addresses[name], address)
    path = folder / "served.yaml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def stand_for(tmp_path: Path) -> Iterator[Callable[[float], Stand]]:
    made: list[Stand] = []

    def make(lease: float = 60.0) -> Stand:
        made.append(Stand(tmp_path, lease))
        return made[-1]

    yield make
    for stand in made:
        stand.close()


def lost(guard: GuardProcess) -> str:
    """Why the guard is lost, once it is."""
    until = time.monotonic() + PATIENCE
    while (words := guard.beat()) is None:
        assert time.monotonic() < until
        time.sleep(0.02)
    return words


def test_a_clean_end_leaves_the_output_as_it_is(stand_for: Callable[..., Stand]) -> None:
    """Disarmed by its word the guard goes and sends nothing: switching off was the program's own work."""
    stand = stand_for()
    stand.switch_on()
    changes = len(stand.served.truth().changes)
    stand.guard.disarm()
    stand.guard.close()
    assert stand.on
    assert len(stand.served.truth().changes) == changes


def test_an_end_without_the_word_switches_off(stand_for: Callable[..., Stand]) -> None:
    """The end of the channel alone is enough."""
    stand = stand_for()
    stand.switch_on()
    stand.guard.close()
    assert stand.comes_off()


def test_a_lease_that_is_not_renewed_switches_off(stand_for: Callable[..., Stand]) -> None:
    """Nobody beats: off, and the program is told when it comes back, and gets no second ON."""
    stand = stand_for(0.3)
    stand.switch_on()
    assert stand.comes_off()
    assert "stood still" in lost(stand.guard)
    with pytest.raises(GuardError, match="stood still"):
        stand.guard.ready()


def test_a_lease_that_is_renewed_switches_nothing(stand_for: Callable[..., Stand]) -> None:
    """Beats in time, also one with a longer lease before a long read, keep the output on."""
    stand = stand_for(2.0)
    stand.switch_on()
    for _ in range(20):
        assert stand.guard.beat() is None
        time.sleep(0.05)
    assert stand.guard.beat(3.0) is None
    time.sleep(2.5)
    assert stand.guard.beat() is None
    assert stand.on


def test_a_resting_guard_waits_for_the_next_on(stand_for: Callable[..., Stand]) -> None:
    """With everything off a person may think as long as they like; the next ON is guarded again."""
    stand = stand_for(0.3)
    stand.guard.ready()
    stand.guard.rest()
    time.sleep(0.8)
    stand.switch_on()
    assert stand.comes_off()


def test_a_guard_that_died_is_noticed(stand_for: Callable[..., Stand]) -> None:
    """Killed by anybody: the next beat says so, and nothing is switched on any more."""
    stand = stand_for()
    stand.switch_on()
    os.kill(stand.guard.pid, signal.SIGKILL)
    assert "ended by itself" in lost(stand.guard)
    with pytest.raises(GuardError, match="power refused"):
        stand.guard.ready()


def test_a_guard_that_is_frozen_is_noticed(stand_for: Callable[..., Stand]) -> None:
    """A guard that does not answer within a lease is no guard."""
    stand = stand_for(0.5)
    stand.switch_on()
    os.kill(stand.guard.pid, signal.SIGSTOP)
    try:
        assert "does not answer" in lost(stand.guard)
    finally:
        os.kill(stand.guard.pid, signal.SIGCONT)


def test_a_connection_that_was_opened_again_is_guarded_too(stand_for: Callable[..., Stand]) -> None:
    """After the link had to reopen, the guard gets the new connection with the next beat."""
    stand = stand_for()
    stand.switch_on()
    stand.served.drop_connections("supply")
    link = stand.opened.supplies["supply"].dialect.link
    link.recover()
    assert link.reopenings == 1
    time.sleep(0.05)
    assert stand.guard.beat() is None
    stand.guard.close()
    assert stand.comes_off()


def test_a_lost_connection_is_opened_by_the_guard_itself(stand_for: Callable[..., Stand]) -> None:
    """The link broke and the program died before it could reopen: the guard opens a connection of its own."""
    stand = stand_for()
    stand.switch_on()
    stand.served.drop_connections("supply")
    stand.guard.close()
    assert stand.comes_off()


def test_a_connection_that_cannot_be_shared_refuses_power(stand_for: Callable[..., Stand]) -> None:
    """Without a way to the supply the guard is never ready, so nothing is switched on."""
    stand = stand_for()
    stand.opened.supplies["supply"].dialect.link._session.close()
    with pytest.raises(GuardError, match="cannot reach 'supply'"):
        stand.guard.ready()


def test_a_guard_that_cannot_be_started_refuses_power(
    stand_for: Callable[..., Stand], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A script that is not there ends at once, which is found out before the first ON."""
    stand = stand_for()
    monkeypatch.setattr(guard_module, "PROCESS", tmp_path / "none.py")
    broken = GuardProcess(stand.feeds, stand.opened.supplies)
    with pytest.raises(GuardError, match="ended by itself"):
        broken.ready()
    broken.close()


def test_a_bench_without_guarded_supplies_has_none(stand_for: Callable[..., Stand]) -> None:
    """Where every supply was given up by name there is no process to start."""
    stand = stand_for()
    assert isinstance(guard_for(stand.feeds, stand.opened.supplies, ("supply",), RealClock()), NoGuard)


def test_a_round_whose_guard_dies_stops_and_is_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The runner watches the guard: stopped in words, everything off by the simulator's truth."""
    made: list[GuardProcess] = []
    start = GuardProcess.__init__

    def noted(guard: GuardProcess, *words: object) -> None:
        start(guard, *words)  # type: ignore[arg-type]  # passed on as they came
        made.append(guard)

    def kill(event: Event) -> None:
        if isinstance(event, ReadingTaken) and event.reading.step == "current +5V":
            os.kill(made[0].pid, signal.SIGKILL)

    monkeypatch.setattr(GuardProcess, "__init__", noted)
    served = SimulatedBench.open("tarnbeck-8", options={"video": "late"}, seed=1)
    try:
        request = app.CheckRequest(
            "tarnbeck-8",
            bench=str(served_file(served, tmp_path)),
            records=str(tmp_path / "r.sqlite"),
            unattended=True,
        )
        state = app.check(request, [kill], clock=served.clock)
        assert not served.truth().any_on
    finally:
        served.close()
    assert state.ended is not None
    assert state.ended.verdict == "stopped"
    assert "guard process has ended by itself" in (state.ended.reason or "")


def test_a_line_end_comes_first_and_the_lines_in_their_order() -> None:
    """What was half written is ended before OFF, so that OFF is not taken for its rest."""
    ours, theirs = socket.socketpair()
    with ours, theirs:
        ours.send(b"OUTP ON,(@")
        way = Way(os.dup(ours.fileno()), b"\n", 0.0)
        way.send([b"OUTP OFF,(@2)", b"OUTP OFF,(@1)"], 0, alone=True)
        assert theirs.recv(100) == b"OUTP ON,(@\nOUTP OFF,(@2)\nOUTP OFF,(@1)\n"
        way.close()


def test_a_supply_that_takes_nothing_does_not_hold_up_the_next() -> None:
    """A full connection is given a short patience only."""
    full, _reader = socket.socketpair()
    ours, theirs = socket.socketpair()
    with full, _reader, ours, theirs:
        full.setblocking(False)
        with contextlib.suppress(BlockingIOError):
            while True:
                full.send(bytes(65536))
        side = ProcessSide(ours)
        side.ways = [Way(os.dup(full.fileno()), b"\n", 0.0), Way(os.dup(ours.fileno()), b"\n", 0.0)]
        side.steps = [(0, b"OFF"), (1, b"OFF")]
        side.switch_off()
        assert theirs.recv(1000).startswith(b"\nOFF\n\nOFF\n")
        for way in side.ways:
            way.close()
