"""A class R CPU as a state machine: what it executes after reset, and from that the exact waveform of every pin.

The states are those a person tells apart on the pins: dead, without a clock, held in reset, running, the loops of an
all-ones and an all-zeros bus, halted, crashed. It knows codes and T-states, no volts and no other part.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from simulated_instruments.board.crash import Walk
from simulated_instruments.board.firmware import REFRESH_HIGH, StartUp, field, start_up
from simulated_instruments.board.instructions import FETCH, READ, WRITE
from simulated_instruments.board.levels import HIGH, LOW
from simulated_instruments.board.machine_cycles import Cycles, loop
from simulated_instruments.board.memory import ROM_BYTES, Memory
from simulated_instruments.board.program import (
    ALL_ONES,
    ALL_ZEROS,
    BUS_REQUESTED,
    CHECKING,
    CRASHED,
    HALTED,
    HELD,
    NO_CLOCK,
    RUNNING,
    WAITING,
    Program,
)
from simulated_instruments.board.rhythm import Rhythm

# States in which nothing moves, and what the control outputs then are; those not named are high.
STATIC: Mapping[str, Mapping[str, int]] = {
    NO_CLOCK: {},
    HELD: {},
    WAITING: {"FETCH": LOW, "MEMREQ": LOW, "RD": LOW},
    BUS_REQUESTED: {"BUSAK": LOW},
}
SWEEP = 0x0400  # places of a count through memory that are told apart; the lines above move too seldom to matter
ROWS = 128  # of the refresh counter
QUARTER = 0x4000  # bytes that share A14 and A15
# How long a crash is followed; what it does last is then taken as what it goes on doing.
FOLLOWED = 0.032  # s
STORM = 2000  # T-states from one interrupt to the next where the line never lets go
# T-states from the release of reset to the first fetch.
FIRST_FETCH = 3


def static_code(state: str, pin: str) -> int:
    """The code of a control output in a state in which nothing moves."""
    return STATIC[state].get(pin, HIGH)


def all_zeros(aligned: int = 0) -> Program:
    """Executing 00 everywhere: one fetch after another, through the whole address space."""
    turns = tuple(
        (loop([(FETCH, 4, quarter * QUARTER + at, 0) for at in range(SWEEP)], aligned=aligned), QUARTER // SWEEP)
        for quarter in range(4)
    )
    return Program(ALL_ZEROS, None, turns)


def restarts(at: int, opcode: int, sp: int, aligned: int = 0) -> tuple[tuple[Cycles, int], ...]:
    """A restart that leads to itself: its return address goes down through memory, two bytes each time."""
    after, first = at + 1, sp // QUARTER
    turns = []
    for step in range(4):
        cycles: list[tuple[int, int, int, int]] = []
        end = ((first - step) % 4) * QUARTER + QUARTER
        for top in range(end - 1, end - SWEEP, -2):
            cycles += [(FETCH, 5, at, opcode), (WRITE, 3, top, after >> 8), (WRITE, 3, top - 1, after & 0xFF)]
        turns.append((loop(cycles, aligned=aligned), QUARTER // SWEEP))
    return tuple(turns)


def all_ones(aligned: int = 0) -> Program:
    """Executing FF everywhere: the restart at 0038, whose own opcode is FF again."""
    return Program(ALL_ONES, None, restarts(0x38, 0xFF, 0xFFFF, aligned))


def halted(aligned: int = 0, refresh_high: int = 0) -> Cycles:
    """Empty fetches for ever."""
    idle = loop([(FETCH, 4, 0x0100, 0)] * ROWS, halted=True, aligned=aligned)
    return Cycles(idle.kinds, idle.lengths, idle.addresses, idle.values, idle.halted, refresh_high, aligned)


def firmware(
    mix: Mapping[str, float], rest: float, boot: float, registers: int, rhythm: Rhythm, generator: np.random.Generator
) -> Program:
    """The healthy program: start up, then field after field. Without an interrupt its first HALT never ends."""
    least = round(boot * rhythm.hertz)
    start = start_up(mix, least, registers, rhythm.aligned, rhythm.hertz, generator)
    field_states = rhythm.field_states
    if not field_states:
        return Program(HALTED, start.stream, ((halted(rhythm.aligned, REFRESH_HIGH), 1),), start.programmed)
    first = rhythm.phase if rhythm.phase is not None else round(start.programmed or 0.0)
    missing = (first - round(start.stream.period)) % field_states
    once = start.lengthened(missing if missing >= 200 else missing + field_states, generator)
    # Work that one field has no room for goes on into the next, with its interrupt put off.
    turn = field_states
    while turn < round(0.9 * 0.02 * rhythm.hertz):
        turn += field_states
    busy = min(turn * (1.0 - rest), 0.02 * rhythm.hertz)
    stream = field(mix, turn, 1.0 - busy / turn, rhythm.aligned, generator)
    return Program(RUNNING, once, ((stream, 1),), start.programmed)


def crashed(memory: Memory, rhythm: Rhythm, generator: np.random.Generator, pc: int = 0) -> Program:
    """What a CPU does that reads `memory` from reset on, or from `pc` where it was never reset."""
    walk = Walk(memory, generator, rhythm.aligned, rhythm.field_states, pc)
    walk.go(round(FOLLOWED * rhythm.hertz))
    return ended(walk, rhythm)


def ended(walk: Walk, rhythm: Rhythm) -> Program:
    """The program of a CPU that has walked astray: what it did, and what it goes on doing."""
    if walk.outcome == "halted":
        return Program(HALTED, without_waits_first(walk.stream()), ((halted(rhythm.aligned), 1),))
    if walk.outcome == "restarts":
        _, _, at, opcode = walk.cycles[-3]
        state = ALL_ONES if opcode == 0xFF else CRASHED
        return Program(state, None, restarts(at, opcode, walk.sp, rhythm.aligned))
    half = next_fetch(walk, len(walk.cycles) // 3)
    return Program(CRASHED, without_waits_first(walk.stream(0, half)), ((walk.stream(half), 1),))


def after_start(
    start: StartUp, memory: Memory, rhythm: Rhythm, checks: bool, generator: np.random.Generator
) -> Program:
    """The start-up runs out of the ROM, then memory does not give back what was written.

    Either its own memory check finds that and waits in a loop (`checks`), or the first return address that was kept in
    memory leads anywhere.
    """
    if checks:
        at = int(generator.integers(0x0100, ROM_BYTES - 0x100))
        turn = loop(
            [(FETCH, 4, at, 0xC3), (READ, 3, at + 1, at & 0xFF), (READ, 3, at + 2, at >> 8)], aligned=rhythm.aligned
        )
        return Program(CHECKING, start.stream, ((turn, 1),), start.programmed)
    walk = Walk(memory, generator, rhythm.aligned, rhythm.field_states, int(generator.integers(0, 0x10000)))
    walk.go(round(FOLLOWED * rhythm.hertz))
    lost = ended(walk, rhythm)
    return Program(lost.state, start.stream, lost.turns, start.programmed)


def stormed(mix: Mapping[str, float], start: StartUp, rhythm: Rhythm, generator: np.random.Generator) -> Program:
    """An interrupt that never ends: once it is allowed, its handler runs again as soon as it returns."""
    turn = field(mix, STORM, 0.0, rhythm.aligned, generator)
    return Program(CRASHED, start.stream, ((turn, 1),), start.programmed)


def next_fetch(walk: Walk, least: int) -> int:
    """The number of the first fetch from cycle number `least` on."""
    return next(number for number in range(least, len(walk.cycles)) if walk.cycles[number][0] == FETCH)


def without_waits_first(stream: Cycles) -> Cycles:
    """`stream` as it is played once: what waits its last cycle leaves over is not carried into its first."""
    if not stream.aligned:
        return stream
    stream.lengths[-1] = stream.spans[-1]
    return Cycles(
        stream.kinds,
        stream.lengths,
        stream.addresses,
        stream.values,
        stream.halted,
        stream.refresh_high,
        stream.aligned,
    )
