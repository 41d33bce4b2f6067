"""The class S instruction set as far as its pins show it: one bus access a clock, and which kind each is.

All 256 opcodes of the NMOS part, the undocumented ones with it, since a CPU that reads rubbish executes those too.
Cycle counts are those of the CPU's data sheet, the undocumented ones common practice (both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

# What a clock's access is: opcode fetch, operand at the program counter, read that counts for nothing, pointer or data
# read, write, push, pull, vector read.
FETCH, OPERAND, DUMMY, POINTER, READ, WRITE, PUSH, PULL, VECTOR = range(9)
WRITES = (WRITE, PUSH)

# Where the data lies.
IMPLIED, IMMEDIATE, ZERO, ZERO_X, WHOLE, WHOLE_X, POINTER_X, POINTER_Y, OTHER = (
    "implied", "immediate", "zero page", "zero page indexed", "absolute", "absolute indexed", "indexed indirect",
    "indirect indexed", "other",
)  # fmt: skip
# Where the program goes.
NEXT, BRANCH, JUMP, INDIRECT, CALL, RETURN, RESUME, BREAK, JAM, ENABLE, DISABLE, STACK = (
    "next", "branch", "jump", "indirect jump", "call", "return", "return from interrupt", "break", "jam", "enable",
    "disable", "set stack",
)  # fmt: skip

BEFORE = {
    IMPLIED: (DUMMY,),
    IMMEDIATE: (OPERAND,),
    ZERO: (OPERAND,),
    ZERO_X: (OPERAND, DUMMY),
    WHOLE: (OPERAND, OPERAND),
    WHOLE_X: (OPERAND, OPERAND),
    POINTER_X: (OPERAND, DUMMY, POINTER, POINTER),
    POINTER_Y: (OPERAND, POINTER, POINTER),
}
CROSSES = (WHOLE_X, POINTER_Y)  # these may carry into the address's upper half, which costs a read that is wrong
READS, STORES, CHANGES, NOTHING = "read", "store", "change", "nothing"
JAMS = frozenset({0x02, 0x12, 0x22, 0x32, 0x42, 0x52, 0x62, 0x72, 0x92, 0xB2, 0xD2, 0xF2})


@dataclass(frozen=True)
class Opcode:
    """One opcode: accesses after its fetch, where its data lies and where the program goes. `may_cross`: one DUMMY more
    before the data where the index carries."""

    accesses: tuple[int, ...]
    mode: str = OTHER
    flow: str = NEXT
    may_cross: bool = False

    @property
    def cycles(self) -> int:
        """Clocks, with the fetch, without those that branches taken and carries add."""
        return 1 + len(self.accesses)


SPECIAL = {
    0x00: Opcode((OPERAND, PUSH, PUSH, PUSH, VECTOR, VECTOR), flow=BREAK),
    0x20: Opcode((OPERAND, DUMMY, PUSH, PUSH, OPERAND), flow=CALL),
    0x40: Opcode((DUMMY, DUMMY, PULL, PULL, PULL), flow=RESUME),
    0x60: Opcode((DUMMY, DUMMY, PULL, PULL, DUMMY), flow=RETURN),
    0x08: Opcode((DUMMY, PUSH)),
    0x48: Opcode((DUMMY, PUSH)),
    0x28: Opcode((DUMMY, DUMMY, PULL)),
    0x68: Opcode((DUMMY, DUMMY, PULL)),
    0x4C: Opcode((OPERAND, OPERAND), flow=JUMP),
    0x6C: Opcode((OPERAND, OPERAND, POINTER, POINTER), flow=INDIRECT),
    0x58: Opcode((DUMMY,), IMPLIED, ENABLE),
    0x78: Opcode((DUMMY,), IMPLIED, DISABLE),
    0x9A: Opcode((DUMMY,), IMPLIED, STACK),
}
MODES = {
    # by the lowest two bits of the opcode, then by its middle three
    0: (IMMEDIATE, ZERO, IMPLIED, WHOLE, OTHER, ZERO_X, IMPLIED, WHOLE_X),
    1: (POINTER_X, ZERO, IMMEDIATE, WHOLE, POINTER_Y, ZERO_X, WHOLE_X, WHOLE_X),
    2: (IMMEDIATE, ZERO, IMPLIED, WHOLE, OTHER, ZERO_X, IMPLIED, WHOLE_X),
    3: (POINTER_X, ZERO, IMMEDIATE, WHOLE, POINTER_Y, ZERO_X, WHOLE_X, WHOLE_X),
}


def work_of(row: int, group: int) -> str:
    """What an opcode of `row` (its upper three bits) in `group` (its lowest two) does with its data."""
    if group == 0:
        return STORES if row == 4 else READS
    if group == 1:
        return STORES if row == 4 else READS
    return STORES if row == 4 else READS if row == 5 else CHANGES


def opcode_of(code: int) -> Opcode:
    """The opcode `code`."""
    if code in SPECIAL:
        return SPECIAL[code]
    if code in JAMS:
        return Opcode((), flow=JAM)
    row, column, group = code >> 5, (code >> 2) & 7, code & 3
    mode = MODES[group][column]
    if group == 0 and column == 4:
        return Opcode((OPERAND,), flow=BRANCH)
    work = NOTHING if mode in (IMPLIED, IMMEDIATE) else work_of(row, group)
    before = BEFORE[mode]
    late = mode in CROSSES
    if work == NOTHING:
        return Opcode(before, mode)
    if work == READS:
        return Opcode((*before, READ), mode, may_cross=late)
    first = (DUMMY,) if late else ()
    return Opcode((*before, *first, *((WRITE,) if work == STORES else (READ, WRITE, WRITE))), mode)


OPCODES = tuple(opcode_of(code) for code in range(256))
# An interrupt: two reads that count for nothing, three pushes and its vector.
INTERRUPT = (DUMMY, PUSH, PUSH, PUSH, VECTOR, VECTOR)
