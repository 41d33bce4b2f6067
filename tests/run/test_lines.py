"""Steps on logic lines against the simulated scope: an alias is never called stuck, a slow line is never missed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from autobench.documents.driver import Driver
from autobench.documents.places import list_drivers
from autobench.documents.reading import read
from autobench.instruments.dialect import Dialect
from autobench.instruments.link import Link
from autobench.instruments.relays import Relays
from autobench.instruments.scope import Scope
from autobench.instruments.visa import open_session
from autobench.judgement.reading import Reading
from autobench.plan.limits import Limits
from autobench.plan.scope_steps import LineJob, ScopePoint, Sight
from autobench.plan.steps import PlannedStep
from autobench.quantity import Span
from autobench.run.captures import Captures
from autobench.run.line_actions import line
from autobench.run.route import Route
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.connections.in_process import InProcessLibrary
from simulated_instruments.devices.relays_slot_channel import SlotChannelRelays
from simulated_instruments.devices.scope_preamble_data import PreambleDataScope

Times = NDArray[np.float64]


@dataclass
class Square:
    """A square wave, exact at any time."""

    rate: float
    low: float = 0.2
    high: float = 3.8
    duty: float = 0.5

    def samples(self, channel: int, times: Times, input_ohms: float) -> Times:
        cycles = times * self.rate
        return np.where(cycles - np.floor(cycles) < self.duty, self.high, self.low)

    def extremes(self, channel: int, edges: Times, input_ohms: float) -> tuple[Times, Times]:
        at, cycles = self.samples(channel, edges, input_ohms), edges * self.rate
        rises, falls = np.floor(cycles), np.floor(cycles - self.duty)
        lowest = np.where(np.diff(falls) > 0, self.low, at[:-1])
        return lowest, np.where(np.diff(rises) > 0, self.high, at[:-1])

    def crossing(self, channel: int, level: float, rising: bool, start: float, stop: float) -> float | None:
        if not self.low < level < self.high:
            return None
        first = 0.0 if rising else self.duty / self.rate
        found = first + math.ceil((start - first) * self.rate) / self.rate
        return found if start <= found <= stop else None

    def key(self, channel: int) -> str:
        return "square"


class Level(Square):
    """A line that stands still."""

    def __init__(self, volts: float) -> None:
        super().__init__(1.0, volts, volts)

    def extremes(self, channel: int, edges: Times, input_ohms: float) -> tuple[Times, Times]:
        still = np.full(edges.size - 1, self.low)
        return still, still.copy()


class Contacts:
    """Relays that lead nowhere in particular."""

    def closed(self, channels: frozenset[int]) -> None:
        self.channels = channels


def look(
    wave: Square, sight_rate: float, seconds: float, rate: Span, shortest: float | None, expected: str = "moving"
) -> list[Reading]:
    """One line step on a scope that sees `wave`, with a sight of that sample rate and length."""
    clock = SimulatedClock(2.0)
    devices = {
        "GPIB0::7::INSTR": PreambleDataScope("scope", clock, wave, seed=3),
        "GPIB0::9::INSTR": SlotChannelRelays("relays", clock, Contacts(), seed=3),
    }
    library = InProcessLibrary(devices, clock)

    def dialect(name: str, address: str) -> Dialect:
        driver = read(dict(list_drivers())[name], Driver)
        return Dialect(driver, Link(open_session(address, instrument=name, library=library), name, clock))

    scope = Scope(dialect("o-1b", "GPIB0::7::INSTR"), probe=10.0)
    route = Route(Relays(dialect("w-1", "GPIB0::9::INSTR")))
    captures = Captures(scope, route, clock.sleep)
    route.prepare()
    captures.prepare()
    sight = Sight((ScopePoint("LINE", "U1.27", 1, 301, -0.7, 5.7),), seconds, sight_rate)
    job = LineJob("LINE", "U1.27", sight, expected, "NMOS", Limits(rate, "test"), "output", shortest)
    return line(captures, PlannedStep("line LINE", "cpu", job, "LINE", 1.0), job)


def test_a_4_mhz_clock_at_250_ksa_is_void_never_low() -> None:
    """Sampled at 250 kSa/s a 4 MHz clock stands still; the reading is void, with the reason (common practice)."""
    rate = Span(3.9e6, 4.1e6, "Hz")
    for seconds in (0.012, 0.012001, 0.0119):
        (reading, *rest) = look(Square(4e6), 250e3, seconds, rate, 100e-9)
        assert (reading.verdict, rest) == ("void", []), reading
        assert "too slow" in (reading.reason or "") or "alias" in (reading.reason or "")


def test_a_4_mhz_clock_of_which_nothing_is_known_is_not_called_stuck() -> None:
    """Without any expectation the same capture is still no evidence for a dead line."""
    (reading, *_) = look(Square(4e6), 250e3, 0.012, Span(None, None, "Hz"), None)
    assert reading.state not in ("low", "high")
    assert reading.verdict == "void"


@pytest.mark.parametrize(
    ("frequency", "sight_rate", "seconds"),
    [(15e6, 250e6, 24e-6), (430e3, 25e6, 2.4e-3), (1.0, 25e6, 2.4e-3)],
)
def test_a_1_hz_line_is_found_as_well_as_a_15_mhz_one(frequency: float, sight_rate: float, seconds: float) -> None:
    """From 15 MHz down to 1 Hz a moving line is moving, with its rate."""
    shortest = 0.4 / frequency if frequency > 1e3 else 200e-9
    reading = look(Square(frequency), sight_rate, seconds, Span(0.4 * frequency, 1.6 * frequency, "Hz"), shortest)[0]
    assert reading.state in ("moving", "burst"), reading
    assert reading.value == pytest.approx(frequency, rel=0.5 if frequency < 10 else 0.01)
    assert reading.verdict in ("within", "marginal")


@pytest.mark.parametrize(("volts", "state"), [(0.05, "low"), (4.8, "high"), (1.45, "half-level")])
def test_a_line_that_stands_still_is_called_so_with_its_level(volts: float, state: str) -> None:
    """A dead line is outside, and a second reading tells its level."""
    reading, level = look(Level(volts), 25e6, 2.4e-3, Span(1e5, 1e6, "Hz"), 200e-9)
    assert (reading.verdict, reading.state, reading.value) == ("outside", state, 0.0)
    assert level.quantity == "level"
    assert level.value == pytest.approx(volts, abs=0.3)
    assert not level.required


@pytest.mark.parametrize(("volts", "verdict"), [(0.2, "within"), (4.5, "within"), (1.45, "outside")])
def test_a_line_that_may_do_anything_is_driven_all_the_same(volts: float, verdict: str) -> None:
    """Low or high will do; between the levels nobody drives it."""
    reading = look(Level(volts), 25e6, 2.4e-3, Span(None, None, "Hz"), None, "any")[0]
    assert reading.verdict == verdict
    assert ("driven" in (reading.reason or "")) is (verdict == "outside")
