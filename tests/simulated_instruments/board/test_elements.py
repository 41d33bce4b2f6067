"""Diodes, regulators and converters against their own laws, and an RC and a reservoir against the closed forms."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.optimize import brentq

from simulated_instruments.board.elements import OPEN_OHMS, Converter, Diode, Element, Regulator, slopes
from simulated_instruments.board.loads import Array
from simulated_instruments.board.network import Network, TwoEnded
from simulated_instruments.board.sources import LimitedSource
from simulated_instruments.board.transient import Moment, Transient

REGULATOR = Regulator("VR1", ("in", "out", "0"), 5.0, 1.5, dropout=1.8)
CONVERTER = Converter("U22", ("in", "0", "plus", "minus"), 12.0, -5.0)


def settled(element: Element, resistors: list[TwoEnded], volts: float, limit: float = 10.0) -> dict[str, float]:
    """Node volts with `volts` on node `in`."""
    source = LimitedSource("s", "in", "0", 0.001, connected=True)
    source.set(0.0, volts, limit)
    network = Network("0", resistors, [], [], [source], [element])
    found = network.solve(0.0, np.zeros(network.size + 1))
    return {name: float(found[place]) for name, place in network.index.items()}


@pytest.mark.parametrize("amps", [0.01, 0.1, 1.0])
def test_a_diode_follows_shockley(amps: float) -> None:
    """Ten times the current raises the forward volts by the slope times ln 10, and backwards it leaks a microamp."""
    diode = Diode("D", ("a", "k"), 0.95, 1.0, slope=0.05)
    forward = 0.95 + 0.05 * math.log(amps)  # Shockley: V = n·V_T·ln(I/I₀)
    assert diode.amps(np.array([forward, 0.0]))[0] == pytest.approx(amps, rel=1e-5)
    assert diode.amps(np.array([-10.0, 0.0]))[0] == pytest.approx(
        -10.0 / OPEN_OHMS, abs=1e-8
    )  # Ohm; its ohms are invented


@pytest.mark.parametrize("element", [REGULATOR, CONVERTER, Diode("D", ("a", "k"), 0.95, 1.0)])
def test_no_current_is_lost_inside(element: Element) -> None:
    """What enters an element leaves it, whatever its volts (Kirchhoff)."""
    generator = np.random.default_rng(1)
    for _ in range(50):
        volts = generator.uniform(-6.0, 14.0, len(element.nodes))
        amps = element.amps(volts)
        assert float(amps.sum()) == pytest.approx(0.0, abs=1e-9 + 1e-9 * float(np.abs(amps).max()))
        assert slopes(element, volts).sum(axis=0) == pytest.approx(0.0, abs=1e-3 + 1e-6 * float(np.abs(amps).max()))


def test_a_regulator_holds_its_volts_until_it_drops_out() -> None:
    """5 V from 7 V and more; below, the input less the dropout (common practice: about 2 V)."""
    load = [TwoEnded("load", "out", "0", 10.0)]
    assert settled(REGULATOR, load, 9.0)["out"] == pytest.approx(5.0, abs=0.01)
    assert settled(REGULATOR, load, 7.2)["out"] == pytest.approx(5.0, abs=0.02)
    assert settled(REGULATOR, load, 6.0)["out"] == pytest.approx(6.0 - 1.8, abs=0.12)


def test_a_regulator_folds_back_into_a_short() -> None:
    """Into a short it gives a third of its limit, so that it does not burn (common practice)."""
    found = settled(REGULATOR, [TwoEnded("short", "out", "0", 0.05)], 9.0)
    assert found["out"] / 0.05 == pytest.approx(0.35 * 1.5, rel=0.05)


def test_a_converter_takes_the_power_it_gives() -> None:
    """Output power by efficiency is input power, less what it needs itself."""
    ohms, volts = 100.0, 9.0
    amps = CONVERTER.amps(np.array([volts, 0.0, 11.8, -4.9]))
    given = 11.8 * -amps[2] + 4.9 * amps[3]
    assert volts * (amps[0] - CONVERTER.idle) * CONVERTER.efficiency == pytest.approx(given, rel=1e-3)
    found = settled(CONVERTER, [TwoEnded("load", "plus", "0", ohms), TwoEnded("bias", "minus", "0", 5000.0)], volts)
    assert found["plus"] == pytest.approx(12.0 * ohms / (ohms + 0.8), rel=2e-3)  # divider of its 0.8 Ω
    assert found["minus"] == pytest.approx(-5.0 * 5000.0 / 5020.0, rel=5e-3)


def test_a_converter_sleeps_below_its_starting_volts() -> None:
    """Fed with less than it starts at, it gives nothing."""
    found = settled(CONVERTER, [TwoEnded("load", "plus", "0", 100.0), TwoEnded("bias", "minus", "0", 5000.0)], 4.0)
    assert abs(found["plus"]) < 0.05
    assert abs(found["minus"]) < 0.05


@dataclass
class Steady:
    """A load that takes the same current whatever its volts."""

    name: str
    nodes: tuple[str, ...]
    drawn: float

    def amps(self, volts: Array) -> Array:
        return np.array([self.drawn, -self.drawn])


class Nothing:
    """No chips at all."""

    def scales(self, time: float) -> Array:
        return np.empty(0)

    def next_change(self, time: float) -> float:
        return math.inf

    def passed(self, begin: Moment, end: Moment) -> bool:
        return False


@pytest.mark.parametrize(("volts", "milliseconds"), [(0.8, 17.435), (1.7, 41.552), (2.0, 51.083), (10 / 3, 109.861)])
def test_an_rc_on_the_network_takes_the_time_of_the_closed_form(volts: float, milliseconds: float) -> None:
    """10 kΩ into 10 µF from 5 V, solved in time steps, reaches each threshold when RC·ln(V∞/(V∞ − V)) says."""
    source = LimitedSource("s", "in", "0", 0.001, connected=True)
    parts = [TwoEnded("R", "in", "c", 10e3), TwoEnded("leak", "c", "0", 1e9)]
    network = Network("0", parts, [TwoEnded("C", "c", "0", 10e-6)], [], [source])
    transient = Transient(network, Nothing(), 0.0)
    transient.cut(0.0)
    source.set(0.0, 5.0, 1.0)
    transient.restart()
    place = network.index["c"]
    at = brentq(lambda time: float(transient_at(transient, time).volts[place]) - volts, 1e-4, 0.3, xtol=1e-6)
    assert at == pytest.approx(milliseconds * 1e-3, rel=5e-3)  # RC·ln((V∞−V₀)/(V∞−V_T)), elementary


def transient_at(transient: Transient, time: float) -> Moment:
    """The moment at any `time`, earlier ones by interpolation between grid points."""
    if time >= transient.last.time:
        return transient.at(time)
    after = next(moment for moment in transient.history if moment.time > time)
    before = max((moment for moment in transient.history if moment.time <= time), key=lambda moment: moment.time)
    size = after.time - before.time
    share = (time - before.time) / size
    rise, bend = after.volts - before.volts, size * after.rate - (after.volts - before.volts)
    volts = before.volts + share * (rise - bend) + share * share * bend
    return Moment(time, volts, after.rate, after.amps, after.modes)


@pytest.mark.parametrize(("hertz", "exact"), [(50.0, 1.723), (60.0, 1.464)])
def test_a_reservoir_sags_between_peaks_as_the_closed_form_says(hertz: float, exact: float) -> None:
    """4700 µF charged to 11 V that feed 1 A until the next half wave comes: 1.72 V at 50 Hz, 1.46 V at 60 Hz."""
    network = Network(
        "0",
        [TwoEnded("leak", "c", "0", 1e9)],
        [TwoEnded("C", "c", "0", 4700e-6)],
        [],
        [],
        [Steady("load", ("c", "0"), 1.0)],
    )
    transient = Transient(network, Nothing(), 0.0)
    transient.history.clear()
    # The rectifier lets go where the sine begins to fall faster than the load empties the capacitor.
    speed = 2.0 * math.pi * hertz
    lets_go = math.asin(1.0 / (4700e-6 * speed * 11.0)) / speed
    full = np.array([11.0 * math.cos(speed * lets_go), 0.0])
    transient.history.append(Moment(lets_go, full, np.zeros(2), np.zeros(0), ()))
    transient.restart()

    def over(time: float) -> float:
        left = float(transient_at(transient, time).volts[network.index["c"]])
        return 11.0 * abs(math.cos(speed * time)) - left

    met = brentq(over, 0.25 / hertz, 0.5 / hertz, xtol=1e-7)
    sag = 11.0 - float(transient_at(transient, met).volts[network.index["c"]])
    assert sag == pytest.approx(exact, rel=2e-3)  # exact constant-current solution, computed
    assert sag < 1.0 / (2.0 * hertz * 4700e-6)  # the rule of thumb I/(2·f·C) is its upper bound
