"""A class S CPU that executes what it really reads: from reset, access by access, until it jams or time is up.

It keeps program counter, stack pointer and written memory; what registers and flags would say is left to chance. The
accesses are those of the opcodes met, so the fingerprint on the pins is found, not chosen.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from simulated_instruments.board.accesses import Accesses, stream_of
from simulated_instruments.board.memory import Memory
from simulated_instruments.board.opcodes_class_s import (
    BRANCH,
    BREAK,
    CALL,
    CROSSES,
    DISABLE,
    DUMMY,
    ENABLE,
    FETCH,
    IMPLIED,
    INDIRECT,
    INTERRUPT,
    JAM,
    JUMP,
    OPCODES,
    OPERAND,
    POINTER,
    POINTER_X,
    POINTER_Y,
    PULL,
    PUSH,
    READ,
    RESUME,
    RETURN,
    STACK,
    VECTOR,
    WHOLE,
    WHOLE_X,
    WRITE,
    ZERO_X,
    Opcode,
)

AGAIN = 0.6  # how often a branch is taken
RESET_VECTOR, INTERRUPT_VECTOR = 0xFFFC, 0xFFFE
STACK_PAGE = 0x0100


@dataclass
class Walk:
    """One run. `outcome` is `jammed` or `wandering` once `go` has ended; `pc` None: it starts at the reset vector.

    `field_clocks` are clocks from one frame interrupt to the next (0: none comes), `interrupt_clocks` how long it is
    held.
    """

    memory: Memory
    generator: np.random.Generator
    field_clocks: int = 0
    interrupt_clocks: int = 0
    always_interrupted: bool = False
    pc: int | None = None
    sp: int = 0xFD
    enabled: bool = False
    outcome: str = "wandering"
    written: dict[int, int] = field(default_factory=dict)
    accesses: list[tuple[int, int, int]] = field(default_factory=list)
    chances: list[float] = field(default_factory=list)
    at: int = 0

    def go(self, clocks: int) -> None:
        """Execute until `clocks` are over or the CPU jams."""
        self.at = self._word(RESET_VECTOR) if self.pc is None else self.pc
        x, y = self.any(256), self.any(256)
        while len(self.accesses) < clocks:
            if self._interrupted():
                self._enter()
                continue
            opcode = OPCODES[self._take(FETCH)]
            if opcode.flow == JAM:
                self.outcome = "jammed"
                return
            self._execute(opcode, x, y)

    def stream(self, first: int = 0, last: int | None = None) -> Accesses:
        """The accesses from number `first` on, up to but not with number `last`."""
        return stream_of(self.accesses[first:last])

    def chance(self) -> float:
        """A number in [0, 1), drawn many at a time."""
        if not self.chances:
            self.chances = self.generator.random(4096).tolist()
        return self.chances.pop()

    def any(self, count: int) -> int:
        """One of 0 … `count` − 1."""
        return int(self.chance() * count)

    def _interrupted(self) -> bool:
        if not self.enabled:
            return False
        if self.always_interrupted:
            return True
        return bool(self.field_clocks) and len(self.accesses) % self.field_clocks < self.interrupt_clocks

    def _enter(self) -> None:
        self.enabled = False
        self._add(FETCH, self.at, self.memory.read(self.at, self.written))
        self._stack(INTERRUPT, self.at, 0)
        self.at = self._word(INTERRUPT_VECTOR)

    def _execute(self, opcode: Opcode, x: int, y: int) -> None:
        flow = opcode.flow
        if flow == BREAK:
            self._take(OPERAND)
            self.enabled = False
            self._stack(opcode.accesses[1:], self.at, 0)
            self.at = self._word(INTERRUPT_VECTOR)
        elif flow == CALL:
            low = self._take(OPERAND)
            back = self.at
            self._stack(opcode.accesses[1:4], back, 0)
            self.at = low | self._take(OPERAND) << 8
        elif flow in (RETURN, RESUME):
            pulled = self._stack(opcode.accesses, 0, 1 if flow == RESUME else 0)
            self.at = (pulled + (flow == RETURN)) & 0xFFFF
            self.enabled |= flow == RESUME
        elif flow in (JUMP, INDIRECT):
            word = self._take(OPERAND) | self._take(OPERAND) << 8
            if flow == INDIRECT:
                high = (word & 0xFF00) | ((word + 1) & 0xFF)  # the carry is lost: a known error of the NMOS part
                word = self._read(POINTER, word) | self._read(POINTER, high) << 8
            self.at = word
        elif flow == BRANCH:
            self._branch()
        elif opcode.mode == IMPLIED or PUSH in opcode.accesses or PULL in opcode.accesses:
            self._stack(opcode.accesses, self.any(0x10000), 0)
            self.sp = self.any(256) if flow == STACK else self.sp
            self.enabled = (self.enabled or flow == ENABLE) and flow != DISABLE
        else:
            self._data(opcode, x, y)

    def _branch(self) -> None:
        offset = self._take(OPERAND)
        if self.chance() >= AGAIN:
            return
        goal = (self.at + offset - (256 if offset > 127 else 0)) & 0xFFFF
        self._read(DUMMY, self.at)
        if goal >> 8 != self.at >> 8:
            self._read(DUMMY, (self.at & 0xFF00) | (goal & 0xFF))
        self.at = goal

    def _stack(self, accesses: tuple[int, ...], word: int, skip: int) -> int:
        """Pushes of `word` (upper half first), pulls of a word after `skip` bytes, reads that count for nothing and
        vectors."""
        pulled, shift, count = 0, 0, 0
        for kind in accesses:
            if kind == PUSH:
                self._write(PUSH, STACK_PAGE + self.sp, (word >> (8, 0, 0)[min(count, 2)]) & 0xFF)
                self.sp, count = (self.sp - 1) & 0xFF, count + 1
            elif kind == PULL:
                self.sp = (self.sp + 1) & 0xFF
                value = self._read(PULL, STACK_PAGE + self.sp)
                if skip:
                    skip -= 1
                else:
                    pulled |= value << shift
                    shift += 8
            elif kind == VECTOR:
                self._read(VECTOR, INTERRUPT_VECTOR + (count == 0))
                count = 0
            else:
                self._read(DUMMY, self.at)
        return pulled & 0xFFFF

    def _data(self, opcode: Opcode, x: int, y: int) -> None:
        """Operands, pointers and the data itself."""
        mode = opcode.mode
        operands = [self._take(OPERAND) for kind in opcode.accesses if kind == OPERAND]
        address = operands[0]
        if mode in (WHOLE, WHOLE_X):
            address = operands[0] | operands[1] << 8
        elif mode == ZERO_X:
            self._read(DUMMY, address)
            address = (address + x) & 0xFF
        elif mode in (POINTER_X, POINTER_Y):
            if mode == POINTER_X:
                self._read(DUMMY, address)
                address = (address + x) & 0xFF
            address = self._read(POINTER, address) | self._read(POINTER, (address + 1) & 0xFF) << 8
        if mode in CROSSES:
            index = x if mode == WHOLE_X else y
            near = (address & 0xFF00) | ((address + index) & 0xFF)
            address = (address + index) & 0xFFFF
            if not opcode.may_cross or near != address:
                self._read(DUMMY, near)
        for kind in opcode.accesses:
            if kind == READ:
                self._read(READ, address)
            elif kind == WRITE:
                self._write(WRITE, address, self.any(256))

    def _take(self, kind: int) -> int:
        value = self._read(kind, self.at)
        self.at = (self.at + 1) & 0xFFFF
        return value

    def _word(self, address: int) -> int:
        return self.memory.read(address, self.written) | self.memory.read(address + 1, self.written) << 8

    def _read(self, kind: int, address: int) -> int:
        value = self.memory.read(address, self.written)
        self._add(kind, address, value)
        return value

    def _write(self, kind: int, address: int, value: int) -> None:
        self.written[address] = value
        self._add(kind, address, value)

    def _add(self, kind: int, address: int, value: int) -> None:
        self.accesses.append((kind, address, value))
