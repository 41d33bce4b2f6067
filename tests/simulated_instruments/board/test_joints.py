"""Joints that come and go, and what one fault takes with it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from simulated_instruments.bench import SimulatedBench
from simulated_instruments.board.assembly import assemble
from simulated_instruments.board.board import Board
from simulated_instruments.board.circuit_file import circuit_path, read_circuit
from simulated_instruments.board.faults import board_fault_places, damage
from simulated_instruments.board.joints import Joint
from simulated_instruments.board.sources import LimitedSource
from simulated_instruments.board.tolerance import Tolerance
from simulated_instruments.devices.terminals import OutputSetting

JOINT = Joint("+5V.in to +5V.switched", 4.0, on=2.0, off=0.5)


def powered(joint: Joint) -> Board:
    """A tarnbeck-8 with such a joint in its switch, on 5 V from 0 s on."""
    circuit = read_circuit(circuit_path("tarnbeck-8"))
    assembly = assemble(circuit, {}, Tolerance(1))
    assembly.joints.append(joint)
    rail = circuit.rails["+5V"]
    source = LimitedSource("supply", rail.inlet, rail.ground, 0.005, rise=0.010)
    board = Board(assembly, [], [source], 0.0)
    board.change(0.0)
    source.connect(0.0, True)
    source.set(0.0, 5.0, 2.0)
    board.changed()
    return board


def far(board: Board, time: float) -> float:
    """Volts at the far end."""
    return board.volts(time, "+5V.far", "0V.far")


def test_a_joint_opens_and_closes_by_time() -> None:
    """Two seconds good, half a second bad, again and again: the far end falls by the joint's own drop."""
    board = powered(JOINT)
    good, bad, again = far(board, 1.9), far(board, 2.4), far(board, 4.4)
    assert good > 4.6
    assert bad < 3.5  # half an ampere and more through 4 Ω (Ohm's law)
    assert again == pytest.approx(good, abs=0.03)
    assert far(board, 4.9) == pytest.approx(bad, abs=0.1)


def test_a_joint_that_wants_warmth_waits_for_it() -> None:
    """It conducts on a cold board and lets go once that has warmed (time constant of minutes)."""
    board = powered(replace(JOINT, warmth=8.0))
    assert far(board, 2.4) > 4.6
    seen = [far(board, 100.0 + 0.25 * step) for step in range(12)]
    assert min(seen) < 3.5 < 4.6 < max(seen)


def test_a_joint_that_wants_bending_waits_for_a_hand() -> None:
    """Nothing happens until somebody bends the board, and nothing ever if nobody does."""
    board = powered(replace(JOINT, flexed=5.0))
    assert far(board, 4.9) > 4.6
    assert far(board, 7.4) < 3.5
    still = powered(replace(JOINT, flexed=math.inf))
    assert all(far(still, time) > 4.6 for time in np.arange(1.0, 12.0, 0.5))


def test_the_times_of_a_joint() -> None:
    """It says when it changes next, so that the network steps there."""
    assert JOINT.next_change(0.0) == pytest.approx(2.0)
    assert JOINT.next_change(2.1) == pytest.approx(2.5)
    assert replace(JOINT, flexed=9.0).next_change(3.0) == 9.0


def test_a_shorted_pass_transistor_takes_parts_with_it() -> None:
    """Nine volts on the 5 V rail: one to four of memory, buffer, ROM, video and CPU are gone with it."""
    circuit = read_circuit(circuit_path("orrin-tk"))
    place = next(place for place in board_fault_places(circuit) if place.fault == "regulator-high")
    casualties = set()
    for seed in range(12):
        assembly = assemble(circuit, {}, Tolerance(seed))
        damage(assembly, place)
        condition = assembly.condition
        lost = (
            condition.wrong.spoils_ram,
            condition.ram_silent,
            condition.rom_dead,
            condition.video_dead,
            condition.cpu_dead,
        )
        casualties.add(sum(lost))
        assert assembly.regulators("VR1")[0].volts > 9.2
    assert 1 <= min(casualties) <= max(casualties) <= 4
    assert len(casualties) > 1


def test_half_of_the_boards_without_bias_have_dead_memory() -> None:
    """Without -5 V every board's memory is silent; about every second one has lost chips for good (a guess)."""
    circuit = read_circuit(circuit_path("orrin-tk"))
    place = next(place for place in board_fault_places(circuit) if place.fault == "bias-rail-missing")
    dead = 0
    for seed in range(40):
        assembly = assemble(circuit, {}, Tolerance(seed))
        damage(assembly, place)
        assert assembly.condition.ram_silent
        dead += bool(assembly.condition.held)
    assert 10 <= dead <= 30


def test_two_faults_at_once() -> None:
    """A worn switch and a dead ROM are both there: the far end is low, and the CPU executes nothing but ones."""
    with SimulatedBench.open("tarnbeck-8", faults=("connector-resistance@SW1", "rom-not-driving"), seed=2) as bench:
        bench.world.apply(1, OutputSetting(True, 5.0, 1.5))
        bench.clock.sleep(3.0)
        board = bench.world.board
        assert far(board, bench.clock.now()) < 4.6
        assert board.activity is not None
        assert not board.activity.programs.healthy


def test_the_bias_comes_from_an_output_turned_round() -> None:
    """The third output gives -5 V at the memory, where all three rails come from the supply."""
    with SimulatedBench.open("orrin-tk", options={"power": "bench"}, seed=2) as bench:
        for output, volts in ((3, 5.0), (1, 5.0), (2, 12.0)):
            bench.world.apply(output, OutputSetting(True, volts, 1.0))
        bench.clock.sleep(3.0)
        truth = bench.truth()
        assert truth.between("U18.1", "U18.16") == pytest.approx(-5.0, abs=0.05)
        assert truth.between("U18.8", "U18.16") == pytest.approx(12.0, abs=0.1)
        assert truth.between("U18.9", "U18.16") == pytest.approx(5.0, abs=0.1)


def test_the_converter_makes_what_the_supply_gives_otherwise() -> None:
    """From 9.2 V alone come +5 V, +12 V and -5 V, and 0.7 A flow (a little less than a first guess by power)."""
    with SimulatedBench.open("orrin-tk", seed=2) as bench:
        bench.world.apply(2, OutputSetting(True, 9.25, 1.0))
        bench.clock.sleep(5.0)
        truth = bench.truth()
        assert truth.between("U18.1", "U18.16") == pytest.approx(-5.05, abs=0.15)
        assert truth.between("U18.8", "U18.16") == pytest.approx(12.1, abs=0.3)
        assert truth.between("VR1.3", "VR1.2") == pytest.approx(5.02, abs=0.1)
        assert truth.outputs[2].amps == pytest.approx(0.70, rel=0.08)  # trade figure of such a board


def test_a_joint_never_changes_now() -> None:
    """From any moment the next change is later, and stepping from one to the next alternates between good and bad."""
    time, before = 0.0, JOINT.is_open(0.0, 0.0)
    for _ in range(2000):
        later = JOINT.next_change(time)
        assert later > time
        assert JOINT.is_open(later, 0.0) != before
        time, before = later, not before
