"""What the ROM of a board holds, and the machine cycles a healthy class R CPU makes of it: start-up, then one field
after another.

The mix of instructions is the circuit's; a specimen deviates a little from it, as another state of the program would.
It knows pins only as machine cycles, and no time but T-states.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from simulated_instruments.board.instructions import (
    ACKNOWLEDGE,
    BIT,
    EXTENDED,
    FETCH,
    IN,
    INDEXED,
    MAIN,
    OUT,
    WRITE,
    Cycle,
    Instruction,
)
from simulated_instruments.board.machine_cycles import Cycles, Whole, joined
from simulated_instruments.board.memory import ROM_BYTES
from simulated_instruments.board.work import CODES

CODE_FROM = 0x0100
# Where the start-up software points the refresh address's upper byte: above the ROM.
REFRESH_HIGH = 0x7E
CONTROLLER_PORT = 0x80
PORTS = (0x10, 0x11, 0x12, 0x13)

# One instruction each, of 5, 6 and 7 T-states, that fill up to a multiple of 4.
FILLERS = (b"", b"\xc0", b"\x23", b"\x3e\x00")
CLEARING = {"block move": 55.0, "register": 20.0, "loop": 10.0, "store": 8.0, "call": 2.0, "return": 2.0}


def decode(code: bytes) -> tuple[Instruction, int]:
    """The instruction that `code` begins with, and how many of its bytes are prefix."""
    page = {0xCB: BIT, 0xED: EXTENDED, 0xDD: INDEXED, 0xFD: INDEXED}.get(code[0])
    return (MAIN[code[0]], 0) if page is None else (page[code[1]], 1)


def cycles_of(code: bytes, longer: bool) -> list[Cycle]:
    """The machine cycles of one instruction."""
    instruction, prefix = decode(code)
    cycles = list(instruction.cycles)
    if longer and instruction.conditional:
        cycles[-1:] = instruction.more
    return [(FETCH, 4)] * prefix + cycles


@dataclass(frozen=True)
class Piece:
    """One kind of work: its cycles, and how many of them (after each other, from the first) read code bytes."""

    code: bytes
    kinds: Whole
    lengths: Whole

    @property
    def span(self) -> int:
        """T-states without waits."""
        return int(self.lengths.sum())

    def aligned_span(self, aligned: int) -> int:
        """T-states with every cycle stretched to a multiple of `aligned` (0: no waits)."""
        return int((-(-self.lengths // aligned) * aligned).sum()) if aligned else self.span


@lru_cache(maxsize=64)
def piece(name: str) -> Piece:
    """The piece of work called `name` in a mix."""
    return piece_of(*CODES[name])


def piece_of(code: bytes, longer: bool = False) -> Piece:
    """The piece of work of one instruction."""
    cycles = np.array(cycles_of(code, longer), dtype=np.int64)
    return Piece(code, cycles[:, 0], cycles[:, 1])


# The frame interrupt: an acknowledge that reads a restart from the pulled-up bus, and its two pushes.
INTERRUPT = Piece(b"\xff", np.array([ACKNOWLEDGE, WRITE, WRITE]), np.array([7, 3, 3]))


def work(
    pieces: Sequence[Piece], order: Whole, generator: np.random.Generator, ports: Sequence[int], aligned: int
) -> Cycles:
    """The cycles of `pieces` in `order`, at addresses in ROM, with data in RAM (one read in eight from ROM)."""
    counts = np.array([one.kinds.size for one in pieces], dtype=np.int64)
    sizes = np.array([len(one.code) for one in pieces], dtype=np.int64)[order]
    width = int(counts.max())
    within_all = np.arange(width)
    chosen = within_all < counts[order][:, None]
    kinds, lengths, fixed = (
        np.array([np.pad(row[:width], (0, width - len(row[:width]))) for row in rows], dtype=np.int64)[order][chosen]
        for rows in (
            [one.kinds for one in pieces],
            [one.lengths for one in pieces],
            [np.frombuffer(one.code, np.uint8) for one in pieces],
        )
    )
    code_at = CODE_FROM + (np.cumsum(sizes) - sizes) % (ROM_BYTES - 2 * CODE_FROM)
    is_code = (within_all < sizes[:, None])[chosen]
    values = generator.integers(0, 256, kinds.size)
    values = np.where(is_code & (fixed != 0), fixed, values)
    data_at = generator.integers(ROM_BYTES, 0x10000, kinds.size)
    from_rom = (generator.random(kinds.size) < 0.125) & (kinds != WRITE)
    data_at = np.where(from_rom, data_at % ROM_BYTES, data_at)
    port_at = np.array(ports, dtype=np.int64)[generator.integers(0, len(ports), kinds.size)]
    addresses = np.where(is_code, (code_at[:, None] + within_all)[chosen], data_at)
    addresses = np.where((kinds == IN) | (kinds == OUT), port_at, addresses)
    return Cycles(kinds, lengths, addresses, values, np.zeros(kinds.size, dtype=bool), REFRESH_HIGH, aligned)


def specimen_mix(mix: Mapping[str, float], generator: np.random.Generator) -> dict[str, float]:
    """The mix of one specimen: every share a little off; calls are returned from and pushes popped."""
    own = {name: share * float(np.exp(0.08 * generator.standard_normal())) for name, share in mix.items()}
    for name in ("store", "input", "output"):
        if name in own:
            own[name] *= float(np.exp(0.18 * generator.standard_normal()))
    for first, then in (("call", "return"), ("push", "pop")):
        if first in own:
            own[then] = own[first]
    return own


def enough(
    mix: Mapping[str, float], states: int, generator: np.random.Generator, ports: Sequence[int], aligned: int
) -> Cycles:
    """Work drawn from `mix` that fills `states` T-states as nearly as whole instructions do, and not one more."""
    pieces = [piece(name) for name in mix]
    spans = np.array([one.aligned_span(aligned) for one in pieces], dtype=np.int64)
    shares = np.array(list(mix.values()))
    shares = shares / shares.sum()
    count = int(1.2 * states / float(spans @ shares)) + 50
    drawn = generator.choice(len(pieces), size=count, p=shares)
    fits = int(np.searchsorted(np.cumsum(spans[drawn]), states, side="right"))
    return work(pieces, drawn[:fits], generator, ports, aligned)


def single(pieces: Sequence[Piece], generator: np.random.Generator, ports: Sequence[int], aligned: int) -> Cycles:
    """The cycles of `pieces`, each once."""
    return work(pieces, np.arange(len(pieces)), generator, ports, aligned)


def halting(states: int, aligned: int) -> Cycles:
    """A HALT and the empty fetches that follow it, `states` T-states in all (a multiple of 4)."""
    count = max(states // 4, 1)
    at = np.full(count, CODE_FROM - 1)
    halted = np.arange(count) > 0
    values = np.where(halted, 0, 0x76)
    return Cycles(np.full(count, FETCH), np.full(count, 4), at, values, halted, REFRESH_HIGH, aligned)


def until(states: int, parts: Sequence[Cycles], generator: np.random.Generator) -> Cycles:
    """The streams `parts`, then a HALT that lasts until `states` T-states are over in all."""
    aligned = parts[0].aligned
    spent = sum(int(part.period) for part in parts)
    filler = FILLERS[(states - spent) % 4]
    if filler:
        parts = [*parts, single([piece_of(filler)], generator, PORTS, aligned)]
        spent += int(parts[-1].period)
    return joined([*parts, halting(states - spent, aligned)])


def field(mix: Mapping[str, float], states: int, rest: float, aligned: int, generator: np.random.Generator) -> Cycles:
    """`states` T-states from one frame interrupt to the next: work, and for the share `rest` a HALT that waits."""
    interrupt = single([INTERRUPT], generator, PORTS, aligned)
    busy = enough(mix, int(states * (1.0 - rest)) - 40, generator, PORTS, aligned)
    return until(states, [interrupt, busy], generator)


@dataclass(frozen=True)
class StartUp:
    """What the software does once after reset: `stream`, and when (T-states) the controller's last register was
    written."""

    stream: Cycles
    programmed: float | None

    def lengthened(self, states: int, generator: np.random.Generator) -> Cycles:
        """The stream with `states` T-states more (at least 200): more memory is cleared, then the interrupt waited
        for."""
        more = enough(CLEARING, states - 100, generator, PORTS, self.stream.aligned)
        return until(int(self.stream.period) + states, [self.stream, more], generator)


def start_up(
    mix: Mapping[str, float], states: int, registers: int, aligned: int, hertz: float, generator: np.random.Generator
) -> StartUp:
    """About `states` T-states of clearing and setting up at a CPU clock of `hertz`, with `registers` writes to the
    video controller from 3 ms on, one every 40 µs."""
    parts = [enough(CLEARING, int(0.003 * hertz), generator, PORTS, aligned)]
    programmed = None
    for _ in range(registers):
        parts.append(enough(mix, int(40e-6 * hertz), generator, PORTS, aligned))
        parts.append(single([piece("output")], generator, (CONTROLLER_PORT,), aligned))
    spent = sum(int(part.period) for part in parts)
    if registers:
        programmed = float(spent)
    parts.append(enough(CLEARING, states - spent, generator, PORTS, aligned))
    return StartUp(joined(parts), programmed)


@lru_cache(maxsize=8)
def rom_image(name: str, mix: tuple[tuple[str, float], ...]) -> bytes:
    """What the ROM of every board of one type holds: a start-up that sets the stack, then code in the circuit's mix."""
    generator = np.random.default_rng(list(name.encode()))
    code = bytearray(b"\xf3\x31\x00\x00\x3e\x7e\xed\x47\xed\x56")
    names = [one for one, _ in mix]
    shares = np.array([share for _, share in mix])
    for index in generator.choice(len(names), size=2 * ROM_BYTES, p=shares / shares.sum()):
        one = bytearray(CODES[names[index]][0])
        place = len(one) - 1
        while place > 0 and one[place] == 0:
            one[place] = int(generator.integers(1, 0x30))
            place -= 1
        code += one
        if len(code) >= ROM_BYTES:
            break
    return bytes(code[:ROM_BYTES])
