"""What a counter's inputs see: edges of the board's own nets, by whole periods or one by one, or none at all."""

from __future__ import annotations

import numpy as np
import pytest

from simulated_instruments.bench import SimulatedBench
from simulated_instruments.counter_leads import STEP, CounterSockets

BENCH = "counter-and-scope"
LEVEL = 1.4


@pytest.fixture(scope="module")
def bench() -> SimulatedBench:
    """A good board, powered for long enough."""
    from autobench.clock import Clock
    from simulated_instruments.devices.terminals import OutputSetting

    opened = SimulatedBench.open("tarnbeck-8", options={"video": "late"}, seed=3, wiring=BENCH)
    opened.world.apply(1, OutputSetting(True, 5.06, 1.5))
    clock: Clock = opened.clock
    clock.sleep(2.0)
    return opened


def touching(bench: SimulatedBench, point: str) -> CounterSockets:
    """The counter's input on a point, for a tenth of a second already."""
    position = bench.world.wiring.fixtures["tarnbeck-8"][point]
    bench.world.relays(frozenset({600 + position}))
    bench.clock.sleep(0.1)
    return CounterSockets(bench.world.counted)


def rises(sockets: CounterSockets, start: float, stop: float) -> int:
    """The same by looking at every few nanoseconds, with noise left out by a band about the level."""
    volts = sockets._probes.samples(1, np.arange(start, stop, STEP / 4.0))
    sides = np.where(volts > LEVEL + 0.3, 1, np.where(volts < LEVEL - 0.3, -1, 0))
    clear = sides[sides != 0]
    return int(np.count_nonzero(np.diff(clear) > 0))


@pytest.mark.parametrize("point", ["U4.8", "U5.12", "U1.6"])  # 15 MHz, 7.5 MHz, 3.75 MHz
def test_a_clock_is_counted_as_if_one_by_one(bench: SimulatedBench, point: str) -> None:
    """Within a millisecond each edge is there, and the mean between first and last is the clock's own rate."""
    sockets, now = touching(bench, point), bench.clock.now()
    found = sockets.edges(1, LEVEL, now - 1e-3, now)
    assert abs(found.count - rises(sockets, now - 1e-3, now)) <= 1
    divisor = {"U4.8": 1, "U5.12": 2, "U1.6": 4}[point]
    rate = (found.count - 1) / (found.last - found.first)
    assert rate == pytest.approx(bench.world.nets.activity.clocks.master / divisor, rel=1e-8)


@pytest.mark.parametrize("point", ["U1.27", "U1.21"])  # the fetch strobe and the read strobe
def test_what_is_not_even_is_counted_one_by_one(bench: SimulatedBench, point: str) -> None:
    """Strobes of a program come as its instructions are."""
    sockets, now = touching(bench, point), bench.clock.now()
    found = sockets.edges(1, LEVEL, now - 1e-3, now)
    assert found.count > 100
    assert abs(found.count - rises(sockets, now - 1e-3, now)) <= 1
    assert now - 1e-3 <= found.first < found.last <= now


def test_an_input_that_touches_nothing_has_no_edges(bench: SimulatedBench) -> None:
    """Hum of a few millivolts crosses no level that is meant for logic."""
    bench.world.relays(frozenset())
    bench.clock.sleep(0.1)
    sockets, now = CounterSockets(bench.world.counted), bench.clock.now()
    assert sockets.edges(1, LEVEL, now - 0.01, now).count == 0
    low, high, mean = sockets.swing(1, now - 0.01, now)
    assert -0.05 < low <= mean <= high < 0.05
    assert sockets.key(1) == "open"
