"""Random mishaps at random moments of whole rounds: through interlock, runner and simulated bench, by its own truth.

Whatever happens when: no output is ever set beyond the envelope, none comes on without its conditions, and at the end
everything is off, or a loud alarm says what could not be proved off.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from autobench.documents.gathered import read_documents
from autobench.events import Event, Notice, PowerChanged, RunEnded
from autobench.plan.planner import Planner
from autobench.record.store import RunRecord
from autobench.run.interlock import PROBE_AMPS, PROBE_VOLTS
from simulated_instruments.bench import SimulatedBench
from tests.run.rounds_with_events import Round

BOARDS: dict[str, tuple[str, dict[str, str]]] = {
    "one rail": ("tarnbeck-8", {}),
    "three rails": ("orrin-tk", {"power": "bench"}),
}
EVENTS = 400  # a round of these stages has about as many; what is to come later never comes
STAGES = ("rails",)


def supply_of(bench: SimulatedBench) -> Any:
    return bench.devices["supply"]


def panel(number: int) -> Callable[[SimulatedBench], None]:
    """Somebody switches an output off at the panel."""
    return lambda bench: supply_of(bench).outputs[number].switch(False)


def plugged(name: str, out: bool) -> Callable[[SimulatedBench], None]:
    """An instrument's cable is pulled, or put back."""
    return lambda bench: setattr(bench.devices[name], "silent", out)


def lead_off(bench: SimulatedBench) -> None:
    """The lead of the first output comes off."""
    board = bench.world.board
    board.change(bench.clock.now(), {"lead from output 1 +": 1e9})
    board.changed()


def trips(bench: SimulatedBench) -> None:
    """The first output's own protection trips."""
    output = supply_of(bench).outputs[1]
    output.tripped_on_volts = output.live
    output.switch(False)


MISHAPS: dict[str, Callable[[SimulatedBench], None]] = {
    "first output off": panel(1),
    "second output off": panel(2),
    "third output off": panel(3),
    "supply unplugged": plugged("supply", True),
    "supply plugged in": plugged("supply", False),
    "meter unplugged": plugged("meter", True),
    "meter plugged in": plugged("meter", False),
    "relays unplugged": plugged("relays", True),
    "scope unplugged": plugged("scope", True),
    "OFF ignored": lambda bench: setattr(supply_of(bench), "ignores_off", True),
    "OFF obeyed": lambda bench: setattr(supply_of(bench), "ignores_off", False),
    "lead off": lead_off,
    "trip": trips,
    "Ctrl-C": lambda _bench: os.kill(os.getpid(), signal.SIGINT),
    "SIGTERM": lambda _bench: os.kill(os.getpid(), signal.SIGTERM),
    "record fails": lambda _bench: None,  # see `failing_record`
    "display fails": lambda _bench: None,  # raised by the view itself
}
PLANS = st.lists(st.tuples(st.integers(1, EVENTS), st.sampled_from(sorted(MISHAPS))), min_size=1, max_size=4)


class Mishaps:
    """What happens at which event, and which of it has happened."""

    def __init__(self, plan: list[tuple[int, str]]) -> None:
        self.plan, self.number, self.happened = plan, 0, set[str]()

    def __call__(self, _event: Event, bench: SimulatedBench) -> None:
        self.number += 1
        for name in [name for number, name in self.plan if number == self.number]:
            self.happened.add(name)
            MISHAPS[name](bench)
            if name == "display fails":
                raise RuntimeError("no display")


@contextmanager
def failing_record(mishaps: Mishaps) -> Iterator[pytest.MonkeyPatch]:
    """The record raises from the event on at which that mishap comes."""
    write = RunRecord.write

    def failing(record: RunRecord, event: Event) -> None:
        if "record fails" in mishaps.happened:
            raise ValueError("a defect")
        write(record, event)

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(RunRecord, "write", failing)
        yield patched


def held_to_the_rules(which: str, plan: list[tuple[int, str]]) -> Round:
    board, options = BOARDS[which]
    mishaps = Mishaps(plan)
    with TemporaryDirectory() as folder, failing_record(mishaps) as patched:
        done = Round(Path(folder), patched, mishaps, board=board, options=options, only=STAGES)
    never_beyond(done, board, options)
    never_without_conditions(done, board, options)
    ends_off(done)
    return done


def never_beyond(done: Round, board: str, options: dict[str, str]) -> None:
    """By the simulator's truth no output was set beyond its envelope, and none came on that feeds nothing."""
    feeds = {feed.output: feed for feed in feeds_of(board, options)}
    for change in done.changes:
        if change.on:
            assert change.volts <= feeds[change.output].envelope.volts + 1e-9
            assert change.amps <= feeds[change.output].envelope.amps + 1e-9


def never_without_conditions(done: Round, board: str, options: dict[str, str]) -> None:
    """Full power only after the polarity was right, which came after the ohms, which came after a proof of OFF.

    What happened is told by the run's events, what was on by the simulator.
    """
    states: dict[str, list[tuple[float, str]]] = {}
    for event in done.events:
        if isinstance(event, PowerChanged):
            states.setdefault(event.rail, []).append((event.at, event.state))
    for feed in feeds_of(board, options):
        full = [
            change.time
            for change in done.changes
            if change.output == feed.output
            and change.on
            and (change.volts > PROBE_VOLTS + 1e-6 or change.amps > PROBE_AMPS + 1e-6)
        ]
        if not full:
            continue
        before = [state for at, state in states.get(feed.rail, []) if at <= full[0]]
        wanted = ["off", "checked", "probed right", "settled", "armed", "on"]
        assert [state for state in dict.fromkeys(before) if state in wanted] == wanted


def ends_off(done: Round) -> None:
    """Off by the simulator's truth; else the fault that kept it on is there, and an alarm names the supply."""
    if not done.any_on:
        return
    supply = supply_of(done.bench)
    assert supply.silent or supply.ignores_off
    assert done.state.ended is not None
    assert done.state.ended.verdict == "stopped"
    assert "NOT PROVED OFF" in (done.state.ended.reason or "") or any(
        isinstance(event, Notice | RunEnded) and "NOT PROVED OFF" in str(event) for event in done.events
    )


def feeds_of(board: str, options: dict[str, str]) -> Any:
    read = read_documents(board, "simulated", "baseline")
    return Planner(read.bench, read.drivers, read.board, options).feeds


QUIET = (HealthCheck.too_slow, HealthCheck.data_too_large)


@settings(max_examples=5, deadline=None, derandomize=True, suppress_health_check=QUIET)
@given(PLANS)
def test_mishaps_of_a_round(plan: list[tuple[int, str]]) -> None:
    """Five plans of mishaps, always the same ones."""
    held_to_the_rules("one rail", plan)


@pytest.mark.exhaustive
@pytest.mark.parametrize("which", BOARDS)
@settings(max_examples=60, deadline=None, suppress_health_check=QUIET)
@given(plan=PLANS)
def test_very_many_mishaps(which: str, plan: list[tuple[int, str]]) -> None:
    """Sixty plans for each board."""
    held_to_the_rules(which, plan)


@pytest.mark.parametrize("name", ["supply unplugged", "OFF ignored"])
def test_what_cannot_be_switched_off_is_told(name: str) -> None:
    """The machine itself: late enough to be on, a supply that cannot be reached or does not obey is an alarm."""
    assert held_to_the_rules("one rail", [(350, name)]).any_on
