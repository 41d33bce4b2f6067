"""Scopes and counters of every dialect that misbehave: an error in time, no number of it, and in step afterwards."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from autobench.errors import BenchError, LinkError
from autobench.instruments.counter import Counter
from autobench.instruments.scope import Scope, ScopeInput, Setup, Trigger
from autobench.signals.levels import find_levels
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.connections.in_process import InProcessLibrary
from simulated_instruments.connections.misbehaviour import Misbehaviour
from tests.drivers.meetings import ADDRESS, DEVICES, Spoken, driver_named, spoken
from tests.drivers.square import Square

SCOPES = ("o-1a", "o-1b", "o-2", "o-3a", "o-3b")
COUNTERS = ("k-1", "k-2")
WRONG: dict[str, dict[str, Any]] = {
    "half a block": {"cut": 300},
    "close in a block": {"cut": 300, "then": "close"},
    "garbage": {"garbage": b"\xff\x00HX\x93~garbage" * 3 + b"\n"},
    "late reply": {"held": 6.4},
}


@contextmanager
def met(name: str) -> Iterator[tuple[Spoken, Callable[[Misbehaviour], None]]]:
    """The driver on its device over the in-process library, and what makes the bus misbehave."""
    clock = SimulatedClock()
    clock.sleep(2.0)
    device = DEVICES[name]("it", clock, Square(), seed=5)
    library = InProcessLibrary({ADDRESS: device}, clock)
    yield (
        spoken(driver_named(name), device, ADDRESS, library),
        lambda misbehaviour: library.misbehave(ADDRESS, misbehaviour),
    )


@pytest.mark.parametrize("wrong", WRONG)
@pytest.mark.parametrize("name", SCOPES)
def test_a_record_that_goes_wrong_is_never_one(name: str, wrong: str) -> None:
    """Whatever the bus does to the block, there is no trace of it, and the next capture is true again."""
    with met(name) as (it, misbehave):
        scope = Scope(it.dialect)
        scope.prepare()
        setup = Setup((ScopeInput(1, 0.0, 5.0),), 20e-6, 1000, Trigger(1, 1.4))
        scope.arm(setup)
        it.clock.sleep(0.1)
        said: list[Any] = []
        begun = it.device.receive

        def receive(data: bytes, end: bool) -> None:
            if b"DATA?" in data or b"CURV?" in data or b"DAT1" in data or b"DAT2" in data:
                said.append(data)
                misbehave(Misbehaviour(**WRONG[wrong], times=1))
            begun(data, end)

        it.device.receive = receive  # type: ignore[method-assign]
        with pytest.raises(BenchError, match=rf"^{name}: "):
            scope.fetch()
        assert said
        it.device.receive = begun  # type: ignore[method-assign]
        misbehave(Misbehaviour())
        trace = scope.capture(setup, it.clock.sleep, 0.5).traces[1]
        levels = find_levels(trace)
        limit = sum(part.value for part in scope.volts_components(ScopeInput(1, 0.0, 5.0), 3.8))
        assert abs(levels.high - 3.8) <= limit
        assert it.dialect.errors() == []


@pytest.mark.parametrize("name", [*SCOPES, *COUNTERS])
def test_one_that_is_unplugged_says_nothing_and_is_told_so(name: str) -> None:
    """No reply, in the stated time, by name; plugged in again it is in step."""
    with met(name) as (it, _):
        use: Callable[[], object]
        if name in SCOPES:
            scope = Scope(it.dialect)
            scope.prepare()
            setup = Setup((ScopeInput(1, 0.0, 5.0),), 20e-6, 1000, Trigger(1, 1.4))
            use = lambda: scope.capture(setup, it.clock.sleep, 0.5)  # noqa: E731
        else:
            counter = Counter(it.dialect, probe=10.0)
            counter.prepare()
            use = lambda: counter.rate(1, 1.4, 0.1)  # noqa: E731
        it.device.silent = True
        began = it.clock.now()
        with pytest.raises(LinkError, match=rf"^{name}: no reply to "):
            use()
        assert it.clock.now() - began < 10.0
        it.device.silent = False
        use()
        assert it.dialect.errors() == []


@pytest.mark.parametrize("name", COUNTERS)
def test_a_counters_late_reading_is_not_the_next_one(name: str) -> None:
    """A reading that comes after its deadline is none, and what is counted next is of what is connected now."""
    with met(name) as (it, misbehave):
        counter = Counter(it.dialect, probe=10.0)
        counter.prepare()
        begun = it.device.receive

        def receive(data: bytes, end: bool) -> None:
            if b"READ?" in data:
                misbehave(Misbehaviour(held=8.0, times=1))
            begun(data, end)

        it.device.receive = receive  # type: ignore[method-assign]
        assert counter.rate(1, 1.4, 0.1).estimate is None
        it.device.receive = begun  # type: ignore[method-assign]
        misbehave(Misbehaviour())
        it.device.terminals.rate = 2e6  # type: ignore[attr-defined]  # of the square wave
        found = counter.rate(1, 1.4, 0.1).estimate
        assert found is not None
        assert abs(found.value - 2e6) < 5.0 * found.uncertainty
