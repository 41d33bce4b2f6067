"""Nodal analysis against circuits that can be worked out by hand, and against Kirchhoff's law on the whole board."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from simulated_instruments.board.assembly import assemble
from simulated_instruments.board.board import Board
from simulated_instruments.board.circuit_file import circuit_path, read_circuit
from simulated_instruments.board.network import Load, Network, TwoEnded
from simulated_instruments.board.sources import LimitedSource
from simulated_instruments.board.tolerance import Tolerance


def fed(resistors: list[TwoEnded], loads: list[Load] | None = None, volts: float = 8.0) -> dict[str, float]:
    """Node volts with `volts` (behind 10 mΩ) on node `in`, scaled so that `in` has them where no chips are."""
    source = LimitedSource("s", "in", "0", 0.010, connected=True)
    source.set(0.0, volts, 1000.0)
    network = Network("0", resistors, [], loads or [], [source])
    found = network.solve(0.0, np.zeros(network.size + 1))
    scale = 1.0 if loads else volts / float(found[network.index["in"]])
    return {name: scale * float(found[place]) for name, place in network.index.items()}


def test_a_voltage_divider_divides() -> None:
    """8 V over 3 kΩ and 1 kΩ leave 2 V."""
    nodes = fed([TwoEnded("a", "in", "mid", 3000.0), TwoEnded("b", "mid", "0", 1000.0)])
    assert nodes["mid"] == pytest.approx(2.0, rel=1e-9)  # 8 V · 1/(3 + 1)


def test_a_loaded_divider_divides_less() -> None:
    """8 V over 1 kΩ and 1 kΩ with 1 kΩ across the lower leave 8/3 V."""
    resistors = [TwoEnded("a", "in", "mid", 1000.0), TwoEnded("b", "mid", "0", 1000.0)]
    nodes = fed([*resistors, TwoEnded("load", "mid", "0", 1000.0)])
    assert nodes["mid"] == pytest.approx(8.0 / 3.0, rel=1e-9)  # 500 Ω/(1000 Ω + 500 Ω)


def test_a_ladder_of_r_and_2r_halves_at_every_rung() -> None:
    """Each rung of an R–2R ladder sees 2R ahead, so the volts halve from rung to rung."""
    ladder = [TwoEnded("end", "n4", "0", 100.0)]
    for rung, (before, after) in enumerate([("in", "n1"), ("n1", "n2"), ("n2", "n3"), ("n3", "n4")]):
        ladder.append(TwoEnded(f"series {rung}", before, after, 50.0))
        if after != "n4":
            ladder.append(TwoEnded(f"rung {rung}", after, "0", 100.0))
    ladder.append(TwoEnded("last rung", "n4", "0", 100.0))
    nodes = fed(ladder)
    found = [nodes[name] for name in ("n1", "n2", "n3", "n4")]
    assert found == pytest.approx([4.0, 2.0, 1.0, 0.5], rel=1e-9)  # elementary: R–2R ladder


def test_a_balanced_bridge_carries_no_current_across() -> None:
    """The middle of a bridge with equal ratios sees no volts, whatever lies across it."""
    bridge = [
        TwoEnded("a", "in", "left", 100.0),
        TwoEnded("b", "left", "0", 300.0),
        TwoEnded("c", "in", "right", 10.0),
        TwoEnded("d", "right", "0", 30.0),
        TwoEnded("across", "left", "right", 1.0),
    ]
    nodes = fed(bridge)
    assert nodes["left"] - nodes["right"] == pytest.approx(0.0, abs=1e-10)  # Wheatstone
    assert nodes["left"] == pytest.approx(6.0, rel=1e-9)


def test_a_chip_behind_a_resistor_settles_where_both_curves_meet() -> None:
    """One chip behind 10 Ω stands where (5 − v)/10 Ω equals its current, found here by bisection."""
    nodes = fed([TwoEnded("r", "in", "chip", 9.99)], [Load("u", "chip", "0", 0.1, 5.0)], volts=5.0)
    root = brentq(lambda v: (5.0 - v) / 10.0 - 0.1 * (v / 5.0) ** 1.2, 1.5, 5.0, xtol=1e-13)  # bisection, V^1.2
    assert nodes["chip"] == pytest.approx(root, abs=1e-9)


def test_resistors_can_be_opened_and_changed() -> None:
    """An opened resistor takes its branch's current away; a changed one divides anew."""
    source = LimitedSource("s", "in", "0", 0.010, connected=True)
    source.set(0.0, 8.0, 1000.0)
    resistors = [TwoEnded("a", "in", "mid", 999.99), TwoEnded("b", "mid", "0", 1000.0)]
    network = Network("0", resistors, [], [], [source])
    network.set_ohms({"b": math.inf})
    assert network.solve(0.0, np.zeros(3))[network.index["mid"]] == pytest.approx(8.0, abs=1e-6)
    network.set_ohms({"b": 3000.0})
    assert network.solve(0.0, np.zeros(3))[network.index["mid"]] == pytest.approx(6.0, rel=1e-9)


@pytest.mark.parametrize("limit", [2.0, 0.5])
@pytest.mark.parametrize("volts", [0.3, 5.0, -5.0])
def test_currents_cancel_at_every_node_of_the_whole_board(volts: float, limit: float) -> None:
    """Kirchhoff's current law holds to a nanoampere at every node, limited, reversed or not."""
    circuit = read_circuit(circuit_path("tarnbeck-8"))
    rail = circuit.rails["+5V"]
    ends = (rail.inlet, rail.ground) if volts > 0.0 else (rail.ground, rail.inlet)
    source = LimitedSource("supply", *ends, 0.005, connected=True)
    source.set(0.0, abs(volts), limit)
    network = Board(assemble(circuit, {}, Tolerance(7)), [], [source], 0.0).network
    found = network.solve(0.0, np.zeros(network.size + 1))
    left = dict.fromkeys(network.index, 0.0)
    flows = network.flows(0.0, found)
    for flow in flows:
        left[flow.plus] -= flow.amps
        left[flow.minus] += flow.amps
    assert max(abs(amps) for amps in left.values()) < 1e-9  # Kirchhoff
    assert max(abs(flow.amps) for flow in flows) > 1e-3
