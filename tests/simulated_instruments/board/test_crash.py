"""A CPU that reads something else than was written: the fingerprints that come of it."""

from __future__ import annotations

import numpy as np
import pytest

from simulated_instruments.board.cpu_class_r import Rhythm, crashed
from simulated_instruments.board.crash import Walk
from simulated_instruments.board.instructions import FETCH, WRITE
from simulated_instruments.board.memory import ROM_BYTES, Memory, power_up_ram
from simulated_instruments.board.program import ALL_ONES, CRASHED, HALTED

RHYTHM = Rhythm(3.75e6, 0, None, 0)
ONES = b"\xff" * (0x10000 - ROM_BYTES)


def rom(code: str) -> bytes:
    """A ROM that holds `code` from 0 on, and 00 elsewhere."""
    return bytes.fromhex(code).ljust(ROM_BYTES, b"\0")


def walk(code: str, states: int = 2000, low: int = 0) -> Walk:
    """What the CPU does with `code`."""
    one = Walk(Memory(rom(code), ONES, low), np.random.default_rng(1))
    one.go(states)
    return one


def test_a_bus_that_reads_all_ones_ends_in_the_restart_loop() -> None:
    """FF at 0 restarts at 0038, where FF is read again: the loop of one fetch and two writes."""
    program = crashed(Memory(rom(""), ONES, high=0xFF), RHYTHM, np.random.default_rng(1))
    assert program.state == ALL_ONES
    assert program.stream.kinds[:3].tolist() == [FETCH, WRITE, WRITE]
    assert program.stream.addresses[0] == 0x38  # from memory
    assert program.stream.addresses[4] == program.stream.addresses[1] - 2  # the stack goes down
    assert program.stream.values[:3].tolist() == [0xFF, 0x00, 0x39]  # the return address is one beyond 0038


def test_a_bus_that_reads_all_zeros_never_writes() -> None:
    """00 is executed as a NOP through the whole of memory."""
    one = walk("", low=0xFF)
    assert {kind for kind, *_ in one.cycles} == {FETCH}
    assert one.states / len(one.cycles) == 4.0  # from memory
    assert [address for _, _, address, _ in one.cycles[:3]] == [0, 1, 2]


def test_a_halt_without_interrupts_stays() -> None:
    """DI, HALT: the program never ends, and the CPU fetches on."""
    program = crashed(Memory(rom("f376"), ONES), RHYTHM, np.random.default_rng(1))
    assert program.state == HALTED
    assert program.stream.halted.all()


def test_a_halt_ends_with_an_enabled_interrupt() -> None:
    """EI, HALT: the frame interrupt restarts at 0038 after its return address was written."""
    one = Walk(Memory(rom("fb76"), ONES), np.random.default_rng(1), field_states=400)
    one.go(600)
    assert one.outcome == "wandering"
    assert one.pc >= 0x38
    assert [value for kind, _, _, value in one.cycles if kind == WRITE] == [0x00, 0x02]


def test_call_and_return_come_back() -> None:
    """31 sets the stack, CD calls 0010, C9 there returns to the byte after the call."""
    code = "310080cd1000" + "76" + "00" * 9 + "c9"
    one = walk(code)
    assert one.outcome == "halted"
    assert one.sp == 0x8000
    assert [address for kind, _, address, _ in one.cycles if kind == WRITE] == [0x7FFF, 0x7FFE]


def test_jumps_go_where_they_point() -> None:
    """A relative jump counts from the next instruction, an absolute one has its low byte first."""
    assert walk("1802" + "0000" + "c30c00" + "00" * 5 + "76").outcome == "halted"
    assert walk("18fe", states=400).pc in (0, 2)  # JR to itself


@pytest.mark.parametrize("bit", range(8))
def test_a_bit_at_0_v_is_never_read_as_1(bit: int) -> None:
    """Nothing the CPU reads, in ROM or in RAM, has the bit; and only FF would be the all-ones loop."""
    generator = np.random.default_rng(bit)
    image = generator.integers(0, 256, ROM_BYTES, dtype=np.uint8).tobytes()
    program = crashed(Memory(image, power_up_ram(generator), low=1 << bit), RHYTHM, generator)
    stream = program.stream
    read = stream.of(FETCH) & ~stream.halted
    assert not (stream.values[read] & (1 << bit)).any()
    assert program.state in (CRASHED, HALTED)


def test_rom_and_ram_that_answer_together_give_a_low_where_they_differ() -> None:
    """A wired fight: 1 only where both have one, except for the bits whose low is too weak."""
    memory = Memory(b"\x0f" * ROM_BYTES, b"\x33" * (0x10000 - ROM_BYTES), overlap=True, high=0x80 | 0x04)
    assert memory.read(0x1234, {}) == 0x03 | 0x04
