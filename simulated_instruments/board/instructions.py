"""The class R instruction set as far as its pins show it: which machine cycles, how long, and where the program goes.

Registers and flags are not kept: what only they decide (a condition, a pointer) the caller answers. Lengths are
T-states of the CPU's data sheet (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

# Machine cycles.
FETCH, READ, WRITE, IN, OUT, ACKNOWLEDGE = 0, 1, 2, 3, 4, 5

Cycle = tuple[int, int]  # kind, T-states; internal T-states are counted to the cycle they follow

# Where the program goes after an instruction.
NEXT, JUMP, RELATIVE, CALL, RETURN, RESTART, HALT, POINTER, STACK_SET, ENABLE, DISABLE, PUSH, POP = (
    "next", "jump", "relative", "call", "return", "restart", "halt", "pointer", "stack set", "enable", "disable",
    "push", "pop",
)  # fmt: skip

F4, F5, F6, F11 = (FETCH, 4), (FETCH, 5), (FETCH, 6), (FETCH, 11)
R3, R4, R5, R7, R8 = (READ, 3), (READ, 4), (READ, 5), (READ, 7), (READ, 8)
W3, W5 = (WRITE, 3), (WRITE, 5)
I4, O4 = (IN, 4), (OUT, 4)


@dataclass(frozen=True)
class Instruction:
    """One instruction after its prefix: `cycles` always, `more` in place of the last one if a condition holds.

    `operands` bytes follow the opcode (read by the first cycles after the fetch). With `conditional` the program goes
    on to the next instruction unless the condition holds.
    """

    cycles: tuple[Cycle, ...]
    flow: str = NEXT
    operands: int = 0
    conditional: bool = False
    more: tuple[Cycle, ...] = ()


def plain(*cycles: Cycle, flow: str = NEXT, operands: int = 0) -> Instruction:
    """An instruction that always does the same."""
    return Instruction(cycles, flow, operands)


def first_quarter(y: int, z: int) -> Instruction:
    """Opcodes 00 to 3F."""
    if z == 0:
        short = {0: plain(F4), 1: plain(F4), 3: plain(F4, R8, flow=RELATIVE, operands=1)}
        relative = Instruction((F5 if y == 2 else F4, R3), RELATIVE, 1, True, (R8,))
        return short.get(y, relative)
    if z == 1:
        wide = plain(F4, R3, R3, operands=2, flow=STACK_SET if y == 6 else NEXT)
        return plain(F11) if y & 1 else wide
    if z == 2:
        data = {4: (W3, W3), 5: (R3, R3), 6: (W3,), 7: (R3,)}
        if y in data:
            return plain(F4, R3, R3, *data[y], operands=2)
        return plain(F4, R3 if y & 1 else W3)
    if z == 3:
        return plain(F6)
    if z in (4, 5):
        return plain(F4, R4, W3) if y == 6 else plain(F4)
    if z == 6:
        return plain(F4, R3, W3, operands=1) if y == 6 else plain(F4, R3, operands=1)
    return plain(F4)


def last_quarter(y: int, z: int) -> Instruction:
    """Opcodes C0 to FF without the prefixes CB, DD, ED and FD."""
    if z == 0:
        return Instruction((F5,), RETURN, 0, True, (F5, R3, R3))
    if z == 1:
        odd = {
            1: plain(F4, R3, R3, flow=RETURN),
            3: plain(F4),
            5: plain(F4, flow=POINTER),
            7: plain(F6, flow=STACK_SET),
        }
        return odd.get(y, plain(F4, R3, R3, flow=POP))
    if z == 2:
        return Instruction((F4, R3, R3), JUMP, 2, True, (R3,))
    if z == 3:
        single = {
            0: plain(F4, R3, R3, flow=JUMP, operands=2),
            2: plain(F4, R3, O4, operands=1),
            3: plain(F4, R3, I4, operands=1),
            4: plain(F4, R3, R4, W3, W5),
            6: plain(F4, flow=DISABLE),
            7: plain(F4, flow=ENABLE),
        }
        return single.get(y, plain(F4))
    if z == 4:
        return Instruction((F4, R3, R3), CALL, 2, True, (R4, W3, W3))
    if z == 5:
        return plain(F4, R3, R4, W3, W3, flow=CALL, operands=2) if y == 1 else plain(F5, W3, W3, flow=PUSH)
    if z == 6:
        return plain(F4, R3, operands=1)
    return plain(F5, W3, W3, flow=RESTART)


def main_page(opcode: int) -> Instruction:
    """An opcode without a prefix."""
    x, y, z = opcode >> 6, (opcode >> 3) & 7, opcode & 7
    if x == 0:
        return first_quarter(y, z)
    if x == 3:
        return last_quarter(y, z)
    if opcode == 0x76:
        return plain(F4, flow=HALT)
    if z == 6:
        return plain(F4, R3)
    return plain(F4, W3) if x == 1 and y == 6 else plain(F4)


def bit_page(opcode: int) -> Instruction:
    """The opcode after CB."""
    if opcode & 7 != 6:
        return plain(F4)
    return plain(F4, R4) if opcode >> 6 == 1 else plain(F4, R4, W3)


def extended_page(opcode: int) -> Instruction:
    """The opcode after ED."""
    x, y, z = opcode >> 6, (opcode >> 3) & 7, opcode & 7
    if x == 2 and z < 4 and y >= 4:
        once = ((F4, R3, W5), (F4, R8), (F5, I4, W3), (F5, R3, O4))[z]
        kind, length = once[-1]
        return Instruction(once, RELATIVE, 0, y >= 6, ((kind, length + 5),))
    if x != 1:
        return plain(F4)
    if z == 3:
        return plain(F4, R3, R3, *((R3, R3) if y & 1 else (W3, W3)), operands=2)
    table = {0: plain(F4, I4), 1: plain(F4, O4), 2: plain(F11), 5: plain(F4, R3, R3, flow=RETURN)}
    if z == 7:
        return plain(F5) if y < 4 else plain(F4, R7, W3) if y < 6 else plain(F4)
    return table.get(z, plain(F4))


def indexed_page(opcode: int) -> Instruction:
    """The opcode after DD or FD: as without it, but what lies at HL is now at an index plus a displacement byte."""
    usual = main_page(opcode)
    x, y, z = opcode >> 6, (opcode >> 3) & 7, opcode & 7
    if opcode == 0x36:
        return plain(F4, R3, R5, W3, operands=2)
    points = (x == 0 and z in (4, 5) and y == 6) or (x in (1, 2) and (z == 6 or (x == 1 and y == 6)) and opcode != 0x76)
    return Instruction((F4, R8, *usual.cycles[1:]), NEXT, 1) if points else usual


def indexed_bit_page(opcode: int) -> Instruction:
    """What follows DD CB or FD CB and the displacement byte; the opcode is read, not fetched."""
    return plain(R3, R5, R4) if opcode >> 6 == 1 else plain(R3, R5, R4, W3)


MAIN, BIT, EXTENDED, INDEXED, INDEXED_BIT = (
    tuple(page(opcode) for opcode in range(256))
    for page in (main_page, bit_page, extended_page, indexed_page, indexed_bit_page)
)
