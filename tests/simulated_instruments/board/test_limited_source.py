"""A source with a voltage, a resistance and a current limit."""

from __future__ import annotations

import math

import numpy as np
import pytest

from simulated_instruments.board.network import Network, TwoEnded
from simulated_instruments.board.sources import BLOCKED, CURRENT, VOLTAGE, LimitedSource


def loaded(ohms: float, volts: float = 5.0, limit: float = 1.0) -> tuple[float, float, str]:
    """Volts and amps at the terminals of a 5 mΩ source with a resistor across it, and its mode."""
    source = LimitedSource("s", "a", "0", 0.005, connected=True)
    source.set(0.0, volts, limit)
    network = Network("0", [TwoEnded("r", "a", "0", ohms)], [], [], [source])
    found = network.solve(0.0, np.zeros(2))
    return float(found[0]), float(network.source_amps(0.0, found)[0]), source.mode


def test_below_the_limit_the_source_is_a_voltage_behind_its_resistance() -> None:
    """10 Ω on 5 V behind 5 mΩ draw 5/10.005 A."""
    volts, amps, mode = loaded(10.0)
    assert amps == pytest.approx(5.0 / 10.005, rel=1e-9)  # Ohm's law
    assert volts == pytest.approx(50.0 / 10.005, rel=1e-9)
    assert mode == VOLTAGE


def test_above_the_limit_the_current_is_the_limit_exactly() -> None:
    """2 Ω on a 1 A limit read 1 A and 2 V."""
    volts, amps, mode = loaded(2.0)
    assert volts == pytest.approx(2.0, rel=1e-9)  # Ohm's law
    assert (amps, mode) == (1.0, CURRENT)


@pytest.mark.parametrize(("ohms", "mode"), [(4.9951, VOLTAGE), (4.9949, CURRENT)])
def test_the_crossover_is_where_volts_less_drop_meet_the_limit(ohms: float, mode: str) -> None:
    """5 V behind 5 mΩ reach 1 A at 4.995 Ω, on one side constant voltage and on the other constant current."""
    assert loaded(ohms)[2] == mode  # (5 V − 1 A·5 mΩ)/1 A = 4.995 Ω


def test_a_source_on_nothing_stands_at_its_voltage() -> None:
    """An open terminal reads the set voltage whatever the limit."""
    volts, amps, _ = loaded(math.inf, limit=0.001)
    assert volts == pytest.approx(5.0, abs=1e-9)
    assert amps == pytest.approx(0.0, abs=1e-9)


def test_a_source_never_sinks() -> None:
    """Against a higher voltage the lower of two sources gives nothing and takes nothing."""
    high = LimitedSource("high", "a", "0", 0.005, connected=True)
    low = LimitedSource("low", "a", "0", 0.005, connected=True)
    high.set(0.0, 5.0, 1.0)
    low.set(0.0, 3.0, 1.0)
    network = Network("0", [TwoEnded("r", "a", "0", 10.0)], [], [], [high, low])
    volts = network.solve(0.0, np.zeros(2))
    assert volts[0] == pytest.approx(50.0 / 10.005, rel=1e-9)
    assert network.source_amps(0.0, volts)[1] == 0.0
    assert low.mode == BLOCKED


def test_the_voltage_rises_with_its_time_constant_and_starts_again_from_nothing() -> None:
    """After one time constant 63.2 % are reached; switched off and on again it begins at 0 V."""
    source = LimitedSource("s", "a", "0", 0.005, rise=0.010)
    source.connect(1.0, True)
    source.set(1.0, 5.0, 1.0)
    assert source.open_volts(1.0) == 0.0
    assert source.open_volts(1.010) == pytest.approx(5.0 * 0.632120559, rel=1e-8)  # 1 − 1/e
    source.connect(2.0, False)
    source.connect(3.0, True)
    assert source.open_volts(3.0) == 0.0
