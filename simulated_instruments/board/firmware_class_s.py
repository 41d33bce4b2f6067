"""What the ROM of a class S board holds, and the accesses a healthy CPU makes of it: start-up, then one field after
another.

The mix of instructions is the circuit's; a specimen deviates a little from it. It knows pins only as accesses, and no
time but clocks.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from simulated_instruments.board.accesses import Accesses, Whole, joined
from simulated_instruments.board.memory import ROM_BYTES
from simulated_instruments.board.opcodes_class_s import (
    DUMMY,
    FETCH,
    INTERRUPT,
    OPCODES,
    OPERAND,
    POINTER,
    PULL,
    PUSH,
    READ,
    RESUME,
    VECTOR,
    WRITE,
)
from simulated_instruments.board.work import CODES_CLASS_S

ROM_AT = 0xC000
ENTRY, HANDLER = 0xC100, 0xC080
# What the program clears and reads: memory above the first two pages, below the ports.
WORK_FROM, WORK_TO = 0x0200, 0xB000
PORT_PAGE, CONTROLLER_PAGE = 0xB, 0xA  # upper four address bits of the ports, and of a video controller's registers
PORT = PORT_PAGE << 12
PORTS_SHARE = 0.01  # of the data reads and writes
CLEARING = {"store pointer": 30.0, "register": 30.0, "branch": 30.0, "count zero page": 1.0}


@dataclass(frozen=True)
class Piece:
    """One kind of work: its code and the kinds of its accesses."""

    code: bytes
    kinds: tuple[int, ...]


@lru_cache(maxsize=64)
def piece(name: str) -> Piece:
    """The piece of work called `name` in a mix."""
    code, more = CODES_CLASS_S[name]
    return Piece(code, (FETCH, *OPCODES[code[0]].accesses, *(DUMMY,) * more))


ENTER = Piece(b"", (FETCH, *INTERRUPT))
LEAVE = Piece(b"\x40", (FETCH, *OPCODES[0x40].accesses))
TWO, THREE = Piece(b"\xea", (FETCH, DUMMY)), Piece(b"\x4c\x00\x00", (FETCH, OPERAND, OPERAND))
assert OPCODES[0x40].flow == RESUME


def work(pieces: Sequence[Piece], order: Whole, generator: np.random.Generator) -> Accesses:
    """The accesses of `pieces` in `order`: code in ROM, stack and pointers in their pages, data in RAM (one read in
    six from ROM)."""
    counts = np.array([len(one.kinds) for one in pieces], dtype=np.int64)
    width = int(counts.max())
    padded = [one.kinds + (0,) * (width - len(one.kinds)) for one in pieces]
    codes = [tuple(one.code) + (0,) * (width - len(one.code)) for one in pieces]
    chosen = np.arange(width) < counts[order][:, None]
    kinds = np.array(padded, dtype=np.int64)[order][chosen]
    fixed = np.array(codes, dtype=np.int64)[order][chosen]
    sizes = np.array([max(len(one.code), 1) for one in pieces], dtype=np.int64)[order]
    code_at = ENTRY + (np.cumsum(sizes) - sizes) % (ROM_BYTES - 0x300)
    is_code = (kinds == FETCH) | (kinds == OPERAND)
    within = np.cumsum(is_code)
    starts = np.concatenate(([0], np.cumsum(counts[order])[:-1]))
    before = np.repeat(within[starts], counts[order])
    base = np.repeat(code_at, counts[order])
    sequence = within - before
    return Accesses(kinds, places(kinds, base, sequence, generator), values(kinds, fixed, sequence, generator))


def places(kinds: Whole, base: Whole, sequence: Whole, generator: np.random.Generator) -> Whole:
    """The address of every access."""
    size = kinds.size
    data = generator.integers(WORK_FROM, WORK_TO, size)
    data = np.where((generator.random(size) < 1.0 / 6.0) & (kinds == READ), ROM_AT + data % ROM_BYTES, data)
    data = np.where(generator.random(size) < PORTS_SHARE, PORT + data % 16, data)
    code = base + sequence
    found = np.where((kinds == FETCH) | (kinds == OPERAND), code, data)
    found = np.where(kinds == DUMMY, code + 1, found)
    found = np.where(kinds == POINTER, generator.integers(0, 256, size), found)
    found = np.where((kinds == PUSH) | (kinds == PULL), 0x01F0 + generator.integers(0, 16, size), found)
    vectors = np.cumsum(kinds == VECTOR)
    return np.where(kinds == VECTOR, 0xFFFE + (vectors + 1) % 2, found)


def values(kinds: Whole, fixed: Whole, sequence: Whole, generator: np.random.Generator) -> Whole:
    """The byte of every access: opcodes as they are, everything else as it comes."""
    found = generator.integers(0, 256, kinds.size)
    return np.where((kinds == FETCH) & (sequence == 0) & (fixed != 0), fixed, found)


def specimen_mix(mix: Mapping[str, float], generator: np.random.Generator) -> dict[str, float]:
    """The mix of one specimen: every share a little off; calls are returned from and pushes popped."""
    own = {name: share * float(np.exp(0.12 * generator.standard_normal())) for name, share in mix.items()}
    for first, then in (("call", "return"), ("push", "pop")):
        if first in own:
            own[then] = own[first]
    return own


def enough(mix: Mapping[str, float], clocks: int, generator: np.random.Generator) -> Accesses:
    """Work drawn from `mix` that fills `clocks` exactly: the rest with instructions of two clocks and one of three."""
    pieces = [*(piece(name) for name in mix), TWO, THREE]
    spans = np.array([len(one.kinds) for one in pieces], dtype=np.int64)
    shares = np.array(list(mix.values()))
    shares = shares / shares.sum()
    count = int(1.2 * clocks / float(spans[:-2] @ shares)) + 50
    drawn = generator.choice(len(shares), size=count, p=shares)
    fits = int(np.searchsorted(np.cumsum(spans[drawn]), clocks - 2, side="right"))
    left = clocks - int(spans[drawn[:fits]].sum())
    two, three = len(pieces) - 2, len(pieces) - 1
    rest = [three] * (left % 2) + [two] * ((left - 3 * (left % 2)) // 2)
    return work(pieces, np.concatenate((drawn[:fits], rest)).astype(np.int64), generator)


def single(one: Piece, generator: np.random.Generator) -> Accesses:
    """The accesses of `one`, once."""
    return work([one], np.zeros(1, dtype=np.int64), generator)


def field(mix: Mapping[str, float], clocks: int, busy: int, generator: np.random.Generator) -> Accesses:
    """`clocks` from one frame interrupt to the next: its handler, which ends when the line is let go after `busy`
    clocks, then the program."""
    enter, leave = single(ENTER, generator), single(LEAVE, generator)
    handler = enough(mix, max(busy + 40 - int(enter.period + leave.period), 20), generator)
    spent = int(enter.period + handler.period + leave.period)
    return joined([enter, handler, leave, enough(mix, clocks - spent, generator)])


def start_up(mix: Mapping[str, float], clocks: int, generator: np.random.Generator) -> Accesses:
    """`clocks` of clearing memory and setting up."""
    return joined([enough(CLEARING, clocks * 3 // 4, generator), enough(mix, clocks - clocks * 3 // 4, generator)])


def controller_set_up(
    mix: Mapping[str, float], registers: int, hertz: float, generator: np.random.Generator
) -> Accesses:
    """The beginning of a start-up that programs a video controller: 3 ms of clearing at a clock of `hertz`, then
    `registers` writes to it, one every 40 µs."""
    parts = [away_from_controller(enough(CLEARING, round(0.003 * hertz), generator))]
    for number in range(registers):
        parts.append(away_from_controller(enough(mix, round(40e-6 * hertz), generator)))
        parts.append(written_to((CONTROLLER_PAGE << 12) + number % 2, generator))
    return joined(parts)


def written_to(address: int, generator: np.random.Generator) -> Accesses:
    """One store to `address`."""
    store = single(piece("store"), generator)
    return Accesses(store.kinds, np.where(store.kinds == WRITE, address, store.addresses), store.values)


def away_from_controller(stream: Accesses) -> Accesses:
    """The same accesses of a program that keeps its data off the page of the controller's registers."""
    there = stream.addresses >> 12 == CONTROLLER_PAGE
    return Accesses(stream.kinds, np.where(there, stream.addresses - 0x1000, stream.addresses), stream.values)


def waiting(generator: np.random.Generator) -> Accesses:
    """A jump to itself: a program that waits for ever."""
    return single(THREE, generator)


@lru_cache(maxsize=8)
def rom_image(name: str, mix: tuple[tuple[str, float], ...]) -> bytes:
    """What the ROM of every board of one type holds: a start-up, then code in the circuit's mix, the vectors last."""
    generator = np.random.default_rng(list(name.encode()))
    code = bytearray(generator.integers(1, 256, 0x100, dtype=np.uint8).tobytes())
    code += b"\x78\xd8\xa2\xff\x9a"
    names = [one for one, _ in mix]
    shares = np.array([share for _, share in mix])
    for index in generator.choice(len(names), size=2 * ROM_BYTES, p=shares / shares.sum()):
        one = bytearray(CODES_CLASS_S[names[index]][0])
        for place in range(1, len(one)):
            one[place] = int(generator.integers(1, 0xB0 if place == 2 else 0x80))
        code += one
        if len(code) >= ROM_BYTES:
            break
    whole = bytes(code[: ROM_BYTES - 6])
    return whole + b"".join(word.to_bytes(2, "little") for word in (HANDLER, ENTRY, HANDLER))
