"""Logic levels: families within their data sheets, fights by Ohm's law, undriven and shorted nets."""

from __future__ import annotations

import numpy as np
import pytest

from simulated_instruments.board.levels import (
    FAMILIES,
    FIGHT,
    HIGH,
    LOW,
    REFERENCE,
    SHORT,
    UNDRIVEN,
    fight_amps,
    fight_volts,
    lower_ohms,
    palette,
)
from simulated_instruments.board.tolerance import Tolerance

SEEDS = range(40)
# Guaranteed output levels (V): LS 0.5/2.7 (LS00 data sheets), NMOS 0.4/2.4, class R clock 0.45/Vcc − 0.6 (from memory).
LIMITS = {"LS": (0.5, 2.7), "NMOS": (0.4, 2.4), "CMOS": (0.1, 4.4), "clock pin": (0.45, REFERENCE - 0.6)}


@pytest.mark.parametrize("name", FAMILIES)
def test_levels_of_every_specimen_keep_to_the_data_sheet(name: str) -> None:
    """Low and high stay within the family's guaranteed levels, and differ from specimen to specimen."""
    low_limit, high_limit = LIMITS[name]
    lows = [palette(Tolerance(seed), "X", FAMILIES[name], "TTL").volts(LOW) for seed in SEEDS]
    highs = [palette(Tolerance(seed), "X", FAMILIES[name], "TTL").volts(HIGH) for seed in SEEDS]
    assert max(lows) < low_limit
    assert min(highs) > high_limit
    assert len(set(lows)) == len(lows)


def test_a_fight_is_a_divider() -> None:
    """130 Ω up and 45 Ω down from 3.5 V give 0.9 V and 20 mA through the lower stage."""
    assert fight_volts(45.0, 130.0, 3.5) == pytest.approx(0.9)  # Ohm's law
    assert fight_volts(45.0, 130.0, 3.5) / 45.0 == pytest.approx(0.020)  # Ohm's law
    assert 0.020 <= fight_amps(35.0) <= 0.060  # common practice: 20 mA to 60 mA a fighting line


@pytest.mark.parametrize("seed", SEEDS)
def test_the_low_wins_a_fight(seed: int) -> None:
    """A line two LS outputs fight over stands between 0.5 V and 0.9 V, as the divider of this specimen says."""
    found = palette(Tolerance(seed), "D3", FAMILIES["NMOS"], "pulled up").volts(FIGHT)
    assert 0.5 < found <= 0.9  # common practice
    assert found == pytest.approx(fight_volts(lower_ohms(Tolerance(seed), "D3")))


@pytest.mark.parametrize(
    ("undriven", "low", "high"), [("TTL", 1.35, 1.55), ("NMOS", 1.35, 1.85), ("pulled up", 4.79, 4.81)]
)
def test_an_undriven_net_goes_where_its_loads_take_it(undriven: str, low: float, high: float) -> None:
    """An open TTL input is at about 1.45 V, an NMOS bus drifts to about 1.6 V, a pull-up reaches the rail."""
    for seed in SEEDS:
        assert low < palette(Tolerance(seed), "X", FAMILIES["LS"], undriven).volts(UNDRIVEN) < high  # common practice


def test_an_nmos_bus_holds_its_level_for_a_while() -> None:
    """Left alone, it drifts with a time constant of 20 µs to 200 µs."""
    found = palette(Tolerance(1), "M0", FAMILIES["LS"], "NMOS")
    wave = found.wave(np.array([0.0, 1e-6]), np.array([LOW, UNDRIVEN]), 1e-3, 0.0)
    assert wave.samples(np.array([2e-6]))[0] < 0.35
    assert wave.samples(np.array([9.9e-4]))[0] > 1.3
    assert 20e-6 <= found.constants[UNDRIVEN] <= 200e-6  # common practice


def test_a_shorted_net_is_lower_than_any_output_pulls_it() -> None:
    """0.02 V to 0.08 V, below every driven low."""
    for seed in SEEDS:
        found = palette(Tolerance(seed), "D5", FAMILIES["NMOS"], "pulled up")
        assert 0.02 <= found.volts(SHORT) <= 0.08 < found.volts(LOW)
