"""Strobes of the class S CPU: the published cycle counts, and the exact fingerprints that follow from them."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from simulated_instruments.board.accesses import Accesses, stream_of
from simulated_instruments.board.bus import select
from simulated_instruments.board.circuit_file import circuit_path, read_circuit
from simulated_instruments.board.cpu_class_s import crashed, firmware, idle, start
from simulated_instruments.board.firmware_class_s import CONTROLLER_PAGE, ROM_AT, field, specimen_mix, start_up
from simulated_instruments.board.memory import ROM_BYTES, SPACE, Memory
from simulated_instruments.board.opcodes_class_s import FETCH, JAMS, OPCODES
from simulated_instruments.board.program import ALL_ONES, ALL_ZEROS, HELD, JAMMED, WAITING
from simulated_instruments.board.rhythm import Rhythm
from simulated_instruments.board.walk_class_s import Walk

# Clocks of each opcode of the NMOS part, sixteen a row, without what taken branches and carries add (data sheet for the
# documented ones, common practice for the others; from memory). 1 stands for the twelve that jam it.
PUBLISHED = """
7 6 1 8 3 3 5 5 3 2 2 2 4 4 6 6
2 5 1 8 4 4 6 6 2 4 2 7 4 4 7 7
6 6 1 8 3 3 5 5 4 2 2 2 4 4 6 6
2 5 1 8 4 4 6 6 2 4 2 7 4 4 7 7
6 6 1 8 3 3 5 5 3 2 2 2 3 4 6 6
2 5 1 8 4 4 6 6 2 4 2 7 4 4 7 7
6 6 1 8 3 3 5 5 4 2 2 2 5 4 6 6
2 5 1 8 4 4 6 6 2 4 2 7 4 4 7 7
2 6 2 6 3 3 3 3 2 2 2 2 4 4 4 4
2 6 1 6 4 4 4 4 2 5 2 5 5 5 5 5
2 6 2 6 3 3 3 3 2 2 2 2 4 4 4 4
2 5 1 5 4 4 4 4 2 4 2 4 4 4 4 4
2 6 2 8 3 3 5 5 2 2 2 2 4 4 6 6
2 5 1 8 4 4 6 6 2 4 2 7 4 4 7 7
2 6 2 8 3 3 5 5 2 2 2 2 4 4 6 6
2 5 1 8 4 4 6 6 2 4 2 7 4 4 7 7
"""
HERTZ = 14.318182e6 / 12.0
FIELD = 76 * 262  # clocks: 76 a line, 262 lines


def full_of(byte: int, *code: int) -> Memory:
    """ROM and RAM that read as `byte` everywhere, with `code` at the reset vector's place where it is given."""
    rom = bytearray([byte]) * ROM_BYTES
    if code:
        rom[: len(code)] = bytes(code)
        rom[-4:-2] = ROM_AT.to_bytes(2, "little")
    return Memory(bytes(rom), bytes([byte]) * (SPACE - ROM_BYTES), rom_at=ROM_AT)


def walked(memory: Memory, clocks: int) -> Accesses:
    """What a CPU does in the first `clocks` after its reset vector."""
    walk = Walk(memory, np.random.default_rng(1))
    walk.go(clocks)
    return walk.stream(0, clocks)


def pulses(stream: Accesses, strobe: str, level: int) -> int:
    """Pulses of `level` on an output in one round of the stream."""
    _, codes = stream.strobe(strobe)
    return int(np.count_nonzero((codes == level) & (np.roll(codes, 1) != level)))


def test_every_opcode_takes_its_published_clocks() -> None:
    """All 256, the undocumented and the jamming ones with them."""
    assert [opcode.cycles for opcode in OPCODES] == [int(word) for word in PUBLISHED.split()]
    assert {code for code in range(256) if OPCODES[code].cycles == 1} == JAMS


def test_executing_all_zeros() -> None:
    """A bus that reads 00: a break every 7 clocks, three writes for each SYNC (43 % of all clocks)."""
    stream = walked(full_of(0x00), 7 * 500)
    assert int((stream.kinds == FETCH).sum()) == 500  # from memory: f/7
    assert float(stream.writes.mean()) == pytest.approx(3.0 / 7.0, abs=1e-12)  # from memory: its three pushes
    assert pulses(stream, "SYNC", 1) == 500
    assert pulses(stream, "RW", 0) == 500  # three writes in a row are one pulse


def test_executing_all_ones() -> None:
    """A bus that reads FF: seven clocks an instruction, two of them writes (29 %), three bytes further each time."""
    stream = walked(full_of(0xFF), 7 * 500)
    assert int((stream.kinds == FETCH).sum()) == 500  # from memory: f/7
    assert float(stream.writes.mean()) == pytest.approx(2.0 / 7.0, abs=1e-12)  # from memory: read, modify, write
    places = stream.addresses[stream.kinds == FETCH]
    assert set(np.diff(places).tolist()) <= {3, 3 - SPACE}  # from memory: opcode and two operand bytes


def test_executing_no_operation() -> None:
    """A bus that reads EA: SYNC at f/2, no writes, and each address line at half the rate of the one below it."""
    stream = walked(full_of(0xEA), 2 * 4096)
    assert pulses(stream, "SYNC", 1) == 4096  # from memory: two clocks
    assert not stream.writes.any()
    rises = [int(np.count_nonzero(np.diff((stream.addresses >> bit) & 1) == 1)) for bit in range(6)]
    assert rises[0] == pytest.approx(len(stream.addresses) / 4, abs=2)  # A0 at f/4 (published repair thread)
    for lower, upper in itertools.pairwise(rises):
        assert lower / upper == pytest.approx(2.0, rel=0.02)


@pytest.mark.parametrize("code", sorted(JAMS))
def test_a_jamming_opcode_stops_everything(code: int) -> None:
    """SYNC never comes again, R/W stays high, and the address stands still; only a reset helps."""
    program = crashed(full_of(0xEA, 0xEA, code), Rhythm(HERTZ, 0, None, 0), np.random.default_rng(1))
    assert program.state == JAMMED
    stream = program.turns[-1][0]
    assert isinstance(stream, Accesses)
    assert set(stream.strobe("SYNC")[1].tolist()) == {0}  # from memory
    assert set(stream.strobe("RW")[1].tolist()) == {1}  # from memory
    assert set(stream.addresses.tolist()) == {0xFFFF}  # from memory: usually the last place of all


@pytest.mark.parametrize(("byte", "state"), [(0xFF, ALL_ONES), (0x00, ALL_ZEROS)])
def test_the_loops_are_known_by_what_they_fetch(byte: int, state: str) -> None:
    """A bus that nobody drives, or that is held low, gives the loop of its byte."""
    assert crashed(full_of(byte), Rhythm(HERTZ, 0, None, 0), np.random.default_rng(1)).state == state


def test_an_idle_cpu_still_reads() -> None:
    """Held in reset R/W is high; a low RDY stops it in its first fetch, with SYNC high."""
    for state, sync in ((HELD, 0), (WAITING, 1)):
        program = idle(state, full_of(0xEA))
        assert program is not None
        assert program.stream.strobe("SYNC")[1].tolist() == [sync]
        assert program.stream.strobe("RW")[1].tolist() == [1]
    assert idle("running", full_of(0xEA)) is None


@pytest.mark.parametrize("seed", range(8))
def test_a_healthy_program_has_the_figures_of_its_class(seed: int) -> None:
    """SYNC at 0.25 to 0.40 of the clock, writes in 5 to 15 % of the clocks, one field after another to the clock."""
    signals = read_circuit(circuit_path("wexcombe-2")).signals
    assert signals is not None
    rhythm, generator = Rhythm(HERTZ, FIELD, 100, 0, 1520), np.random.default_rng(seed)
    program = firmware(start(signals.mix, 0.03, 0, rhythm, generator), rhythm, generator)
    stream = program.stream
    assert isinstance(stream, Accesses)
    assert stream.period == FIELD
    assert 0.25 < float((stream.kinds == FETCH).mean()) < 0.40  # from memory: f/2.5 … f/4
    assert 0.05 < float(stream.writes.mean()) < 0.15  # from memory
    assert all(len(set(((stream.addresses >> bit) & 1).tolist())) == 2 for bit in range(16))
    assert program.once is not None
    assert (program.once.period - 100) % FIELD == 0  # the first interrupt comes where the video makes it


def test_work_fills_its_time_to_the_clock() -> None:
    """However the instructions fall, a stretch has exactly as many clocks as were asked for."""
    generator = np.random.default_rng(4)
    mix = specimen_mix({"load": 3.0, "store": 1.0, "branch": 2.0, "call": 1.0, "return": 1.0}, generator)
    for clocks in range(400, 440):
        assert start_up(mix, clocks, generator).period == clocks
        assert field(mix, 4 * clocks, clocks, generator).period == 4 * clocks


def test_sync_and_write_come_with_the_address() -> None:
    """One opcode fetch, one read and one write: SYNC high once, R/W low once, each for a clock."""
    stream = stream_of([(FETCH, 0xC000, 0x85), (1, 0xC001, 0x10), (5, 0x0010, 0xAA)])
    for strobe, level in (("SYNC", 1), ("RW", 0)):
        edges, codes = stream.strobe(strobe)
        changes = edges[codes != np.roll(codes, 1)]
        assert len(changes) == 2
        assert (changes[1] - changes[0]) % 1.0 == pytest.approx(0.0, abs=1e-9)
        assert pulses(stream, strobe, level) == 1


@pytest.mark.parametrize("registers", [14, 18])
def test_a_programmable_controller_is_written_to_once_after_reset(registers: int) -> None:
    """Its select comes once for each write, 40 µs apart from 3 ms on, and never again; no other data lies there. The
    times are those of the invented program."""
    signals = read_circuit(circuit_path("wexcombe-2")).signals
    assert signals is not None
    rhythm, generator = Rhythm(HERTZ, FIELD, None, 0, 1520), np.random.default_rng(registers)
    software = start(signals.mix, 0.03, registers, rhythm, generator)
    program = firmware(software, rhythm, generator)
    memory = Memory(bytes(ROM_BYTES), bytes(SPACE), rom_at=ROM_AT)
    assert program.once is not None
    edges, codes = select(program.once, "CRTCCS", memory)
    falls = edges[codes == 0]
    assert falls.size == registers
    assert falls[0] == pytest.approx((0.003 + 40e-6) * HERTZ, abs=10)
    assert np.all(np.diff(falls) > 40e-6 * HERTZ)
    assert program.programmed == pytest.approx(falls[-1] + 0.5, abs=0.1)
    assert not np.any(program.stream.addresses >> 12 == CONTROLLER_PAGE)
    assert round(program.once.period - program.programmed) % FIELD == 0  # fields begin where it was set up
