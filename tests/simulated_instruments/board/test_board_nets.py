"""Healthy boards over time: what every net does, from before power to the running program, on many specimens."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import numpy as np
import pytest

from simulated_instruments.bench import SimulatedBench
from simulated_instruments.board.board_nets import BoardNets
from simulated_instruments.board.waveform import Array
from simulated_instruments.devices.terminals import OutputSetting

ON = 1.0  # s on the clock; supply outputs go on then
FIELD = 312 * 64e-6  # s
SEEDS = range(20)


class Specimen:
    """A board that has been on for `wait` seconds."""

    def __init__(self, board: str, seed: int, wait: float = 5.0, faults: tuple[str, ...] = ()) -> None:
        self.bench = SimulatedBench.open(board, seed=seed, faults=faults)
        world = self.bench.world
        assert world.nets is not None
        self.nets: BoardNets = world.nets
        self.bench.clock.sleep(ON)
        world.apply(1, OutputSetting(True, 5.0, 2.0))
        world.apply(2, OutputSetting(True, 12.0, 0.5))
        self.bench.clock.sleep(wait)
        self.now = self.bench.clock.now()

    def volts(self, net: str, start: float, stop: float, step: float = 50e-9) -> Array:
        return self.nets.net(net, self.now).samples(np.arange(start, stop, step))

    def rate(self, net: str, fields: int = 1) -> float:
        """Rising edges a second over whole fields that end now."""
        window = fields * FIELD
        high = self.volts(net, self.now - window, self.now) > 1.4
        return float(np.count_nonzero(high[1:] & ~high[:-1])) / window

    def released(self) -> float:
        """When reset went high."""
        found = self.nets.net("RESET", self.now).crossing(2.0, True, 0.0, self.now)
        assert found is not None
        return found

    def pulses(self, net: str, start: float, stop: float) -> int:
        """Falling edges of `net` from `start` to `stop`, one by one."""
        wave, count = self.nets.net(net, self.now), 0
        time = wave.crossing(1.4, False, start, stop)
        while time is not None:
            count += 1
            time = wave.crossing(1.4, False, time + 50e-9, stop)
        return count


@lru_cache(maxsize=64)
def specimen(board: str, seed: int) -> Specimen:
    return Specimen(board, seed)


@pytest.fixture(scope="module", autouse=True)
def _let_go() -> Iterator[None]:
    """The boards of this file are half a gigabyte, which no test of another file needs."""
    yield
    specimen.cache_clear()


# Rates in Hz and their spread from specimen to specimen, from memory of boards of this class.
R1 = {
    "FETCH": (430e3, 0.06),
    "REFRESH": (430e3, 0.06),
    "MEMREQ": (1.08e6, 0.06),
    "RD": (600e3, 0.07),
    "WR": (45e3, 0.3),
}
C1 = {"FETCH": (430e3, 0.08), "REFRESH": (430e3, 0.08), "WR": (48e3, 0.45)}


@pytest.mark.parametrize("seed", SEEDS)
def test_a_healthy_tarnbeck_runs_as_its_class_does(seed: int) -> None:
    """Strobe rates, levels, interrupt and halt of twenty specimens lie where healthy boards lie."""
    one = specimen("tarnbeck-8", seed)
    for net, (hertz, spread) in R1.items():
        assert one.rate(net) == pytest.approx(hertz, rel=spread), net  # from memory
    assert one.rate("FETCH") == pytest.approx(one.rate("REFRESH"), abs=60.0)  # from memory: exactly as many
    assert one.rate("IORQ") == pytest.approx(2.2e3, rel=0.7)  # from memory
    assert one.rate("INT", 5) == pytest.approx(50.08, abs=11.0)  # 15 625 Hz / 312
    assert one.rate("HALT", 5) == pytest.approx(50.08, abs=11.0)  # it waits for the interrupt
    for net in ("WAIT", "BUSRQ", "NMI"):
        volts = one.volts(net, one.now - 1e-3, one.now)
        assert volts == pytest.approx(4.8, abs=0.1)  # pulled up
    clock = one.volts("CPUCLK", one.now - 20e-6, one.now, 1e-9)
    assert clock.min() < 0.45  # class R clock input, from memory
    assert clock.max() > 4.2


@pytest.mark.parametrize("seed", SEEDS)
def test_a_healthy_pellin_runs_as_its_class_does(seed: int) -> None:
    """Rates stay below one fetch in 4 clocks, syncs are the programmed ones, the wait pattern runs at a quarter
    clock."""
    one = specimen("pellin-600", seed)
    for net, (hertz, spread) in C1.items():
        assert one.rate(net) == pytest.approx(hertz, rel=spread), net  # from memory
    assert one.rate("FETCH") < 750e3  # every access takes at least 4 clocks of 3 MHz
    assert 0.04 < one.rate("WR") / one.rate("FETCH") < 0.17  # from memory: 5 % to 15 %
    assert one.rate("WAIT") == pytest.approx(750e3, rel=2e-4)  # 3 MHz / 4
    assert one.rate("HSYNC") == pytest.approx(15625.0, rel=4e-3)  # 750 kHz / 48
    assert one.rate("VSYNC", 5) == pytest.approx(50.08, abs=11.0)  # 15 625 Hz / 312


@pytest.mark.parametrize("board", ["tarnbeck-8", "pellin-600"])
@pytest.mark.parametrize("seed", range(8))
def test_clocks_are_in_exact_ratio_and_the_crystal_is_right(board: str, seed: int) -> None:
    """Master and CPU clock differ by exactly the divider's ratio; the master is within 100 ppm."""
    one = specimen(board, seed)
    tree = one.nets.activity.clocks
    master = tree.signals.master_net
    assert tree.hertz(master) == pytest.approx(tree.signals.master, rel=100e-6)  # common practice: 30 ppm, 1 σ
    for net, ratio in tree.signals.divided.items():
        wave = one.nets.net(net, one.now)
        first = wave.crossing(1.4, True, one.now - 0.5, one.now)
        last = wave.crossing(1.4, True, one.now - 1e-6 * 5, one.now)
        assert first is not None
        assert last is not None
        periods = (last - first) * tree.hertz(master) / ratio
        assert periods == pytest.approx(round(periods), abs=1e-4)


@pytest.mark.parametrize("board", ["tarnbeck-8", "pellin-600"])
@pytest.mark.parametrize("seed", range(6))
def test_reset_is_held_and_then_released_once(board: str, seed: int) -> None:
    """Nothing before power; low while the rail comes up and for about 220 ms; one clean rise to the rail."""
    one = Specimen(board, seed, wait=0.8)
    assert np.abs(one.volts("RESET", 0.1, ON, 1e-3)).max() < 0.01
    released = one.released()
    assert released - ON == pytest.approx(0.22, rel=0.45)  # 1.1 RC, ± 15 %, 1 σ
    assert one.volts("RESET", ON + 0.05, released - 1e-6, 1e-4).max() < 0.4
    assert one.volts("RESET", released + 1e-6, one.now, 1e-4).min() > 4.0  # common practice: a clean rise above 4 V


@pytest.mark.parametrize("board", ["tarnbeck-8", "pellin-600"])
def test_while_reset_is_held_the_cpu_shows_nothing(board: str) -> None:
    """Every control output is inactive, the address lines float, the data lines are pulled up; the clock runs."""
    one = Specimen(board, 3, wait=0.8)
    begin, end = ON + 0.08, one.released() - 1e-3
    for net in ("FETCH", "MEMREQ", "IORQ", "RD", "WR", "REFRESH", "HALT", "BUSAK", "ROMCS", "RAMCS"):
        volts = one.volts(net, begin, end, 1e-5)
        assert np.ptp(volts) < 0.05, net
        assert volts.min() > 2.4, net  # NMOS and LS high, data sheets
    assert one.volts("A3", begin, end, 1e-5) == pytest.approx(1.45, abs=0.1)  # common practice: an open TTL input
    assert one.volts("D3", begin, end, 1e-5).min() > 4.5
    assert np.ptp(one.volts("CPUCLK", end - 1e-5, end, 1e-8)) > 4.0


@pytest.mark.parametrize("board", ["tarnbeck-8", "pellin-600"])
def test_the_first_cycle_after_reset_is_a_fetch_from_the_rom(board: str) -> None:
    """Within a microsecond or two of the release the fetch strobe and the ROM's select go low."""
    one = Specimen(board, 5, wait=0.8)
    released = one.released()
    for net in ("FETCH", "ROMCS", "RD"):
        found = one.nets.net(net, one.now).crossing(1.4, False, released, one.now)
        assert found is not None
        assert found - released < 5e-6, net


@pytest.mark.parametrize("seed", SEEDS)
def test_the_start_up_software_programs_the_controller(seed: int) -> None:
    """14 to 18 writes within 10 ms of the release, none afterwards; from then on the line sync is right."""
    one = Specimen("pellin-600", seed, wait=1.0)
    released = one.released()
    assert (
        14 <= one.pulses("CRTCCS", released, released + 10e-3) <= 18
    )  # from memory: a 6845-type has 14 to 18 registers
    assert one.pulses("CRTCCS", released + 10e-3, one.now) == 0
    high = one.volts("HSYNC", released + 10e-3, released + 30e-3) > 1.4
    assert np.count_nonzero(high[1:] & ~high[:-1]) == pytest.approx(20e-3 * 15625, abs=1.5)


def test_before_it_is_programmed_the_controller_makes_no_field() -> None:
    """VSYNC stays low and the line sync is missing or wrong until the writes."""
    for seed in range(6):
        one = Specimen("pellin-600", seed, wait=0.8)
        begin, end = ON + 0.05, one.released()
        assert one.volts("VSYNC", begin, end, 1e-5).max() < 0.5
        high = one.volts("HSYNC", end - 0.1, end, 5e-7) > 1.4
        assert abs(np.count_nonzero(high[1:] & ~high[:-1]) / 0.1 / 15625.0 - 1.0) > 0.02


def test_the_screen_shows_what_memory_holds() -> None:
    """Before the software has cleared memory the picture is noise; after it, mostly white paper."""
    one = Specimen("tarnbeck-8", 2, wait=2.0)
    early = one.volts("VIDEO", ON + 0.1, ON + 0.1 + FIELD, 2e-7)
    late = one.volts("VIDEO", one.now - FIELD, one.now, 2e-7)
    assert (late > 0.7).mean() > 1.5 * (early > 0.7).mean()
    timing, clocks = one.nets.activity.signals.video, one.nets.activity.clocks
    field = timing.field / clocks.hertz(timing.clock)  # this specimen's own
    again = one.nets.net("VIDEO", one.now).samples(np.arange(ON + 0.1, ON + 0.1 + FIELD, 2e-7) + field)
    assert np.count_nonzero((early > 0.7) != (again > 0.7)) / early.size < 0.01  # a static pattern


def test_supply_nodes_are_waveforms_too() -> None:
    """The far rail is 0 V before power, settles at its DC value, and has some tens of millivolts of ripple."""
    one = specimen("tarnbeck-8", 4)
    fresh = Specimen("tarnbeck-8", 4, wait=0.5)
    node = fresh.nets.node("+5V.far", fresh.now)
    assert node.samples(np.array([0.5]))[0] == 0.0
    rising = node.crossing(2.5, True, 0.0, fresh.now)
    assert rising is not None
    assert ON < rising < ON + 0.05
    volts = one.nets.node("+5V.far", one.now).samples(np.linspace(one.now - 0.1, one.now, 250_000))
    assert volts.mean() == pytest.approx(one.nets.board.volts(one.now, "+5V.far", "0V.plug"), abs=5e-3)
    assert 5e-3 < np.ptp(volts) < 50e-3  # common practice: at most 50 mV


def test_a_specimen_is_the_same_every_time() -> None:
    """The same seed gives the same volts to the last digit; another one does not."""
    volts = [Specimen("tarnbeck-8", seed, wait=1.0).volts("D5", 1.9, 1.901) for seed in (3, 3, 4)]
    assert np.array_equal(volts[0], volts[1])
    assert not np.array_equal(volts[0], volts[2])


def test_the_current_is_that_of_the_class() -> None:
    """pellin-600 draws 1.10 A from +5 V and 60 mA from +12 V, within its spread."""
    amps = [specimen("pellin-600", seed).bench.truth().outputs for seed in SEEDS]
    assert np.mean([found[1].amps for found in amps]) == pytest.approx(1.10, rel=0.02)  # from memory
    assert np.mean([found[2].amps for found in amps]) == pytest.approx(0.060, rel=0.05)  # from memory
    assert 0.01 < np.std([found[1].amps for found in amps]) / 1.10 < 0.04


def test_without_power_everything_is_at_0_v() -> None:
    """Before power and after it has gone no net is driven."""
    one = Specimen("tarnbeck-8", 1, wait=1.0)
    one.bench.world.apply(1, OutputSetting(False, 5.0, 2.0))
    one.bench.clock.sleep(2.0)
    one.now = one.bench.clock.now()
    for net in ("FETCH", "CLK15", "VIDEO", "D0", "WAIT"):
        assert np.abs(one.volts(net, one.now - 1e-4, one.now)).max() < 0.2, net
        assert np.abs(one.volts(net, 0.2, 0.2001)).max() == 0.0, net
