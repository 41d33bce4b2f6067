"""The network in time against closed forms, and its independence from who asks."""

from __future__ import annotations

import math

import numpy as np
import pytest

from simulated_instruments.board.elements import Diode
from simulated_instruments.board.loads import Array
from simulated_instruments.board.network import Network, TwoEnded
from simulated_instruments.board.sources import LimitedSource
from simulated_instruments.board.transient import Moment, Transient


class NoChips:
    """A circuit without chips: nothing ever changes by itself."""

    def scales(self, time: float) -> Array:
        return np.ones(0)

    def next_change(self, time: float) -> float:
        return math.inf

    def passed(self, begin: Moment, end: Moment) -> bool:
        return False


def charging(volts: float = 5.0, limit: float = 1.0) -> tuple[Transient, LimitedSource]:
    """10 kΩ into 10 µF, switched on at 0 s."""
    source = LimitedSource("s", "in", "0", 1e-3)
    network = Network("0", [TwoEnded("r", "in", "out", 1e4)], [TwoEnded("c", "out", "0", 1e-5)], [], [source])
    transient = Transient(network, NoChips(), 0.0)
    transient.cut(0.0)
    source.connect(0.0, True)
    source.set(0.0, volts, limit)
    transient.restart()
    return transient, source


def on_for_a_second(network: Network, source: LimitedSource, volts: float) -> Transient:
    """`source` at `volts` with 1 A at most from 0 s, and disconnected at 1 s."""
    transient = Transient(network, NoChips(), 0.0)
    transient.cut(0.0)
    source.connect(0.0, True)
    source.set(0.0, volts, 1.0)
    transient.restart()
    transient.cut(1.0)
    source.connect(1.0, False)
    transient.restart()
    return transient


def out(transient: Transient, time: float) -> float:
    """Volts on the capacitor."""
    return float(transient.at(time).volts[transient.network.index["out"]])


@pytest.mark.parametrize(
    ("seconds", "volts"),
    [
        (0.017435, 0.8),  # elementary: RC·ln(5/(5 − 0.8))
        (0.041552, 1.7),  # elementary
        (0.051083, 2.0),  # elementary
        (0.100000, 3.16060),  # elementary: 63.212 %
        (0.109861, 10.0 / 3.0),  # elementary: RC·ln 3, the 555's charge to two thirds
    ],
)
def test_a_capacitor_charges_by_the_closed_form(seconds: float, volts: float) -> None:
    """10 kΩ into 10 µF from 5 V follows 5·(1 − e^(−t/RC)) within a tenth of a per cent of the step."""
    assert out(charging()[0], seconds) == pytest.approx(volts, abs=0.005)


def test_a_source_that_is_turned_down_does_not_pull_the_capacitor_down() -> None:
    """A one-quadrant source set to 0 V leaves the charge where it is."""
    transient, source = charging()
    full = out(transient, 5.0)
    assert full == pytest.approx(5.0, abs=1e-3)
    transient.cut(5.0)
    source.set(5.0, 0.0, 1.0)
    transient.restart()
    assert out(transient, 5.25257) == pytest.approx(full, abs=1e-6)


def test_a_bleeder_discharges_a_capacitor_by_the_closed_form() -> None:
    """10 µF at 5 V over 10 kΩ fall to 0.4 V in 252.57 ms."""
    source = LimitedSource("s", "out", "0", 1e-3)
    network = Network("0", [TwoEnded("r", "out", "0", 1e4)], [TwoEnded("c", "out", "0", 1e-5)], [], [source])
    transient = on_for_a_second(network, source, 5.0)
    assert out(transient, 1.25257) == pytest.approx(0.4, abs=0.005)  # elementary: RC·ln(5/0.4)


def test_a_limited_source_charges_a_capacitor_in_a_straight_line() -> None:
    """1 mA into 1000 µF rises one volt a second until the source's own voltage stops it."""
    source = LimitedSource("s", "out", "0", 1.0)
    network = Network("0", [TwoEnded("leak", "out", "0", 1e9)], [TwoEnded("c", "out", "0", 1e-3)], [], [source])
    transient = Transient(network, NoChips(), 0.0)
    transient.cut(0.0)
    source.connect(0.0, True)
    source.set(0.0, 3.0, 0.001)
    transient.restart()
    assert out(transient, 0.5) == pytest.approx(0.5, rel=1e-3)  # elementary: I·t/C
    assert out(transient, 2.0) == pytest.approx(2.0, rel=1e-3)
    assert out(transient, 6.0) == pytest.approx(3.0, abs=2e-3)


def test_asking_more_often_changes_nothing() -> None:
    """A thousand questions on the way leave the answer the same to the last digit, also after a change."""
    answers = []
    for asked in (0, 1000):
        transient, source = charging()
        for step in range(asked):
            out(transient, step * 0.00009)
        transient.cut(0.09)
        source.set(0.09, 2.0, 1e-5)
        transient.restart()
        for step in range(asked):
            out(transient, 0.09 + step * 0.0003)
        answers.append((out(transient, 0.123), out(transient, 0.5)))
    assert answers[0] == answers[1]


def test_the_mean_over_a_window_is_the_integral() -> None:
    """The mean over the first time constant of a charge is 5·(1/e) V."""
    transient, _ = charging()
    mean = transient.average("out", "0", 0.0, 0.1)
    assert mean == pytest.approx(5.0 / math.e, abs=0.01)  # elementary: 1 − (1 − 1/e) = 1/e


def test_the_mean_over_no_time_is_the_value() -> None:
    """A window of no length gives the voltage itself."""
    transient, _ = charging()
    assert transient.average("out", "0", 0.1, 0.1) == out(transient, 0.1)


def test_quiet_time_costs_few_steps() -> None:
    """Ten quiet minutes after a charge take a few hundred steps, not thousands."""
    transient, _ = charging()
    out(transient, 600.0)
    assert transient.solved < 300


def test_an_inlet_that_hangs_on_blocked_diodes_alone_has_a_voltage() -> None:
    """A bridge whose source is switched off: its four diodes block, and what they leak puts the inlet half way between
    ground and the reservoir. Without a leak any voltage would do, and the steps never grew again."""
    source = LimitedSource("s", "one", "two", 1e-3)
    bridge = [("one", "dc"), ("two", "dc"), ("0", "one"), ("0", "two")]
    diodes = [Diode(f"d{number}", nodes, 0.95, 1.0) for number, nodes in enumerate(bridge)]
    resistors = [TwoEnded("bleeder", "one", "two", 1e4), TwoEnded("load", "dc", "0", 1e6)]
    network = Network("0", resistors, [TwoEnded("c", "dc", "0", 1e-3)], [], [source], elements=diodes)
    transient = on_for_a_second(network, source, 13.6)
    before = transient.solved
    volts = transient.at(31.0).volts
    one, two, dc = (float(volts[network.index[node]]) for node in ("one", "two", "dc"))
    assert dc > 10.0
    assert one == pytest.approx(0.5 * dc, abs=0.05)  # elementary: two equal leaks divide
    assert two == pytest.approx(0.5 * dc, abs=0.05)
    assert transient.solved - before < 500
