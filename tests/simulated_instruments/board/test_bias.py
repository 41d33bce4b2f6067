"""Three-rail memory without its bias: a few seconds with +12 V up kill it, and only then."""

from __future__ import annotations

from simulated_instruments.bench import SimulatedBench
from simulated_instruments.devices.terminals import OutputSetting

# Output of the fixture's supply and volts of each rail of orrin-tk, fed from the bench.
PLUS5, PLUS12, MINUS5 = 1, 2, 3
VOLTS = {MINUS5: 5.0, PLUS5: 5.0, PLUS12: 12.0}


def powered() -> SimulatedBench:
    """A good board on three outputs, up for two seconds, the bias first."""
    bench = SimulatedBench.open("orrin-tk", options={"power": "bench"}, seed=3)
    for output, volts in VOLTS.items():
        bench.world.apply(output, OutputSetting(True, volts, 2.0))
    bench.clock.sleep(2.0)
    bench.truth()
    return bench


def dead(bench: SimulatedBench) -> int:
    """How many data lines of the memory are held by a dead chip."""
    bench.truth()
    held = bench.world.board.assembly.condition.held
    return sum(net.startswith("M") and net[1:].isdigit() for net in held)


def test_a_board_with_its_bias_is_not_harmed() -> None:
    """A minute with all three rails up kills nothing."""
    bench = powered()
    bench.clock.sleep(60.0)
    assert dead(bench) == 0


def test_the_bias_lost_for_less_than_a_second_is_borne() -> None:
    """The interlock has a second to take +12 V away (three-rail memories bear about five; from memory)."""
    bench = powered()
    bench.world.apply(MINUS5, OutputSetting(False, 0.0, 0.0))
    bench.clock.sleep(0.9)
    bench.world.apply(PLUS12, OutputSetting(False, 0.0, 0.0))
    bench.clock.sleep(30.0)
    assert dead(bench) == 0


def test_ten_seconds_of_plus_12_without_bias_kill_the_memory() -> None:
    """Every chip is dead, and stays so with the bias back."""
    bench = powered()
    bench.world.apply(MINUS5, OutputSetting(False, 0.0, 0.0))
    bench.clock.sleep(12.0)
    killed = dead(bench)
    assert killed == 8
    bench.world.apply(MINUS5, OutputSetting(True, 5.0, 0.2))
    bench.clock.sleep(2.0)
    assert dead(bench) == killed
