"""Every scope's driver on the simulated scope of its dialect: the same captures of the same waves, the same truth.

What the dialects differ in is in `test_scope_traps.py`. What is connected is a square wave, so the truth is in its few
numbers.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest

from autobench.instruments.scope import Scope, ScopeInput, Setup, Trigger
from autobench.signals.waveform import characterise
from tests.drivers.meetings import DEVICES, Spoken, over
from tests.drivers.square import Square

SCOPES = ("o-1a", "o-1b", "o-2", "o-3a", "o-3b")
LOGIC = ScopeInput(1, 0.0, 5.0)
EDGE = Trigger(1, 1.4)
ALL = pytest.mark.parametrize("name", SCOPES)


@contextmanager
def prepared(name: str, square: Square | None = None) -> Iterator[tuple[Scope, Spoken]]:
    """The scope by its driver, prepared, on its device after two seconds."""
    wave = square or Square()
    with over("in process", name, lambda clock: DEVICES[name]("scope", clock, wave, seed=5)) as spoken:
        spoken.clock.sleep(2.0)
        scope = Scope(spoken.dialect)
        scope.prepare()
        yield scope, spoken


@ALL
def test_every_action_is_performed(name: str) -> None:
    """Everything the driver file says is said at least once and understood, with nothing left among the errors."""
    with prepared(name) as (scope, spoken):
        wait = spoken.clock.sleep
        scope.capture(Setup((LOGIC, ScopeInput(2, 0.0, 5.0)), 20e-6, 1000, EDGE, before=0.5), wait, 0.5)
        falling = Setup((LOGIC,), 0.01, 1000, Trigger(1, 1.4, rising=False), peak=True, bandwidth_limit=True)
        assert scope.capture(falling, wait, 0.5).triggered
        assert scope.capture(Setup((LOGIC,), 20e-6, 1000), wait, 0.5).triggered
        never = scope.capture(Setup((LOGIC,), 20e-6, 1000, Trigger(1, 4.5)), wait, 0.1)
        assert not never.triggered
        assert "no trigger" in (never.reason or "")
        scope.local()
        assert spoken.performed() == set(spoken.dialect.driver.actions)
        assert spoken.dialect.errors() == []


@ALL
@pytest.mark.parametrize("rising", [True, False])
@pytest.mark.parametrize("before", [0.0, 0.25, 1.0])
def test_the_trigger_lies_where_it_was_asked_for(name: str, before: float, rising: bool) -> None:
    """Time zero is the edge, and the wanted share of the record lies before it."""
    with prepared(name) as (scope, spoken):
        setup = Setup((LOGIC,), 20e-6, 10_000, Trigger(1, 1.4, rising), before=before)
        trace = scope.capture(setup, spoken.clock.sleep, 0.5).traces[1]
        screen = scope.settings.screen
    assert screen >= 20e-6 * (1.0 - 1e-9)
    assert trace.start == pytest.approx(-before * screen, abs=2 * trace.interval)
    assert trace.duration == pytest.approx(screen, rel=2e-3)
    if before == 0.25:
        place, volts = int(-trace.start / trace.interval), trace.in_volts()
        early, late = volts[place - 10 : place - 3].mean(), volts[place + 3 : place + 10].mean()
        assert (early < 1.4 < late) if rising else (late < 1.4 < early)


@ALL
def test_another_channel_triggers_at_its_own_level(name: str) -> None:
    """A level and a slope that were set for one channel do not count on the next."""
    with prepared(name) as (scope, spoken):
        inputs = (LOGIC, ScopeInput(2, 0.0, 5.0))
        for trigger in (Trigger(1, 1.0), Trigger(2, 2.5, rising=False), Trigger(1, 3.0)):
            trace = scope.capture(Setup(inputs, 20e-6, 10_000, trigger, before=0.5), spoken.clock.sleep, 0.5).traces[1]
            place, volts = int(-trace.start / trace.interval), trace.in_volts()
            early, late = volts[place - 10 : place - 3].mean(), volts[place + 3 : place + 10].mean()
            assert bool(early < late) is trigger.rising


@ALL
def test_all_channels_show_the_same_moment(name: str) -> None:
    """The same wave on four inputs has its edges at the same times."""
    with prepared(name) as (scope, spoken):
        inputs = tuple(ScopeInput(channel, 0.0, 5.0) for channel in scope.channels)
        capture = scope.capture(Setup(inputs, 20e-6, 5000, EDGE), spoken.clock.sleep, 0.5)
    assert set(capture.traces) == {1, 2, 3, 4}
    edges = [characterise(trace).edges.rising for trace in capture.traces.values()]
    for found in edges[1:]:
        assert found == pytest.approx(edges[0], abs=capture.interval)


@ALL
@pytest.mark.parametrize("seed", [1, 2])
def test_frequency_and_duty_are_true_within_the_time_base(name: str, seed: int) -> None:
    """1 MHz and 30 % from samples alone."""
    with over("in process", name, lambda clock: DEVICES[name]("scope", clock, Square(), seed=seed)) as spoken:
        scope = Scope(spoken.dialect)
        scope.prepare()
        trace = scope.capture(Setup((LOGIC,), 100e-6, 50_000, EDGE), spoken.clock.sleep, 0.5).traces[1]
        found = characterise(trace, time_base=scope.time_components().value)
    assert found.period is not None
    frequency = found.period.frequency
    assert abs(frequency.value - 1e6) < 3.0 * frequency.uncertainty
    assert frequency.uncertainty < 100.0
    assert found.duty == pytest.approx(0.3, abs=0.002)


@ALL
def test_short_pulses_are_never_missed_by_extremes(name: str) -> None:
    """100 ns once a millisecond, in a record of a tenth of a second."""
    with prepared(name, Square(rate=1e3, duty=1e-4)) as (scope, spoken):
        setup = Setup((LOGIC,), 0.1, 1000)
        plain = scope.capture(setup, spoken.clock.sleep, 0.5).traces[1].in_volts()
        assert np.count_nonzero(plain > 2.0) < 20
        trace = scope.capture(replace(setup, peak=True), spoken.clock.sleep, 0.5).traces[1]
    lows, highs = trace.in_volts()[0::2], trace.in_volts()[1::2]
    assert np.all(lows <= highs)
    assert np.count_nonzero(highs > 2.0) == pytest.approx(trace.duration * 1e3, abs=2)
    assert np.count_nonzero(lows > 2.0) == 0


@ALL
def test_a_capture_armed_beforehand_waits_for_what_happens_later(name: str) -> None:
    """Armed before power-on it is not ready; afterwards the record starts before it, as long as was asked for."""
    wave = Square(rate=1e-3, duty=0.9, begins=1e9)
    with prepared(name, wave) as (scope, spoken):
        clock = spoken.clock
        scope.capture(Setup((LOGIC,), 20e-6, 1000), clock.sleep, 0.5)
        scope.arm(Setup((LOGIC, ScopeInput(2, 0.0, 5.0)), 1.0, 10_000, EDGE, before=0.1, peak=True))
        for _ in range(10):
            clock.sleep(0.1)
            assert not scope.ready()
        wave.begins = clock.now() + 0.05
        for _ in range(60):
            clock.sleep(0.05)
            if scope.ready():
                break
        capture = scope.fetch()
        screen = scope.settings.screen
    assert (capture.triggered, capture.reason) == (True, None)
    for trace in capture.traces.values():
        times = trace.start + np.arange(trace.samples.size) * trace.interval
        volts = trace.in_volts()
        assert volts[times < -0.002].max() < 1.4 < volts[times > 0.002].min()
        assert trace.start == pytest.approx(-0.1 * screen, rel=0.01)


@ALL
def test_a_time_base_that_is_held_is_told(name: str) -> None:
    """Whatever is sent, somebody's hand on the panel is told with the capture."""
    with prepared(name) as (scope, spoken):
        spoken.device.held_time_scale = 0.05  # type: ignore[attr-defined]  # of this kind of device
        capture = scope.capture(Setup((LOGIC,), 20e-6, 1000), spoken.clock.sleep, 0.5)
    assert "time" in (capture.reason or "")


@ALL
def test_a_coupling_that_is_held_is_told(name: str) -> None:
    """Levels are lost behind a capacitor, and the capture says so."""
    with prepared(name) as (scope, spoken):
        spoken.device.held_coupling = "AC"  # type: ignore[attr-defined]  # of this kind of device
        capture = scope.capture(Setup((LOGIC,), 20e-6, 1000), spoken.clock.sleep, 0.5)
    assert "stays coupled otherwise than DC" in (capture.reason or "")
