"""Which program the CPU of one specimen runs, from what its buses give it; worked out once and kept.

It decides by what can be read: healthy ROM and selects give the firmware, everything else is executed byte by byte.
"""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np

from simulated_instruments.board.assembly import Assembly
from simulated_instruments.board.bus import Enabled
from simulated_instruments.board.clocks import ClockTree
from simulated_instruments.board.cpu_class_r import FIRST_FETCH, Program, Rhythm, crashed, firmware
from simulated_instruments.board.crash import Memory, power_up_ram
from simulated_instruments.board.firmware import rom_image, specimen_mix
from simulated_instruments.board.levels import fight_volts, lower_ohms
from simulated_instruments.board.signals import FIXED

# An NMOS input takes a low for a 1 from here on (the guaranteed limit is 0.8 V).
READS_HIGH = 0.75


class Programs:
    """Programs of one specimen."""

    def __init__(self, assembly: Assembly, clocks: ClockTree) -> None:
        circuit = assembly.circuit
        assert circuit.signals is not None
        self._signals, self._condition, self._clocks = circuit.signals, assembly.condition, clocks
        self._tolerance = assembly.tolerance
        self.rom = rom_image(circuit.name, tuple(circuit.signals.mix.items()))
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
            ram=selects,
            always=condition.buffer_always_on,
            overlap=condition.decoder == "all",
            image=self.rom,
            ram_image=self.ram,
        )

    @property
    def healthy(self) -> bool:
        """Whether the CPU reads what was written."""
        broken = self._condition.shorted_bit is not None or self._condition.buffer_always_on
        return self.enabled.rom and self.enabled.ram and not broken and not self.enabled.overlap

    def grid(self) -> int:
        """CPU clocks the first fetch is aligned to."""
        return self._signals.aligned or 1

    def first_fetch(self, clock: float, running: float) -> float:
        """When the first opcode fetch begins, for a clock that runs since `clock` and a reset that ends at
        `running`."""
        hertz = self._clocks.hertz(self._signals.cpu_clock)
        states = math.ceil(((running - clock) * hertz + FIRST_FETCH) / self.grid()) * self.grid()
        return clock + states / hertz

    def field_states(self) -> int:
        """T-states between frame interrupts, 0 if none can come."""
        timing, condition = self._signals.video, self._condition
        if condition.video_dead or not self._clocks.runs(timing.clock):
            return 0
        seconds = timing.field / self._clocks.hertz(timing.clock)
        return round(seconds * self._clocks.hertz(self._signals.cpu_clock))

    def at(self, clock: float, running: float) -> Program:
        """The program that starts with a reset that ends at `running`."""
        if not self.healthy:
            return self.crash_program
        field_states = self.field_states()
        phase: int | None = None
        if self._signals.video.kind == FIXED and field_states:
            hertz = self._clocks.hertz(self._signals.cpu_clock)
            since = round((self.first_fetch(clock, running) - clock) * hertz)
            phase = -since % field_states
        key = (field_states, phase)
        if key not in self._kept:
            self._kept[key] = self._firmware(self._rhythm(field_states, phase))
        return self._kept[key]

    def _rhythm(self, field_states: int, phase: int | None) -> Rhythm:
        hertz = self._clocks.hertz(self._signals.cpu_clock)
        return Rhythm(hertz, field_states, phase, self._signals.aligned)

    def _firmware(self, rhythm: Rhythm) -> Program:
        signals = self._signals
        generator = self._tolerance.generator("firmware")
        mix = specimen_mix(signals.mix, generator)
        low, high = signals.registers
        registers = int(generator.integers(low, high + 1)) if high else 0
        return firmware(mix, signals.rest, signals.boot, registers, rhythm, generator)

    @cached_property
    def crash_program(self) -> Program:
        """What the CPU does when it does not read what was written."""
        condition = self._condition
        low = 0 if condition.shorted_bit is None else 1 << condition.shorted_bit
        high = 0xFF if not self.enabled.rom else self._lost_lows() if self.enabled.always or self.enabled.overlap else 0
        ram = self.ram if self.enabled.ram else b"\xff" * len(self.ram)
        memory = Memory(self.rom, ram, low, high, self.enabled.overlap)
        # The controller of a board that crashes is never programmed, so only fixed video interrupts.
        field_states = self.field_states() if self._signals.video.kind == FIXED else 0
        return crashed(memory, self._rhythm(field_states, None), self._tolerance.generator("crash"))

    def _lost_lows(self) -> int:
        """The bits whose low, held against another output, is too high to be read as one; at least the worst of
        them."""
        volts = np.array([fight_volts(lower_ohms(self._tolerance, f"D{bit}")) for bit in range(8)])
        lost = volts > min(READS_HIGH, float(volts.max()) - 1e-9)
        return int(sum(1 << bit for bit in range(8) if lost[bit]))
