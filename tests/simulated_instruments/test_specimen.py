"""Hands on a simulated board: a contact that was reseated, a chip that was swapped, a leg that was bent out."""

from __future__ import annotations

import numpy as np
import pytest

from autobench.errors import UsageError
from simulated_instruments.bench import SimulatedBench
from simulated_instruments.devices.terminals import OutputSetting


def powered(bench: SimulatedBench) -> SimulatedBench:
    """The same board under power for five seconds."""
    bench.world.apply(1, OutputSetting(True, 5.0, 2.0))
    bench.clock.sleep(5.0)
    return bench


def switched_off(bench: SimulatedBench) -> SimulatedBench:
    """The same board with its rails fallen."""
    bench.world.apply(1, OutputSetting(False, 5.0, 2.0))
    bench.clock.sleep(20.0)
    return bench


def edges(bench: SimulatedBench, point: str) -> int:
    """How often a point crossed a logic threshold in the last two milliseconds."""
    assert bench.world.probes is not None
    bench.world.touch({"scope 4": (point,)})
    bench.clock.sleep(0.01)
    now = bench.clock.now()
    volts = bench.world.probes.samples(4, np.linspace(now - 2e-3, now, 40_000))
    levels = np.where(volts > 2.0, 1, np.where(volts < 0.8, -1, 0))
    levels = levels[levels != 0]
    return int((np.diff(levels) != 0).sum())


def broken(bench: SimulatedBench) -> list[str]:
    """The faults that are still in the board."""
    assert bench.specimen is not None
    return [place.fault for place in bench.specimen.faults]


def test_reseating_mends_a_contact_and_nothing_else() -> None:
    """By the physics of the joint: the contact is gone from what is broken, a dead chip beside it is not."""
    bench = SimulatedBench.open("pellin-600", faults=["socket-contact@U3", "rom-not-driving@U3"], seed=1)
    bench.work("reseat", "U3")
    assert broken(bench) == ["rom-not-driving"]
    bench.work("swap", "U3")
    assert broken(bench) == []


def test_a_swapped_chip_takes_its_own_faults_with_it() -> None:
    """What is on the board stays: a short of a line is not cured by another CPU."""
    bench = SimulatedBench.open("pellin-600", faults=["cpu-dead", "data-line-short@D3"], seed=0)
    bench.work("swap", "U1")
    assert broken(bench) == ["data-line-short"]


def test_a_dead_board_runs_after_the_swap() -> None:
    """The fetch strobe stands still, and moves once the dead CPU is out; the supply is the same as before."""
    bench = powered(SimulatedBench.open("pellin-600", faults=["cpu-dead"], seed=0))
    assert edges(bench, "U1.27") == 0
    switched_off(bench).work("swap", "U1")
    assert edges(powered(bench), "U1.27") > 100


def test_a_lifted_leg_moves_by_itself_where_its_net_is_held() -> None:
    """The board's side floats then, and the leg shows what the chip gives."""
    bench = SimulatedBench.open("pellin-600", seed=0)
    bench.work("lift", "U1", "FETCH")
    powered(bench)
    assert edges(bench, "U1.27") == 0
    assert edges(bench, "U1.27 leg") > 100
    switched_off(bench).work("put back", "U1", "FETCH")
    assert edges(powered(bench), "U1.27") > 100


def test_the_leg_of_a_chip_and_its_net_are_apart_where_the_contact_is_bad() -> None:
    """A probe below the socket sees the board, one on the leg itself sees the chip."""
    bench = SimulatedBench.open("pellin-600", faults=["socket-contact@U3"], seed=1)
    ((part, net),) = bench.world.board.assembly.condition.cut
    assert (part, net) == ("U3", "D3")
    powered(bench)
    assert edges(bench, "U3.15") > 0
    assert edges(bench, "U3.15 leg") == 0  # an input or a driver cut off: nothing moves it in this program


def test_nobody_puts_hands_on_a_live_board() -> None:
    """Refused, and the board as it was."""
    bench = powered(SimulatedBench.open("pellin-600", faults=["cpu-dead"], seed=0))
    with pytest.raises(UsageError, match="live"):
        bench.work("swap", "U1")
    assert broken(bench) == ["cpu-dead"]


@pytest.mark.parametrize(
    ("how", "part", "net", "words"),
    [
        ("swap", "U6", None, "soldered in"),
        ("lift", "U1", "NOWHERE", "no leg"),
        ("polish", "U1", None, "polish"),
    ],
)
def test_what_cannot_be_done_is_refused(how: str, part: str, net: str | None, words: str) -> None:
    """A soldered chip, a leg there is none of, a word nobody knows."""
    bench = SimulatedBench.open("pellin-600")
    with pytest.raises(UsageError, match=words):
        bench.work(how, part, net)


def test_a_shorted_chip_is_found_by_touch_even_after_the_power_went() -> None:
    """Half a watt more than its like is some 25 degrees; a package keeps them for a while (from memory)."""
    bench = powered(SimulatedBench.open("tarnbeck-8", faults=["ram-shorted@U17"], seed=1))
    assert bench.felt() == "U17"
    assert switched_off(bench).felt() == "U17"
    bench.clock.sleep(600.0)
    assert bench.felt() is None
    assert powered(SimulatedBench.open("tarnbeck-8", seed=1)).felt() is None
