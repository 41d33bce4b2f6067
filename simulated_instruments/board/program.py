"""What a CPU executes, whatever its class: a stream of bus cycles once after reset, then others round and round.

The states are those a person tells apart on the pins. It knows edges and clocks, no volts and no part.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from simulated_instruments.board.accesses import Accesses
from simulated_instruments.board.levels import Palette
from simulated_instruments.board.machine_cycles import Cycles
from simulated_instruments.board.stepped import Codes
from simulated_instruments.board.waveform import Array, Deferred, Joined, Repeating, Waveform

DEAD, NO_CLOCK, HELD, RUNNING, ALL_ONES, ALL_ZEROS, HALTED, CRASHED, WAITING, BUS_REQUESTED = (
    "dead", "no clock", "held in reset", "running", "all ones", "all zeros", "halted", "crashed", "waiting",
    "bus requested",
)  # fmt: skip
JAMMED, CHECKING = "jammed", "waiting after its memory check"

# Bus cycles of a CPU of class R, or the accesses of one of class S.
Stream = Cycles | Accesses
Pattern = Callable[[Stream], tuple[Array, Codes]]


@dataclass(frozen=True)
class Program:
    """What a running CPU does: `once` after reset (if anything), then `turns` round and round.

    A turn is a stream of cycles and how often it is repeated. `programmed` (T-states) is when the last register of the
    video controller was written.
    """

    state: str
    once: Stream | None
    turns: tuple[tuple[Stream, int], ...]
    programmed: float | None = None

    @property
    def stream(self) -> Stream:
        """The first turn: what the CPU does most of the time."""
        return self.turns[0][0]

    def wave(self, pattern: Pattern, palette: Palette, hertz: float, start: float) -> Waveform:
        """The waveform of the pin that `pattern` gives the edges of (T-states), at `hertz`, first fetch at `start`
        (s)."""
        then = start + (self.once.period / hertz if self.once else 0.0)
        for_ever = self._for_ever(pattern, palette, hertz, then)
        if self.once is None:
            return for_ever
        # The start-up is by far the longest stretch, and few look at it.
        first = Deferred(partial(stream_wave, pattern, self.once, palette, hertz, start))
        return Joined([start, then], [first, for_ever])

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

    def unrolled(self, pattern: Pattern, clocks: float) -> tuple[Array, Codes]:
        """The edges of the first `clocks`, what is done once and then the first turn again and again."""
        parts: list[tuple[float, tuple[Array, Codes]]] = []
        begin = 0.0
        if self.once is not None:
            parts.append((0.0, pattern(self.once)))
            begin = self.once.period
        turn = pattern(self.stream)
        while begin < clocks:
            parts.append((begin, turn))
            begin += self.stream.period
        edges = np.concatenate([start + found for start, (found, _) in parts])
        codes = np.concatenate([found for _, (_, found) in parts])
        inside = edges < clocks
        return edges[inside], codes[inside]


def stream_wave(pattern: Pattern, stream: Stream, palette: Palette, hertz: float, origin: float) -> Waveform:
    """The waveform of one stream of bus cycles on one pin, as if it went round and round."""
    edges, codes = pattern(stream)
    return palette.wave(edges / hertz, codes, stream.period / hertz, origin)


def same(one: tuple[Array, Codes], other: tuple[Array, Codes]) -> bool:
    """Whether two patterns have the same edges."""
    return np.array_equal(one[0], other[0]) and np.array_equal(one[1], other[1])
