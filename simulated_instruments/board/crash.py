"""A class R CPU that executes what it really reads when a data line is forced: from reset, byte by byte, until it
repeats.

It keeps program counter, stack pointer and written memory; what registers and flags would say is left to chance. The
machine cycles are those of the instructions met, so the fingerprint on the pins is found, not chosen.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from simulated_instruments.board.instructions import (
    ACKNOWLEDGE,
    BIT,
    CALL,
    DISABLE,
    ENABLE,
    EXTENDED,
    FETCH,
    HALT,
    IN,
    INDEXED,
    INDEXED_BIT,
    JUMP,
    MAIN,
    NEXT,
    OUT,
    POINTER,
    POP,
    PUSH,
    READ,
    RELATIVE,
    RESTART,
    RETURN,
    STACK_SET,
    WRITE,
    Cycle,
    Instruction,
)
from simulated_instruments.board.machine_cycles import Cycles
from simulated_instruments.board.memory import Memory

AGAIN = 0.6  # how often a condition that would repeat or branch holds
SAME_RESTARTS = 8  # so many restarts one after another at one address are a loop that nothing ends


@dataclass
class Walk:
    """One run from reset. `outcome` is `halted`, `restarts` or `wandering` once `go` has ended."""

    memory: Memory
    generator: np.random.Generator
    aligned: int = 0
    field_states: int = 0  # T-states from one frame interrupt to the next, 0 if there is none
    pc: int = 0
    sp: int = 0xFFFF
    states: int = 0
    enabled: bool = False
    outcome: str = "wandering"
    written: dict[int, int] = field(default_factory=dict)
    cycles: list[tuple[int, int, int, int]] = field(default_factory=list)
    interrupt_at: int = 0
    chances: list[float] = field(default_factory=list)

    def go(self, states: int) -> None:
        """Execute until `states` T-states are over or nothing new can happen."""
        self.interrupt_at = self.field_states
        restarts = 0
        while self.states < states:
            at = self.pc
            flow = self.step()
            if flow == HALT and not self._wakes():
                self.outcome = "halted"
                return
            restarts = restarts + 1 if flow == RESTART and self.pc == at else 0
            if restarts >= SAME_RESTARTS:
                self.outcome = "restarts"
                return
            self._interrupt()

    def chance(self) -> float:
        """A number in [0, 1); drawn many at a time, because one at a time costs more than the instruction it
        decides."""
        if not self.chances:
            self.chances = self.generator.random(4096).tolist()
        return self.chances.pop()

    def any(self, count: int) -> int:
        """One of 0 … `count` − 1."""
        return int(self.chance() * count)

    def stream(self, first: int = 0, last: int | None = None) -> Cycles:
        """The machine cycles from number `first` on, up to but not with number `last`."""
        table = np.array(self.cycles[first:last], dtype=np.int64).reshape(-1, 4)
        quiet = np.zeros(len(table), dtype=bool)
        return Cycles(table[:, 0], table[:, 1], table[:, 2], table[:, 3], quiet, 0, self.aligned)

    def step(self) -> str:
        """Execute the instruction at `pc`; its flow."""
        opcode = self._take(4)
        instruction, indexed = MAIN[opcode], opcode in (0xDD, 0xFD)
        if opcode == 0xCB:
            instruction = BIT[self._take(4)]
        elif opcode == 0xED:
            instruction = EXTENDED[self._take(4)]
        elif indexed:
            follow = self._take(4)
            if follow == 0xCB:
                return self._indexed_bit()
            if follow in (0xDD, 0xED, 0xFD):
                return NEXT
            opcode, instruction = follow, INDEXED[follow]
        return self._execute(opcode, instruction)

    def _execute(self, opcode: int, instruction: Instruction) -> str:
        kind, length = instruction.cycles[0]
        self._stretch(length)
        holds = not instruction.conditional or self.chance() < AGAIN
        cycles = [*instruction.cycles[1:]]
        if instruction.conditional and holds:
            cycles = [*instruction.cycles[:-1], *instruction.more][1:]
        if kind == READ:
            cycles = [instruction.cycles[0], *cycles]
        back = (self.pc - 2) & 0xFFFF
        operands = self._operands(cycles[: instruction.operands])
        flow = instruction.flow if holds else NEXT
        data = cycles[instruction.operands :]
        if flow in (CALL, PUSH, RESTART):
            self._push(data, flow != PUSH)
        elif flow in (RETURN, POP):
            self._pull(data, flow == RETURN)
        else:
            self._move(data)
        self._go_on(flow, opcode, operands, back)
        return flow

    def _go_on(self, flow: str, opcode: int, operands: list[int], back: int) -> None:
        word = operands[0] | operands[1] << 8 if len(operands) > 1 else 0
        if flow in (JUMP, CALL):
            self.pc = word
        elif flow == RELATIVE:
            offset = operands[0] - 256 if operands and operands[0] > 127 else operands[0] if operands else 0
            self.pc = (self.pc + offset) & 0xFFFF if operands else back
        elif flow == RESTART:
            self.pc = opcode & 0x38
        elif flow == POINTER:
            self.pc = self.any(0x10000)
        elif flow == STACK_SET:
            self.sp = word if operands else self.any(0x10000)
        elif flow in (ENABLE, DISABLE):
            self.enabled = flow == ENABLE

    def _indexed_bit(self) -> str:
        self._operands([(READ, 3)])
        instruction = INDEXED_BIT[self.memory.read(self.pc, self.written)]
        self._operands([(READ, 5)])
        self._move([*instruction.cycles[2:]])
        return NEXT

    def _take(self, length: int) -> int:
        """An opcode fetch."""
        value = self.memory.read(self.pc, self.written)
        self._add(FETCH, length, self.pc, value)
        self.pc = (self.pc + 1) & 0xFFFF
        return value

    def _stretch(self, length: int) -> None:
        """The last fetch turns out to be `length` T-states long."""
        kind, was, address, value = self.cycles[-1]
        self.cycles[-1] = (kind, length, address, value)
        self.states += self._span(length) - self._span(was)

    def _operands(self, cycles: list[Cycle]) -> list[int]:
        values = []
        for _, length in cycles:
            values.append(self.memory.read(self.pc, self.written))
            self._add(READ, length, self.pc, values[-1])
            self.pc = (self.pc + 1) & 0xFFFF
        return values

    def _push(self, cycles: list[Cycle], address: bool) -> None:
        word = self.pc if address else self.any(0x10000)
        for kind, length in cycles:
            if kind != WRITE:
                self._add(kind, length, self.pc, self.memory.read(self.pc, self.written))
                continue
            self.sp = (self.sp - 1) & 0xFFFF
            value = word >> 8
            word = (word << 8) & 0xFFFF
            self.written[self.sp] = value
            self._add(WRITE, length, self.sp, value)

    def _pull(self, cycles: list[Cycle], address: bool) -> None:
        values = []
        for _, length in cycles:
            values.append(self.memory.read(self.sp, self.written))
            self._add(READ, length, self.sp, values[-1])
            self.sp = (self.sp + 1) & 0xFFFF
        if address and len(values) > 1:
            self.pc = values[0] | values[1] << 8

    def _move(self, cycles: list[Cycle]) -> None:
        """Data cycles at an address that a register or operand holds."""
        address = self.any(0x10000)
        for kind, length in cycles:
            if kind in (IN, OUT):
                self._add(kind, length, address, self.any(256))
            elif kind == READ:
                self._add(READ, length, address, self.memory.read(address, self.written))
            else:
                value = self.any(256)
                self.written[address] = value
                self._add(WRITE, length, address, value)

    def _add(self, kind: int, length: int, address: int, value: int) -> None:
        self.cycles.append((kind, length, address, value))
        self.states += self._span(length)

    def _span(self, length: int) -> int:
        return -(-length // self.aligned) * self.aligned if self.aligned else length

    def _wakes(self) -> bool:
        """A halted CPU: whether a frame interrupt ends it, and if so the empty fetches until then."""
        if not (self.enabled and self.field_states):
            return False
        while self.states < self.interrupt_at:
            self._add(FETCH, 4, self.pc, 0)
        return True

    def _interrupt(self) -> None:
        if not self.field_states or self.states < self.interrupt_at:
            return
        self.interrupt_at += self.field_states
        if self.enabled:
            # The mode a reset leaves executes what the bus holds, and an undriven bus is pulled up: a restart at 0038.
            self.enabled = False
            self._add(ACKNOWLEDGE, 7, self.pc, 0xFF)
            self._push([(WRITE, 3), (WRITE, 3)], True)
            self.pc = 0x38
