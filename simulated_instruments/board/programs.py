"""Which program the CPU of one specimen runs, from what its buses give it; worked out once and kept.

It decides by what can be read: healthy ROM, selects and memory give the firmware, everything else is executed byte by
byte.
"""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np

from simulated_instruments.board.assembly import Assembly
from simulated_instruments.board.bus import Enabled
from simulated_instruments.board.clocks import ClockTree
from simulated_instruments.board.levels import fight_volts, lower_ohms
from simulated_instruments.board.memory import SPACE, Memory, power_up_ram
from simulated_instruments.board.processor import Processor, Work
from simulated_instruments.board.program import Program
from simulated_instruments.board.rhythm import Rhythm
from simulated_instruments.board.signals import FIXED

# An NMOS input takes a low for a 1 from here on (the guaranteed limit is 0.8 V).
READS_HIGH = 0.75
# How often a start-up that meets bad memory finds that out by itself and stops, and how often a CPU that was never
# reset happens to begin where it should.
CHECKS, LUCKY = 0.3, 0.25


class Programs:
    """Programs of one specimen."""

    def __init__(self, assembly: Assembly, clocks: ClockTree, processor: Processor) -> None:
        circuit = assembly.circuit
        assert circuit.signals is not None
        self._signals, self._condition, self._clocks = circuit.signals, assembly.condition, clocks
        self._tolerance, self._processor = assembly.tolerance, processor
        self.rom = processor.rom_image(circuit.name, tuple(circuit.signals.mix.items()))
        self._kept: dict[tuple[int, int | None], Program] = {}

    @cached_property
    def ram(self) -> bytes:
        """RAM as it came up in this specimen."""
        return power_up_ram(self._tolerance.generator("power-up memory"))

    @cached_property
    def enabled(self) -> Enabled:
        """Who drives the data bus."""
        condition = self._condition
        selects = condition.decoder != "none"
        return Enabled(
            rom=not condition.rom_dead and selects,
            ram=selects and not condition.ram_silent,
            always=condition.buffer_always_on,
            overlap=condition.decoder == "all",
            memory=self.memory,
            rom_always=condition.rom_always,
        )

    @property
    def readable(self) -> bool:
        """Whether the CPU reads its program as it was written."""
        condition = self._condition
        broken = condition.wrong.spoils_rom or condition.buffer_always_on or condition.decoder == "all"
        return not (condition.rom_dead or condition.decoder == "none" or broken or self._unlucky)

    @cached_property
    def _unlucky(self) -> bool:
        """Whether it was never reset and begins somewhere."""
        return self._condition.unreset and self._tolerance.uniform("no reset", 0.0, 1.0) >= LUCKY

    @property
    def healthy(self) -> bool:
        """Whether it runs its firmware for good."""
        return self.readable and not self._condition.ram_bad and not self._condition.stormed

    def grid(self) -> int:
        """CPU clocks the first fetch is aligned to."""
        return self._signals.aligned or 1

    def first_fetch(self, clock: float, running: float) -> float:
        """When the first opcode fetch begins, for a clock that runs since `clock` and a reset that ends at
        `running`."""
        hertz = self._clocks.hertz(self._signals.cpu_clock)
        states = math.ceil(((running - clock) * hertz + self._processor.first_fetch) / self.grid()) * self.grid()
        return clock + (states + self._processor.phase) / hertz

    def field_states(self) -> int:
        """CPU clocks between frame interrupts, 0 if none can come."""
        timing, condition = self._signals.video, self._condition
        if condition.video_dead or condition.uninterrupted or not self._clocks.runs(timing.clock):
            return 0
        seconds = timing.field / self._clocks.hertz(timing.clock)
        return round(seconds * self._clocks.hertz(self._signals.cpu_clock))

    def at(self, clock: float, running: float) -> Program:
        """The program that starts with a reset that ends at `running`."""
        if not self.healthy:
            return self.other
        field_states = self.field_states()
        phase: int | None = None
        if self._signals.video.kind == FIXED and field_states:
            hertz = self._clocks.hertz(self._signals.cpu_clock)
            since = round((self.first_fetch(clock, running) - clock) * hertz)
            phase = -since % field_states
        key = (field_states, phase)
        if key not in self._kept:
            self._kept[key] = self._processor.firmware(self._work(self._rhythm(field_states, phase)))
        return self._kept[key]

    def forget(self) -> None:
        """Drop what is kept for quick answers."""
        self._kept.clear()

    def _rhythm(self, field_states: int, phase: int | None) -> Rhythm:
        hertz, timing = self._clocks.hertz(self._signals.cpu_clock), self._signals.video
        held = 0
        if field_states:
            held = round(timing.interrupt / self._clocks.hertz(timing.clock) * hertz)
        return Rhythm(hertz, field_states, phase, self._signals.aligned, held)

    def _work(self, rhythm: Rhythm) -> Work:
        return Work(self._signals, rhythm, self._tolerance.generator("firmware"))

    @cached_property
    def other(self) -> Program:
        """What the CPU does when not all is well with what it reads, or an interrupt never ends."""
        # The controller of a board that crashes is never programmed, so only fixed video interrupts.
        field_states = self.field_states() if self._signals.video.kind == FIXED else 0
        rhythm = self._rhythm(field_states, None)
        if not self.readable:
            pc = int(self._tolerance.uniform("lost", 0.0, SPACE)) if self._unlucky else None
            return self._processor.crashed(self.memory, rhythm, self._tolerance.generator("crash"), pc)
        if self._condition.ram_bad:
            checks = self._tolerance.uniform("memory check", 0.0, 1.0) < CHECKS
            return self._processor.after_start(self._work(rhythm), self.memory, checks)
        return self._processor.stormed(self._work(rhythm))

    @cached_property
    def memory(self) -> Memory:
        """What the CPU's reads give."""
        condition = self._condition
        overlap, selects = condition.decoder == "all", condition.decoder != "none"
        rom = not condition.rom_dead and selects
        high = 0xFF if not rom else self._lost_lows() if condition.buffer_always_on or overlap else 0
        answers = selects and not condition.ram_silent
        ram = self.ram if answers else b"\xff" * len(self.ram)
        wrong = condition.wrong
        if not answers:
            condition.spoil(ram_high=0xFF)
            wrong = condition.wrong
        return Memory(self.rom, ram, 0, high, overlap, self._processor.rom_at, wrong)

    def _lost_lows(self) -> int:
        """The bits whose low, held against another output, is too high to be read as one; at least the worst of
        them."""
        volts = np.array([fight_volts(lower_ohms(self._tolerance, f"D{bit}")) for bit in range(8)])
        lost = volts > min(READS_HIGH, float(volts.max()) - 1e-9)
        return int(sum(1 << bit for bit in range(8) if lost[bit]))
