"""What parts do as their rail comes and goes."""

from __future__ import annotations

import numpy as np
import pytest

from simulated_instruments.board.assembly import assemble
from simulated_instruments.board.circuit_file import circuit_path, read_circuit
from simulated_instruments.board.states import PartStates
from simulated_instruments.board.tolerance import Tolerance

ASSEMBLY = assemble(read_circuit(circuit_path("tarnbeck-8")), {}, Tolerance(0))
NAMES = list(ASSEMBLY.amps)


def at_volts(volts: float) -> np.ndarray:
    return np.full(len(NAMES), volts)


def switched_on() -> PartStates:
    """All rails rose from 0 V to 5 V between 1.0 s and 1.1 s."""
    states = PartStates(ASSEMBLY)
    states.passed(0.0, 1.0, at_volts(0.0), at_volts(0.0))
    states.passed(1.0, 1.1, at_volts(0.0), at_volts(5.0))
    return states


def test_a_part_is_powered_from_the_moment_its_rail_crossed_the_threshold() -> None:
    """A rise that took a tenth of a second powers the part when seven tenths of it have passed."""
    state = switched_on().at(1.1, at_volts(5.0))
    assert state.powered_since["U1"] == pytest.approx(1.07)
    assert state.clock_since is not None
    assert state.clock_since == pytest.approx(1.075)


def test_states_follow_reset_and_software() -> None:
    """CPU and memory go from reset to running to fully at work at the times that were announced."""
    states = switched_on()
    assert (states.state_of("U1"), states.state_of("U11"), states.state_of("U2")) == ("reset", "standby", "run")
    release = states.next_change(1.1)
    assert release == pytest.approx(1.07 + ASSEMBLY.reset)
    assert states.passed(1.1, release, at_volts(5.0), at_volts(5.0))
    assert (states.state_of("U1"), states.state_of("U11")) == ("run", "refreshed")
    ready = states.next_change(release)
    assert ready == pytest.approx(release + ASSEMBLY.software)
    assert states.passed(release, ready, at_volts(5.0), at_volts(5.0))
    assert states.state_of("U11") == "active"
    assert states.next_change(ready) == float("inf")


def test_a_dip_starts_the_reset_anew() -> None:
    """A rail that falls below what chips work at and returns puts the CPU into reset again."""
    states = switched_on()
    states.passed(1.1, 3.0, at_volts(5.0), at_volts(5.0))
    assert states.state_of("U1") == "run"
    states.passed(3.0, 3.01, at_volts(5.0), at_volts(2.0))
    assert states.state_of("U1") == "off"
    states.passed(3.01, 3.02, at_volts(2.0), at_volts(5.0))
    assert states.state_of("U1") == "reset"
    assert states.next_change(3.02) > 3.02


def test_a_small_dip_does_not() -> None:
    """Between the two thresholds a part goes on as it was."""
    states = switched_on()
    states.passed(1.1, 3.0, at_volts(5.0), at_volts(3.35))
    assert states.state_of("U1") == "run"


def test_factors_are_those_of_the_states() -> None:
    """In reset the CPU takes 85 % of its running current, memory 15 %, a plain chip all of it."""
    factors = dict(zip(NAMES, switched_on().factors(1.1), strict=True))
    assert factors["U1"] == pytest.approx(0.85, rel=1e-3)  # common practice
    assert factors["U11"] == pytest.approx(0.15, rel=1e-3)  # common practice
    assert factors["U9"] == pytest.approx(1.0, rel=1e-3)
