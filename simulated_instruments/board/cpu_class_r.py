"""A class R CPU as a state machine: what it executes after reset, and from that the exact waveform of every pin.

The states are those a person tells apart on the pins: dead, without a clock, held in reset, running, the loops of an
all-ones and an all-zeros bus, halted, crashed. It knows codes and T-states, no volts and no other part.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from simulated_instruments.board.crash import Memory, Walk
from simulated_instruments.board.firmware import REFRESH_HIGH, field, start_up
from simulated_instruments.board.instructions import FETCH, WRITE
from simulated_instruments.board.levels import HIGH, LOW, Palette
from simulated_instruments.board.machine_cycles import Cycles, loop
from simulated_instruments.board.stepped import Codes
from simulated_instruments.board.waveform import Array, Joined, Repeating, Waveform

DEAD, NO_CLOCK, HELD, RUNNING, ALL_ONES, ALL_ZEROS, HALTED, CRASHED, WAITING, BUS_REQUESTED = (
    "dead", "no clock", "held in reset", "running", "all ones", "all zeros", "halted", "crashed", "waiting",
    "bus requested",
)  # fmt: skip
# States in which nothing moves, and what the control outputs then are; those not named are high.
STATIC: Mapping[str, Mapping[str, int]] = {
    NO_CLOCK: {},
    HELD: {},
    WAITING: {"FETCH": LOW, "MEMREQ": LOW, "RD": LOW},
    BUS_REQUESTED: {"BUSAK": LOW},
}
QUARTER = 0x4000  # bytes that share A14 and A15
# How long a crash is followed; what it does last is then taken as what it goes on doing.
FOLLOWED = 0.032  # s
# T-states from the release of reset to the first fetch.
FIRST_FETCH = 3

Pattern = Callable[[Cycles], tuple[Array, Codes]]


@dataclass(frozen=True)
class Program:
    """What a running CPU does: `once` after reset (if anything), then `turns` round and round.

    A turn is a stream of cycles and how often it is repeated. `programmed` (T-states) is when the last register of the
    video controller was written.
    """

    state: str
    once: Cycles | None
    turns: tuple[tuple[Cycles, int], ...]
    programmed: float | None = None

    @property
    def stream(self) -> Cycles:
        """The first turn: what the CPU does most of the time."""
        return self.turns[0][0]

    def wave(self, pattern: Pattern, palette: Palette, hertz: float, start: float) -> Waveform:
        """The waveform of the pin that `pattern` gives the edges of (T-states), at `hertz`, first fetch at `start`
        (s)."""
        then = start + (self.once.period / hertz if self.once else 0.0)
        for_ever = self._for_ever(pattern, palette, hertz, then)
        if self.once is None:
            return for_ever
        edges, codes = pattern(self.once)
        return Joined([start, then], [palette.wave(edges / hertz, codes, self.once.period / hertz, start), for_ever])

    def _for_ever(self, pattern: Pattern, palette: Palette, hertz: float, origin: float) -> Waveform:
        patterns = [pattern(cycles) for cycles, _ in self.turns]
        periods = [cycles.period / hertz for cycles, _ in self.turns]
        waves = [
            palette.wave(edges / hertz, codes, period, origin)
            for (edges, codes), period in zip(patterns, periods, strict=True)
        ]
        if all(same(patterns[0], other) for other in patterns[1:]):
            return waves[0]
        lengths = [period * count for period, (_, count) in zip(periods, self.turns, strict=True)]
        return Repeating(sum(lengths), origin, np.concatenate(([0.0], np.cumsum(lengths)[:-1])).tolist(), waves)


def same(one: tuple[Array, Codes], other: tuple[Array, Codes]) -> bool:
    """Whether two patterns have the same edges."""
    return np.array_equal(one[0], other[0]) and np.array_equal(one[1], other[1])


def static_code(state: str, pin: str) -> int:
    """The code of a control output in a state in which nothing moves."""
    return STATIC[state].get(pin, HIGH)


def all_zeros(aligned: int = 0) -> Program:
    """Executing 00 everywhere: one fetch after another, through the whole address space."""
    turns = tuple((loop([(FETCH, 4, quarter * QUARTER, 0)], aligned=aligned), QUARTER) for quarter in range(4))
    return Program(ALL_ZEROS, None, turns)


def restarts(at: int, opcode: int, sp: int, aligned: int = 0) -> tuple[tuple[Cycles, int], ...]:
    """A restart that leads to itself: its return address goes down through memory, two bytes each time."""
    after, first = at + 1, sp // QUARTER
    turns = []
    for step in range(4):
        top = ((first - step) % 4) * QUARTER + QUARTER - 1
        cycles = [(FETCH, 5, at, opcode), (WRITE, 3, top, after >> 8), (WRITE, 3, top - 1, after & 0xFF)]
        turns.append((loop(cycles, aligned=aligned), QUARTER // 2))
    return tuple(turns)


def all_ones(aligned: int = 0) -> Program:
    """Executing FF everywhere: the restart at 0038, whose own opcode is FF again."""
    return Program(ALL_ONES, None, restarts(0x38, 0xFF, 0xFFFF, aligned))


def halted(aligned: int = 0, refresh_high: int = 0) -> Cycles:
    """Empty fetches for ever."""
    idle = loop([(FETCH, 4, 0x0100, 0)], halted=True, aligned=aligned)
    return Cycles(idle.kinds, idle.lengths, idle.addresses, idle.values, idle.halted, refresh_high, aligned)


@dataclass(frozen=True)
class Rhythm:
    """How the CPU's clock and the frame interrupt go together, in T-states.

    `hertz` is the CPU clock; `field_states` the T-states from one interrupt to the next, 0 if none comes; `phase` when
    the first comes after the first fetch, None if that depends on when the software programs the controller.
    """

    hertz: float
    field_states: int
    phase: int | None
    aligned: int


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


def crashed(memory: Memory, rhythm: Rhythm, generator: np.random.Generator) -> Program:
    """What a CPU does that reads `memory` from reset on."""
    walk = Walk(memory, generator, rhythm.aligned, rhythm.field_states)
    limit = round(FOLLOWED * rhythm.hertz)
    walk.go(limit)
    if walk.outcome == "halted":
        return Program(HALTED, without_waits_first(walk.stream()), ((halted(rhythm.aligned), 1),))
    if walk.outcome == "restarts":
        _, _, at, opcode = walk.cycles[-3]
        state = ALL_ONES if opcode == 0xFF else CRASHED
        return Program(state, None, restarts(at, opcode, walk.sp, rhythm.aligned))
    half = next_fetch(walk, len(walk.cycles) // 3)
    return Program(CRASHED, without_waits_first(walk.stream(0, half)), ((walk.stream(half), 1),))


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
