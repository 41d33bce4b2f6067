"""Each fault of the logic by its true signature: nets and current of the broken board beside those of the sound one."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import numpy as np
import pytest

from simulated_instruments.bench import SimulatedBench, list_faults
from simulated_instruments.board.bus import driven_codes
from simulated_instruments.board.levels import UNDRIVEN
from simulated_instruments.board.waveform import Array
from simulated_instruments.devices.terminals import OutputSetting

FIELD = 312 * 64e-6  # s
BOTH = ("tarnbeck-8", "pellin-600")
SEEDS = range(5)
CPU_OUTPUTS = ("FETCH", "REFRESH", "MEMREQ", "RD", "WR", "IORQ", "HALT", "BUSAK")


class Broken:
    """A specimen with `fault`, on for five seconds."""

    def __init__(self, board: str, fault: str, seed: int) -> None:
        self.bench = SimulatedBench.open(board, faults=[fault] if fault else [], seed=seed)
        self.bench.clock.sleep(1.0)
        self.bench.world.apply(1, OutputSetting(True, 5.0, 2.0))
        self.bench.world.apply(2, OutputSetting(True, 12.0, 0.5))
        self.bench.clock.sleep(5.0)
        self.now = self.bench.clock.now()
        self.amps = self.bench.truth().outputs[1].amps
        self.condition = self.bench.world.board.assembly.condition

    def volts(self, net: str, window: float = FIELD, step: float = 50e-9) -> Array:
        nets = self.bench.world.nets
        assert nets is not None
        return nets.net(net, self.now).samples(np.arange(self.now - window, self.now, step))

    def count(self, net: str, fields: int = 1) -> int:
        """Rising edges in whole fields that end now."""
        high = self.volts(net, fields * FIELD) > 1.4
        return int(np.count_nonzero(high[1:] & ~high[:-1]))

    def rate(self, net: str) -> float:
        return self.count(net) / FIELD

    def moves(self, net: str) -> bool:
        return bool(np.ptp(self.volts(net)) > 1.0)


@lru_cache(maxsize=256)
def broken(board: str, fault: str, seed: int) -> Broken:
    return Broken(board, fault, seed)


@pytest.fixture(scope="module", autouse=True)
def _let_go() -> Iterator[None]:
    """The boards of this file are half a gigabyte, which no test of another file needs."""
    yield
    broken.cache_clear()


def sync_of(board: str) -> str:
    return "CSYNC" if board == "tarnbeck-8" else "HSYNC"


def ratio(board: str, fault: str, seed: int) -> float:
    """Current against the same specimen without the fault."""
    return broken(board, fault, seed).amps / broken(board, "", seed).amps


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("board", BOTH)
def test_master_clock_dead(board: str, seed: int) -> None:
    """Nothing that has a clock moves, reset is released all the same, and the board draws markedly less."""
    one = broken(board, "master-clock-dead", seed)
    clocks = broken(board, "", seed).bench.world.board.circuit.signals
    assert clocks is not None
    for net in (clocks.master_net, *clocks.divided, *CPU_OUTPUTS, "ROMCS", "VIDEO", sync_of(board)):
        assert not one.moves(net), net
    assert one.volts("RESET").min() > 4.0
    assert 0.70 < ratio(board, "master-clock-dead", seed) < 0.85  # from memory: 0.70 to 0.82 of a good board


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("board", BOTH)
def test_wrong_crystal(board: str, seed: int) -> None:
    """Everything runs, all clocks off by the same share, which is clearly beyond 100 ppm."""
    one = broken(board, "wrong-crystal", seed)
    assert abs(one.condition.master_factor - 1.0) > 350e-6
    master = one.bench.world.board.activity
    assert master is not None
    signals = master.signals
    assert master.clocks.hertz(signals.cpu_clock) * signals.divided[signals.cpu_clock] == pytest.approx(
        master.clocks.hertz(signals.master_net), rel=1e-12
    )
    assert one.moves("FETCH")
    assert one.rate(sync_of(board)) / 15625.0 == pytest.approx(one.condition.master_factor, rel=0.02)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("board", BOTH)
def test_divider_dead(board: str, seed: int) -> None:
    """The master runs; one of the clocks made from it is still or at half its rate, the other is right."""
    one = broken(board, "divider-dead", seed)
    activity = one.bench.world.board.activity
    assert activity is not None
    signals = activity.signals
    ((net, factor),) = one.condition.branches.items()
    right = signals.master / signals.ratio(net)
    # At 50 ns a clock of 7.5 MHz still has more than two samples a period.
    assert one.rate(net) == pytest.approx(factor * right, rel=1e-3, abs=1.0)
    assert one.moves(signals.master_net)
    (other,) = [name for name in signals.divided if name != net]
    assert one.rate(other) == pytest.approx(signals.master / signals.ratio(other), rel=1e-3)
    if factor == 0.0:
        assert one.moves("FETCH") == (net != signals.cpu_clock)
        assert ratio(board, "divider-dead", seed) < 0.96


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("board", BOTH)
def test_reset_stuck(board: str, seed: int) -> None:
    """Reset is below 0.1 V, the CPU shows nothing, fixed video goes on, and the current lacks its step."""
    one = broken(board, "reset-stuck", seed)
    assert one.volts("RESET").max() < 0.1
    assert not any(one.moves(net) for net in CPU_OUTPUTS)
    assert one.moves("CPUCLK")
    if board == "tarnbeck-8":
        assert one.moves("CSYNC")
    assert 0.80 < ratio(board, "reset-stuck", seed) < 0.95  # from memory


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("board", BOTH)
def test_cpu_dead(board: str, seed: int) -> None:
    """Clock and reset are right and no output of the CPU moves; only fixed video has a sync."""
    one = broken(board, "cpu-dead", seed)
    assert one.moves("CPUCLK")
    assert one.volts("RESET").min() > 4.0
    assert not any(one.moves(net) for net in CPU_OUTPUTS)
    assert one.moves("CSYNC") if board == "tarnbeck-8" else not one.moves("VSYNC")
    assert 0.80 < ratio(board, "cpu-dead", seed) < 0.98  # from memory


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("board", BOTH)
def test_fetch_strobe_dead(board: str, seed: int) -> None:
    """The fetch strobe stands at one of three levels while refresh and all the rest run as on the sound board."""
    one, sound = broken(board, "fetch-strobe-dead", seed), broken(board, "", seed)
    level = one.volts("FETCH")
    assert np.ptp(level) < 1e-3
    assert min(abs(float(level.mean()) - volts) for volts in (0.05, 1.4, 4.8)) < 0.1  # from memory
    for net in ("REFRESH", "MEMREQ", "WR"):
        assert one.count(net) == sound.count(net), net
    assert ratio(board, "fetch-strobe-dead", seed) == pytest.approx(1.0, abs=1e-6)


def test_fetch_strobes_die_in_all_three_ways() -> None:
    """Over some specimens each of the three levels comes up."""
    levels = {SimulatedBench.open("tarnbeck-8", faults=["fetch-strobe-dead"], seed=seed).world.board.assembly.condition
              .fetch_volts for seed in range(20)}  # fmt: skip
    assert levels == {0.05, 1.4, 4.8}


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(("board", "states"), [("tarnbeck-8", 11), ("pellin-600", 16)])
def test_rom_not_driving(board: str, states: int, seed: int) -> None:
    """The CPU executes all ones: fetches at f/11, or f/16 with waits, and twice as many writes."""
    one = broken(board, "rom-not-driving", seed)
    activity = one.bench.world.board.activity
    assert activity is not None
    hertz = activity.clocks.hertz("CPUCLK")
    assert one.rate("FETCH") == pytest.approx(hertz / states, rel=1e-3)  # from memory
    assert one.count("WR") == pytest.approx(2 * one.count("FETCH"), abs=2)  # from memory
    assert one.count("REFRESH") == pytest.approx(one.count("FETCH"), abs=1)  # from memory
    assert one.moves("ROMCS")
    assert 0.94 < ratio(board, "rom-not-driving", seed) <= 1.01  # from memory
    if board == "pellin-600":
        assert not one.moves("VSYNC")


@pytest.mark.parametrize("bit", range(8))
@pytest.mark.parametrize("board", BOTH)
def test_data_line_short(board: str, bit: int) -> None:
    """That line is below 0.1 V, its neighbours are not, and the CPU does not run its firmware."""
    one = broken(board, f"data-line-short@D{bit}", bit)
    assert one.volts(f"D{bit}").max() < 0.1
    assert one.volts(f"D{(bit + 1) % 8}").max() > 2.4
    activity = one.bench.world.board.activity
    assert activity is not None
    assert activity.programs.other.state in ("crashed", "halted")
    assert 1.0 < ratio(board, f"data-line-short@D{bit}", bit) < 1.10  # from memory: 1.02 to 1.10


@pytest.mark.parametrize("seed", SEEDS)
def test_video_chip_dead(seed: int) -> None:
    """No sync and no interrupt, so the software waits for ever: HALT low, fetches at f/4, no writes; less current."""
    one = broken("tarnbeck-8", "video-chip-dead", seed)
    assert not one.moves("CSYNC")
    assert not one.moves("VIDEO")
    assert one.volts("INT").min() > 4.5
    assert one.volts("HALT").max() < 0.5
    assert one.rate("FETCH") == pytest.approx(3.75e6 / 4.0, rel=1e-3)  # from memory
    assert one.count("WR") == 0
    assert 0.70 < ratio("tarnbeck-8", "video-chip-dead", seed) < 0.92  # from memory: 0.75 to 0.9


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("board", BOTH)
def test_sync_output_dead(board: str, seed: int) -> None:
    """Sync is right inside the board and the output is flat; the CPU does not mind."""
    one, sound = broken(board, "sync-output-dead", seed), broken(board, "", seed)
    assert one.count(sync_of(board)) == pytest.approx(sound.count(sync_of(board)), abs=1)
    assert np.ptp(one.volts("VIDEO")) < 1e-2
    assert one.count("FETCH") == pytest.approx(sound.count("FETCH"), abs=2)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("board", BOTH)
def test_bus_contention(board: str, seed: int) -> None:
    """The data lines never float, lows of ROM reads stand at 0.5 V to 0.9 V, and the firmware does not run."""
    one = broken(board, "bus-contention", seed)
    fought = 0
    for bit in range(8):
        volts = one.volts(f"D{bit}", 2e-3, 20e-9)
        low = volts[(volts > 0.5) & (volts < 0.93)]
        fought += low.size > 0.02 * volts.size
        assert volts.max() < 4.4  # LS highs, nothing is pulled up
    assert fought >= 3
    assert 1.0 < ratio(board, "bus-contention", seed) < 1.25  # from memory: 1.05 to 1.25


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("board", BOTH)
def test_decoder_dead(board: str, seed: int) -> None:
    """No select ever, which makes the all-ones loop, or all of them low."""
    one = broken(board, "decoder-dead", seed)
    selects = ("ROMCS", "RAMCS") if board == "tarnbeck-8" else ("ROMCS", "RAMCS", "CRTCCS")
    assert not any(one.moves(net) for net in selects)
    levels = {one.volts(net).mean() > 1.4 for net in selects}
    assert levels == {one.condition.decoder == "none"}
    if one.condition.decoder == "none":
        assert one.count("WR") == pytest.approx(2 * one.count("FETCH"), abs=2)  # from memory


@pytest.mark.parametrize("seed", SEEDS)
def test_video_controller_dead(seed: int) -> None:
    """The software writes to the controller in its first 10 ms, but no sync comes, nor an interrupt."""
    one = broken("pellin-600", "video-controller-dead", seed)
    fresh = SimulatedBench.open("pellin-600", faults=["video-controller-dead"], seed=seed)
    fresh.world.apply(1, OutputSetting(True, 5.0, 2.0))
    fresh.clock.sleep(0.8)
    assert fresh.world.nets is not None
    released = fresh.world.nets.net("RESET", 0.8).crossing(2.0, True, 0.0, 0.8)
    assert released is not None
    select = fresh.world.nets.net("CRTCCS", 0.8).samples(np.arange(released, released + 10e-3, 20e-9)) < 1.4
    assert 14 <= np.count_nonzero(select[1:] & ~select[:-1]) <= 18  # from memory: the registers of a 6845-type
    assert not one.moves("HSYNC")
    assert not one.moves("VSYNC")
    assert one.volts("HALT").max() < 0.5


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("board", BOTH)
def test_bulk_capacitor_open(board: str, seed: int) -> None:
    """150 mV to 400 mV of ripple at the far point, less at the inlet; nothing else changes."""
    one, sound = broken(board, "bulk-capacitor-open", seed), broken(board, "", seed)
    times = np.linspace(one.now - 0.1, one.now, 250_000)
    assert one.bench.world.nets is not None
    assert sound.bench.world.nets is not None
    far = np.ptp(one.bench.world.nets.node("+5V.far", one.now).samples(times))
    inlet = np.ptp(one.bench.world.nets.node("+5V.plug", one.now).samples(times))
    assert 0.14 < far < 0.41  # from memory: 150 mV to 600 mV
    assert inlet < 0.5 * far
    assert np.ptp(sound.bench.world.nets.node("+5V.far", sound.now).samples(times)) < 0.05  # common practice
    assert ratio(board, "bulk-capacitor-open", seed) == pytest.approx(1.0, abs=0.01)


def test_the_list_of_faults_has_every_place() -> None:
    """Each fault is listed where a part can have it, by the part's name or the net's."""
    tarnbeck = {(place.fault, place.part) for place in list_faults("tarnbeck-8")}
    pellin = {(place.fault, place.part) for place in list_faults("pellin-600")}
    both = {
        ("bulk-capacitor-open", "C1"), ("master-clock-dead", "X1"), ("master-clock-dead", "U4"),
        ("wrong-crystal", "X1"),
        ("reset-stuck", "U7"), ("cpu-dead", "U1"), ("fetch-strobe-dead", "U1"), ("rom-not-driving", "U3"),
        ("bus-contention", "U8"), ("decoder-dead", "U6"), ("sync-output-dead", "Q1"),
        *(("data-line-short", f"D{bit}") for bit in range(8)),
    }  # fmt: skip
    assert both | {("divider-dead", "U5"), ("video-chip-dead", "U2")} <= tarnbeck
    assert both | {("divider-dead", "U2"), ("video-controller-dead", "U5")} <= pellin
    assert not any(fault == "video-controller-dead" for fault, _ in tarnbeck)
    assert not any(fault == "video-chip-dead" for fault, _ in pellin)


@pytest.mark.parametrize("board", BOTH)
def test_a_data_line_goes_on_without_the_pin_of_the_cpu(board: str) -> None:
    """A CPU whose own data pin is open reads a 1 there and drives nothing; ROM and memory drive the line as before."""
    seed, net = next((seed, net) for seed in range(200) if (net := lost_data_pin(board, seed)))
    fault = broken(board, "cpu-pin-dead@U1", seed)
    bit = int(net[1:])
    assert fault.condition.wrong.open_pins == 1 << bit
    assert net not in fault.condition.held
    programs = fault.bench.world.board.activity.programs  # type: ignore[union-attr]
    stream = programs.other.stream
    rom = programs.memory.in_rom(stream.addresses) & stream.reads
    assert (stream.values[stream.reads] >> bit & 1).all()  # what the CPU takes
    codes = driven_codes(stream, bit, programs.enabled)
    held = np.frombuffer(programs.rom, np.uint8)[stream.addresses[rom] % 0x4000] >> bit & 1
    assert (codes[rom] == held).all()  # what the ROM drives
    assert (codes[stream.writes] == UNDRIVEN).all()


def lost_data_pin(board: str, seed: int) -> str | None:
    """The data line whose pin this specimen's CPU has lost, if it is one."""
    bench = SimulatedBench.open(board, faults=["cpu-pin-dead@U1"], seed=seed)
    cut = [net for part, net in bench.world.board.assembly.condition.cut if part == "U1" and net[0] == "D"]
    return cut[0] if cut else None


def test_without_an_io_request_the_controller_is_never_selected() -> None:
    """Its select wants IORQ and WR (the decoder's truth table): with the CPU's own IORQ leg open it stays high."""
    sound, one = broken("pellin-600", "", 4), broken("pellin-600", "socket-contact@U1", 4)
    assert ("U1", "IORQ") in one.condition.cut
    starting = np.arange(sound.now - 5.0, sound.now - 4.0, 400e-9)
    lows = []
    for board in (sound, one):
        nets = board.bench.world.nets
        assert nets is not None
        lows.append(float(nets.net("CRTCCS", sound.now).samples(starting)[250_000:].min()))
    assert lows[0] < 0.8
    assert lows[1] > 2.0
    assert one.condition.unwritten


@pytest.mark.parametrize("seed", [14, 55])
def test_a_cpu_that_its_reset_does_not_reach_begins_with_its_clock(seed: int) -> None:
    """The reset contact in its socket is open: the line is asserted as ever, and the CPU fetches meanwhile."""
    bench = SimulatedBench.open("tarnbeck-8", faults=["socket-contact@U1"], seed=seed)
    assert bench.faults[0].nets == ("RESET",)
    bench.clock.sleep(1.0)
    bench.world.apply(1, OutputSetting(True, 5.0, 2.0))
    bench.clock.sleep(1.0)
    now, nets = bench.clock.now(), bench.world.nets
    assert nets is not None
    released = nets.net("RESET", now).crossing(2.0, True, 1.0, now)
    assert released is not None
    window = np.arange(released - 2e-3, released - 1e-4, 50e-9)
    assert np.ptp(nets.net("FETCH", now).samples(window)) > 1.0
    assert float(nets.net("RESET", now).samples(window).max()) < 0.8


def test_a_track_that_leads_nowhere_cannot_break() -> None:
    """HALT and BUSAK go to no other part of this board: no specimen has a broken track there."""
    cut = {SimulatedBench.open("tarnbeck-8", faults=["track-open@U1"], seed=seed).faults[0].nets for seed in range(30)}
    assert not cut & {("HALT",), ("BUSAK",)}
