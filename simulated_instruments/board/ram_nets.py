"""The nets at the RAM of one specimen: strobes, multiplexed address, data outputs, by what asks the RAM for anything.

A RAM whose time is shared goes on being read by the video while the CPU does nothing. It makes codes and programs, no
volts.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from simulated_instruments.board import accesses, machine_cycles
from simulated_instruments.board.accesses import Accesses
from simulated_instruments.board.bus import Edges
from simulated_instruments.board.clocks import ClockTree
from simulated_instruments.board.instructions import IN
from simulated_instruments.board.levels import HIGH, LOW, UNDRIVEN
from simulated_instruments.board.program import DEAD, HELD, NO_CLOCK, Program, Stream
from simulated_instruments.board.programs import Programs
from simulated_instruments.board.ram_cycles import STROBES, Asked, RamSlots, ram_slots

if TYPE_CHECKING:
    from simulated_instruments.board.assembly import Assembly

LEAST_CLOCKS = 2048  # of a stream, so that every bit of what the video reads moves in it
LONG_ENOUGH = 20_000  # clocks; where so long a stream begins again, the video may miss one step
DELAY = 0.04  # of the strobe gates, one standard deviation
NETS = frozenset({*STROBES, *(f"{kind}{bit}" for kind in ("MA", "M") for bit in range(8))})


@dataclass
class RamNets:
    """Patterns of the nets in `NETS` for any stream of bus cycles."""

    assembly: Assembly
    clocks: ClockTree
    programs: Programs

    def __post_init__(self) -> None:
        signals = self.assembly.circuit.signals
        assert signals is not None
        self.signals, self.condition = signals, self.assembly.condition
        self.delay = self.assembly.tolerance.factor("strobe delay", DELAY)
        self._kept: dict[int, tuple[Stream, RamSlots]] = {}

    def pattern(self, net: str) -> Callable[[Stream], Edges]:
        """What gives the edges of `net` for a stream. Raises `KeyError` for a net at no RAM."""
        if net not in NETS or self.signals.ram is None:
            raise KeyError(net)
        if net in STROBES:
            return lambda stream: self._slots(stream).strobe(net)
        bit = int(net.lstrip("MA"))
        if net.startswith("MA"):
            return lambda stream: self._slots(stream).address_line(bit)
        if self.condition.ram_unbiased or not {"RAS", "CAS"}.isdisjoint(self.condition.held):
            return lambda _: (np.zeros(1), np.full(1, UNDRIVEN))
        return lambda stream: self._slots(stream).data_line(bit)

    def works(self, state: str) -> bool:
        """Whether anything can come to the RAM in a state of the CPU: strobes made in each phase hang on its clock
        output."""
        plan = self.signals.ram
        own = plan is not None and plan.every_phase
        stopped = own and (state in (DEAD, NO_CLOCK) or "PHI2" in self.condition.held or self._cut("PHI2"))
        return self.clocks.runs(self.signals.cpu_clock) and not stopped

    def still(self, net: str) -> int:
        """The code of `net` while nothing asks the RAM."""
        return HIGH if net in STROBES else LOW if net.startswith("MA") else UNDRIVEN

    def program(self, program: Program) -> Program:
        """`program` with its loops repeated until the video's reads are in step with them."""
        turns = []
        for stream, count in program.turns:
            times = self._times(stream.period)
            turns.append((repeated(stream, times), max(1, ceil(count / times))))
        return replace(program, turns=tuple(turns))

    def idle(self) -> Program:
        """What comes to the RAM while the CPU asks for nothing."""
        stream: Stream = machine_cycles.loop([(IN, 4, 0, 0)] * (LEAST_CLOCKS // 4))
        return Program(HELD, None, ((stream, 1),))

    def _times(self, period: float) -> int:
        plan = self.signals.ram
        assert plan is not None
        if period >= LONG_ENOUGH:
            return 1
        least = ceil(LEAST_CLOCKS / period)
        step = plan.every // int(np.gcd(int(period), plan.every))
        return ceil(least / step) * step

    def _slots(self, stream: Stream) -> RamSlots:
        key = id(stream)
        if key not in self._kept:
            self._kept[key] = (stream, self._make(stream))  # the stream is kept, so that its id stays its own
        return self._kept[key][1]

    def forget(self) -> None:
        """Drop what is kept for quick answers."""
        self._kept.clear()

    def _make(self, stream: Stream) -> RamSlots:
        plan = self.signals.ram
        assert plan is not None
        memory, held = self.programs.memory, self.condition.held
        chosen = stream.in_memory & ~memory.in_rom(stream.addresses)
        select = LOW if self.condition.decoder == "all" else HIGH if self.condition.decoder == "none" else None
        select = held.get("RAMCS", select)
        if self._cut("RAMCS") or select not in (None, LOW):
            chosen = np.zeros(chosen.size, dtype=bool)
        elif select == LOW:
            chosen = stream.in_memory
        write = "RW" if self.signals.cpu == "S" else "WR"
        asked = Asked(
            chosen=chosen,
            written=write not in held and not self._cut(write),
            refreshed="REFRESH" not in held and not self._cut("REFRESH"),
            video=not self.condition.video_dead and self.clocks.runs(self.signals.video.clock),
        )
        return ram_slots(stream, memory.seen(stream.addresses), asked, plan, self.delay)

    def _cut(self, net: str) -> bool:
        """Whether the strobe gates' own leg on `net` touches nothing."""
        parts = self.assembly.circuit.parts
        return any(parts[part].kind == "gates" and one == net for part, one in self.condition.cut)


def repeated(stream: Stream, times: int) -> Stream:
    """`stream` so many times over."""
    if times == 1:
        return stream
    if isinstance(stream, Accesses):
        return accesses.joined([stream] * times)
    return machine_cycles.joined([stream] * times)
