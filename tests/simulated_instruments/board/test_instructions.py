"""Instruction lengths and cycles of the class R CPU, against its published table."""

from __future__ import annotations

import pytest

from simulated_instruments.board.firmware import cycles_of
from simulated_instruments.board.instructions import FETCH, IN, MAIN, OUT, READ, WRITE


@pytest.mark.parametrize(
    ("code", "longer", "states"),
    [  # T-states of the CPU's instruction table, from memory
        ("00", False, 4), ("76", False, 4), ("78", False, 4), ("7e", False, 7), ("77", False, 7), ("3e00", False, 7),
        ("3600", False, 10), ("210000", False, 10), ("09", False, 11), ("0a", False, 7), ("220000", False, 16),
        ("2a0000", False, 16), ("320000", False, 13), ("3a0000", False, 13), ("23", False, 6), ("34", False, 11),
        ("1800", False, 12), ("2000", False, 7), ("2000", True, 12), ("1000", False, 8), ("1000", True, 13),
        ("c30000", False, 10), ("c20000", False, 10), ("c20000", True, 10), ("cd0000", False, 17),
        ("c40000", False, 10), ("c40000", True, 17), ("c9", False, 10), ("c0", False, 5), ("c0", True, 11),
        ("c5", False, 11), ("c1", False, 10), ("e3", False, 19), ("e9", False, 4), ("f9", False, 6),
        ("d300", False, 11), ("db00", False, 11), ("c600", False, 7), ("ff", False, 11), ("cb3f", False, 8),
        ("cb46", False, 12), ("cb06", False, 15), ("edb0", False, 16), ("edb0", True, 21), ("edb1", True, 21),
        ("edb2", True, 21), ("edb3", True, 21), ("ed4a", False, 15), ("ed430000", False, 20), ("ed78", False, 12),
        ("ed45", False, 14), ("ed47", False, 9), ("ed67", False, 18), ("ed56", False, 8), ("dd7e00", False, 19),
        ("dd3400", False, 23), ("dd360000", False, 19), ("dd23", False, 10),
    ],
)  # fmt: skip
def test_an_instruction_takes_its_t_states(code: str, longer: bool, states: int) -> None:
    """The cycles of an instruction add up to its length in the data sheet."""
    assert sum(length for _, length in cycles_of(bytes.fromhex(code), longer)) == states


@pytest.mark.parametrize("opcode", range(256))
def test_every_opcode_begins_with_a_fetch_and_keeps_its_operands(opcode: int) -> None:
    """Whatever is read is an instruction: a fetch of 4, 5, 6 or 11 T-states, then data cycles of at least 3."""
    instruction = MAIN[opcode]
    kind, length = instruction.cycles[0]
    assert kind == FETCH
    assert length in (4, 5, 6, 11)
    assert all(kind in (READ, WRITE, IN, OUT) and length >= 3 for kind, length in instruction.cycles[1:])
    assert all(kind == READ for kind, _ in instruction.cycles[1 : 1 + instruction.operands])
