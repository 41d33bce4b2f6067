"""Single parts made cold or warm: how they come back, joints that follow, memory chips that fail when warm."""

from __future__ import annotations

import numpy as np
import pytest

from autobench.errors import UsageError
from simulated_instruments.bench import SimulatedBench
from simulated_instruments.board.local_heat import BY, LocalHeat
from simulated_instruments.devices.terminals import OutputSetting


def powered(*faults: str, seed: int) -> SimulatedBench:
    """A tarnbeck-8 on 5 V for five seconds."""
    bench = SimulatedBench.open("tarnbeck-8", faults=faults, seed=seed)
    bench.world.apply(1, OutputSetting(True, 5.0, 2.0))
    bench.clock.sleep(5.0)
    return bench


def tempered(bench: SimulatedBench, how: str, part: str) -> SimulatedBench:
    """The same board with one part cold or warm."""
    assert bench.person is not None
    bench.person.temper(how, part)
    bench.clock.sleep(30.0)
    return bench


def moves(bench: SimulatedBench, point: str) -> bool:
    """Whether a line comes to both levels within two milliseconds."""
    bench.world.touch({"scope 4": (point,)})
    bench.clock.sleep(0.01)
    now = bench.clock.now()
    volts = bench.world.probes.samples(4, np.linspace(now - 2e-3, now, 20_000))
    return bool(volts.min() < 0.8 and volts.max() > 2.0)  # TTL levels


def worst(bench: SimulatedBench) -> float:
    """The least volts behind the switch within eight seconds."""
    found = []
    for _ in range(160):
        bench.clock.sleep(0.05)
        found.append(bench.world.truth().between("U18.8", "U18.16"))
    return min(abs(each) for each in found)


def test_a_part_left_alone_comes_back_to_the_board() -> None:
    """Well below freezing at once, most of it gone after three minutes (from memory of the trade); no other part is
    colder."""
    heat = LocalHeat()
    heat.temper("U3", "cool", 10.0)
    assert heat.degrees("U3", 10.0) == BY["cool"] < -30.0
    assert -5.0 < heat.degrees("U3", 190.0) < 0.0
    assert heat.degrees("U4", 10.0) == 0.0
    assert heat.degrees(None, 10.0) == 0.0


def test_a_joint_that_comes_and_goes_conducts_while_it_is_cold() -> None:
    """The same joint opens again and again, not while it is cold, and again when it is warm as before."""
    bench = powered("cracked-joint@SW1", seed=0)
    assert worst(bench) < 4.0
    assert worst(tempered(bench, "cool", "SW1")) > 4.5
    bench.clock.sleep(600.0)
    assert worst(bench) < 4.0


def test_only_the_part_that_is_cooled_is_cold() -> None:
    """The inlet beside it changes nothing."""
    assert worst(tempered(powered("cracked-joint@SW1", seed=0), "cool", "J1")) < 4.0


def test_a_sleeping_joint_wakes_under_warm_air() -> None:
    """One that wants warmth lets go as soon as it has that, long before the board has."""
    bench = powered("cracked-joint@SW1", seed=2)
    assert bench.world.board.assembly.joints[0].warmth > 0.0
    assert worst(bench) > 4.5
    assert worst(tempered(bench, "warm", "SW1")) < 4.0


def test_a_memory_chip_that_fails_when_warm_works_on_a_bare_board_and_again_when_cold() -> None:
    """Its output moves after ten minutes of power, stands still under warm air, and moves again when it is cooled."""
    bench = powered("ram-marginal@U14", seed=2)
    bench.clock.sleep(600.0)
    assert moves(bench, "U14.14")
    assert moves(tempered(bench, "warm", "U13"), "U14.14")
    assert not moves(tempered(bench, "warm", "U14"), "U14.14")
    assert moves(tempered(bench, "cool", "U14"), "U14.14")


def test_words_that_are_not_known_are_refused() -> None:
    """Another way, or a part there is none of."""
    bench = SimulatedBench.open("tarnbeck-8", seed=0)
    assert bench.person is not None
    with pytest.raises(UsageError, match="boil"):
        bench.person.temper("boil", "U1")
    with pytest.raises(UsageError, match="U99"):
        bench.person.temper("cool", "U99")
