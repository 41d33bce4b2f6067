"""A healthy tarnbeck-8, specimen after specimen, on a supply that holds 5.00 V at the inlet."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from simulated_instruments.board.assembly import Assembly, assemble
from simulated_instruments.board.board import Board
from simulated_instruments.board.circuit_file import circuit_path, read_circuit
from simulated_instruments.board.sources import LimitedSource
from simulated_instruments.board.tolerance import Tolerance

CIRCUIT = read_circuit(circuit_path("tarnbeck-8"))
SEEDS = range(20)


@dataclass
class Powered:
    """A board on a stiff source at the inlet, switched on at 0 s."""

    assembly: Assembly
    board: Board
    source: LimitedSource

    def volts(self, time: float, plus: str, minus: str) -> float:
        points = CIRCUIT.points()
        return self.board.volts(time, points[plus], points[minus])

    def amps(self, time: float) -> float:
        return self.board.amps(time, self.source)


def powered(seed: int, video: str = "late", limit: float = 2.0) -> Powered:
    assembly = assemble(CIRCUIT, {"video": video}, Tolerance(seed))
    rail = CIRCUIT.rails["+5V"]
    source = LimitedSource("supply", rail.inlet, rail.ground, 0.0005, rise=0.010)
    board = Board(assembly, [], [source], 0.0)
    board.change(0.0)
    source.connect(0.0, True)
    source.set(0.0, 5.0, limit)
    board.changed()
    return Powered(assembly, board, source)


@pytest.mark.parametrize(("video", "amps"), [("late", 0.78), ("early", 0.98)])
def test_every_healthy_specimen_draws_what_its_option_should(video: str, amps: float) -> None:
    """After 5 s the current is within 6 % of the option's figure for each of twenty boards, and they differ by 2 %."""
    found = [powered(seed, video).amps(5.0) for seed in SEEDS]
    assert all(abs(current / amps - 1.0) < 0.06 for current in found)
    mean = sum(found) / len(found)
    assert mean == pytest.approx(amps, rel=0.015)
    sigma = (sum((current - mean) ** 2 for current in found) / (len(found) - 1)) ** 0.5
    assert 0.010 < sigma / amps < 0.032  # 2 %, chi-squared for twenty at 3 standard deviations


def test_the_rail_falls_from_inlet_to_far_end_as_it_should() -> None:
    """With the late option the switch stands at 4.93 V, the CPU at 4.80 V, the far end at 4.70 V, each within 30 mV."""
    for seed in SEEDS:
        board = powered(seed)
        assert board.volts(5.0, "SW1.2", "J1.2") == pytest.approx(4.93, abs=0.015)
        assert board.volts(5.0, "U1.11", "U1.29") == pytest.approx(4.80, abs=0.027)
        assert board.volts(5.0, "U18.8", "U18.16") == pytest.approx(4.70, abs=0.030)
        assert 0.028 < board.volts(5.0, "U18.16", "J1.2") < 0.042


def test_the_hungrier_option_takes_little_from_the_far_end() -> None:
    """With the early option the far end stays above 4.64 V, since the video chip sits next to the inlet."""
    assert min(powered(seed, "early").volts(5.0, "U18.8", "U18.16") for seed in SEEDS) > 4.64


def test_the_current_steps_up_when_reset_ends() -> None:
    """Before the release it is about 85 % of the final current; the release adds 45 ± 15 mA; a step per specimen."""
    for seed in SEEDS:
        board = powered(seed)
        release = board.assembly.reset
        assert 0.13 < release < 0.31
        before, after, final = board.amps(release - 0.02), board.amps(release + 0.1), board.amps(5.0)
        assert before / final == pytest.approx(0.72 / 0.85, abs=0.03)
        assert after - before == pytest.approx(0.045, abs=0.015)
        assert final > after + 0.04


def test_the_state_says_when_what_began() -> None:
    """Clock, release, running CPU and finished software follow each other, each at its own time."""
    board = powered(3)
    early, late = board.board.state(0.1), board.board.state(5.0)
    assert early.powered("U1")
    assert early.clock_since is not None
    assert (early.released_since, early.running_since, early.ready_since) == (None, None, None)
    assert late.clock_since is not None
    assert late.released_since is not None
    assert late.ready_since is not None
    assert late.running_since is not None
    assert late.clock_since < late.released_since == late.running_since < late.ready_since
    assert late.released_since == pytest.approx(board.assembly.reset, abs=0.03)
    assert late.rail["U18"] == pytest.approx(board.volts(5.0, "U18.8", "U18.16"), abs=1e-6)


def test_the_board_draws_less_when_warm() -> None:
    """Over ten minutes the current falls by 3 to 4 %, most of it in the first minutes."""
    board = powered(4)
    cold, middle, warm = board.amps(5.0), board.amps(185.0), board.amps(900.0)
    assert 1.0 - warm / cold == pytest.approx(0.15e-2 * 25.0, abs=0.006)  # common practice: −0.15 %/°C, 25 °C warmer
    assert (cold - middle) / (cold - warm) == pytest.approx(0.632, abs=0.05)  # 1 − 1/e after 180 s


def test_a_limited_supply_meets_a_board_that_wants_more() -> None:
    """With a limit of half the current the source gives exactly the limit, and the rail sags."""
    board = powered(5, limit=0.35)
    assert board.amps(2.0) == pytest.approx(0.35, abs=1e-9)
    assert 1.0 < board.volts(2.0, "J1.1", "J1.2") < 4.5


def test_the_board_empties_itself_when_the_supply_lets_go() -> None:
    """Isolated at 3 s, the rail is below 0.5 V within two seconds and below 50 mV soon after."""
    for seed in range(5):
        board = powered(seed)
        board.board.change(3.0)
        board.source.connect(3.0, False)
        board.board.changed()
        volts = [board.volts(3.0 + after, "J1.1", "J1.2") for after in (0.0, 0.3, 2.0)]
        assert volts[0] > 4.5
        assert volts[1] < 0.5
        assert volts[2] < 0.050
        assert board.board.state(5.0).running_since is None


def test_a_specimen_is_the_same_to_the_last_digit_each_time() -> None:
    """The same seed gives the same volts and amps, however often it is asked on the way; another seed others."""
    quiet, busy = powered(11), powered(11)
    for step in range(500):
        busy.amps(step * 0.002)
    assert quiet.amps(1.2345) == busy.amps(1.2345)
    assert quiet.volts(2.5, "U18.8", "U18.16") == busy.volts(2.5, "U18.8", "U18.16")
    assert powered(12).amps(2.5) != quiet.amps(2.5)


def test_parts_differ_but_their_sum_keeps_to_the_board() -> None:
    """Part tolerances do not widen a board's spread: each chip differs, the sum is one factor of the nominal."""
    assembly = assemble(CIRCUIT, {}, Tolerance(8))
    shares = [assembly.amps[name] / CIRCUIT.parts[name].draws for name in assembly.amps if name != "U2"]
    assert max(shares) / min(shares) > 1.03
    total = sum(assembly.amps.values()) + 5.0 * sum(assembly.siemens.values())
    nominal = sum(part.draws for part in CIRCUIT.parts.values()) + 5.0 / CIRCUIT.unpowered
    assert abs(total / nominal - 1.0) <= 2.7 * 0.02 + 1e-9  # cut off at 2.7 standard deviations of 2 %
