"""A class S CPU as a state machine: what it executes after reset, and from that the exact waveform of every pin.

Its address bus is never let go and its clock output runs whatever it does, so with a clock something always moves. It
knows codes and clocks, no volts and no other part.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from simulated_instruments.board.accesses import Accesses, joined, stream_of
from simulated_instruments.board.firmware_class_s import (
    away_from_controller,
    controller_set_up,
    enough,
    field,
    specimen_mix,
    start_up,
    waiting,
)
from simulated_instruments.board.levels import HIGH, LOW
from simulated_instruments.board.memory import SPACE, Memory
from simulated_instruments.board.opcodes_class_s import FETCH, READ
from simulated_instruments.board.program import (
    ALL_ONES,
    ALL_ZEROS,
    CHECKING,
    CRASHED,
    HELD,
    JAMMED,
    RUNNING,
    WAITING,
    Program,
)
from simulated_instruments.board.rhythm import Rhythm
from simulated_instruments.board.walk_class_s import RESET_VECTOR, Walk

FOLLOWED = 0.032  # s
# Clocks from the release of reset to the first opcode fetch: two, and the seven of the reset itself.
FIRST_FETCH = 9
STORM = 400  # clocks from one interrupt to the next where the line never lets go
LAST = 0xFFFF


def still(net: str, state: str) -> int:  # noqa: ARG001 (no clock, no difference)
    """The code of a control output without a clock: as if it read."""
    return LOW if net == "SYNC" else HIGH


def idle(state: str, memory: Memory) -> Program | None:
    """Held in reset it reads one place for ever; on a low RDY it waits in its first opcode fetch."""
    if state not in (HELD, WAITING):
        return None
    at = LAST if state == HELD else memory.read(RESET_VECTOR, {}) | memory.read(RESET_VECTOR + 1, {}) << 8
    kind = READ if state == HELD else FETCH
    return Program(state, None, ((stream_of([(kind, at, memory.read(at, {}))]), 1),))


@dataclass(frozen=True)
class Start:
    """What a specimen's software does after reset, and goes on doing: shares of instructions `mix`, `boot` clocks of
    start-up at least, and what is done once before them (`first`), which sets the video controller up where there is
    one to be set up."""

    mix: Mapping[str, float]
    boot: int
    first: Accesses | None

    @property
    def programmed(self) -> float | None:
        """When the controller's last register was written, clocks; None without one."""
        return None if self.first is None else self.first.period

    def once(self, missing: int, generator: np.random.Generator) -> Accesses:
        """All of it, with `missing` clocks more."""
        if self.first is None:
            return start_up(self.mix, self.boot + missing, generator)
        rest = start_up(self.mix, self.boot + missing - int(self.first.period), generator)
        return joined([self.first, away_from_controller(rest)])

    def turn(self, stream: Accesses) -> Accesses:
        """`stream` as this software does it."""
        return stream if self.first is None else away_from_controller(stream)


def start(
    mix: Mapping[str, float], boot: float, registers: int, rhythm: Rhythm, generator: np.random.Generator
) -> Start:
    """The software of one specimen; `boot` in seconds, `registers` writes to a video controller."""
    own = specimen_mix(mix, generator)
    first = controller_set_up(own, registers, rhythm.hertz, generator) if registers else None
    return Start(own, round(boot * rhythm.hertz), first)


def firmware(start: Start, rhythm: Rhythm, generator: np.random.Generator) -> Program:
    """The healthy program: start up, then field after field. Without an interrupt it goes on without the handler."""
    if not rhythm.field_states:
        once = start.once(0, generator)
        turn = enough(start.mix, round(0.02 * rhythm.hertz), generator)
        return Program(RUNNING, once, ((start.turn(turn), 1),), start.programmed)
    phase = rhythm.phase if rhythm.phase is not None else round(start.programmed or 0.0)
    once = start.once((phase - start.boot) % rhythm.field_states, generator)
    turn = field(start.mix, rhythm.field_states, rhythm.held, generator)
    return Program(RUNNING, once, ((start.turn(turn), 1),), start.programmed)


def crashed(memory: Memory, rhythm: Rhythm, generator: np.random.Generator, pc: int | None = None) -> Program:
    """What a CPU does that reads `memory` from its reset vector on, or from `pc` where it was never reset."""
    walk = Walk(memory, generator, rhythm.field_states, rhythm.held, pc=pc)
    walk.go(round(FOLLOWED * rhythm.hertz))
    return ended(walk)


def ended(walk: Walk) -> Program:
    """The program of a CPU that has walked astray: what it did, and what it goes on doing."""
    if walk.outcome == "jammed":
        # The opcode has stopped its sequencer: it reads the last place of all until the next reset.
        rest = stream_of([(READ, LAST, walk.memory.read(LAST, {}))])
        return Program(JAMMED, walk.stream(), ((rest, 1),))
    stream = walk.stream()
    opcodes = set(np.unique(stream.values[stream.kinds == FETCH]).tolist())
    state = ALL_ONES if opcodes == {0xFF} else ALL_ZEROS if opcodes == {0x00} else CRASHED
    half = next_fetch(stream, stream.kinds.size // 3)
    first, last = walk.stream(0, half), walk.stream(half, next_fetch(stream, stream.kinds.size - 16))
    return Program(state, first, ((last, 1),))


def next_fetch(stream: Accesses, least: int) -> int:
    """The number of the first opcode fetch from access number `least` on; the end if there is none."""
    found = np.flatnonzero(stream.kinds[least:] == FETCH)
    return least + int(found[0]) if found.size else stream.kinds.size


def after_start(start: Start, memory: Memory, rhythm: Rhythm, checks: bool, generator: np.random.Generator) -> Program:
    """The start-up runs out of the ROM, then memory does not give back what was written.

    Either its own memory check finds that and waits in a loop (`checks`), or the first return address that was kept in
    memory leads anywhere.
    """
    once = start.once(0, generator)
    if checks:
        return Program(CHECKING, once, ((waiting(generator), 1),), start.programmed)
    walk = Walk(memory, generator, rhythm.field_states, rhythm.held, pc=int(generator.integers(0, SPACE)))
    walk.go(round(FOLLOWED * rhythm.hertz))
    lost = ended(walk)
    whole = once if lost.once is None else joined([once, walk.stream()])
    return Program(lost.state, whole, lost.turns, start.programmed)


def stormed(start: Start, generator: np.random.Generator) -> Program:
    """An interrupt that never ends: once it is allowed, its handler runs again as soon as it returns."""
    once = start.once(0, generator)
    turn = start.turn(field(start.mix, STORM, STORM - 60, generator))
    return Program(CRASHED, once, ((turn, 1),), start.programmed)
