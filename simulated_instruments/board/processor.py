"""What is different from one CPU class to another: names of pins, where the ROM lies, and how a program is executed.

A processor makes programs and still levels; it knows no volts and no board.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from simulated_instruments.board import accesses, cpu_class_r, cpu_class_s, machine_cycles
from simulated_instruments.board.firmware import StartUp, rom_image, specimen_mix, start_up
from simulated_instruments.board.firmware_class_s import ROM_AT
from simulated_instruments.board.firmware_class_s import rom_image as rom_image_class_s
from simulated_instruments.board.memory import Memory
from simulated_instruments.board.program import Program
from simulated_instruments.board.rhythm import Rhythm
from simulated_instruments.board.signals import Signals


@dataclass(frozen=True)
class Work:
    """What a program is made from: the circuit's mix, the rhythm, and a generator of its own."""

    signals: Signals
    rhythm: Rhythm
    generator: np.random.Generator

    def registers(self) -> int:
        """How often this specimen's program writes to its video controller: drawn anew at each call."""
        low, high = self.signals.registers
        return int(self.generator.integers(low, high + 1)) if high else 0


class Processor(Protocol):
    """One CPU class.

    `strobes` are its control outputs, `clocks_out` those that only follow its clock; `pulled_up` the inputs that
    nothing else on the board drives, `wait` the one that stretches an access, `fetch` the output that tells of an
    opcode fetch; `phase` is where in a period of its clock a bus cycle begins, `first_fetch` how many clocks after the
    release of reset.
    """

    strobes: tuple[str, ...]
    clocks_out: tuple[str, ...]
    pulled_up: tuple[str, ...]
    wait: str
    fetch: str
    phase: float
    first_fetch: int
    rom_at: int

    def rom_image(self, name: str, mix: tuple[tuple[str, float], ...]) -> bytes:
        """What the ROM of a board holds."""

    def firmware(self, work: Work) -> Program:
        """The healthy program."""

    def crashed(self, memory: Memory, rhythm: Rhythm, generator: np.random.Generator, pc: int | None) -> Program:
        """What it does that reads `memory`, from reset or from `pc`."""

    def after_start(self, work: Work, memory: Memory, checks: bool) -> Program:
        """What it does whose program is good and whose memory is not."""

    def stormed(self, work: Work) -> Program:
        """What it does under an interrupt that never ends."""

    def idle(self, state: str, memory: Memory) -> Program | None:
        """What it does in a state in which it executes nothing but still has its clock; None if nothing moves then."""

    def still(self, net: str, state: str) -> int:
        """The code of a control output in a state in which nothing moves."""


class ClassR:
    """The CPU with fetch strobe and refresh."""

    strobes: tuple[str, ...] = machine_cycles.STROBES
    clocks_out: tuple[str, ...] = ()
    pulled_up: tuple[str, ...] = ("BUSRQ", "NMI")
    wait = "WAIT"
    fetch = "FETCH"
    phase = 0.0
    first_fetch = cpu_class_r.FIRST_FETCH
    rom_at = 0

    def rom_image(self, name: str, mix: tuple[tuple[str, float], ...]) -> bytes:
        return rom_image(name, mix)

    def firmware(self, work: Work) -> Program:
        mix, registers = self._mix(work)
        signals = work.signals
        return cpu_class_r.firmware(mix, signals.rest, signals.boot, registers, work.rhythm, work.generator)

    def _mix(self, work: Work) -> tuple[dict[str, float], int]:
        return specimen_mix(work.signals.mix, work.generator), work.registers()

    def _start(self, work: Work) -> tuple[dict[str, float], StartUp]:
        mix, registers = self._mix(work)
        rhythm = work.rhythm
        least = round(work.signals.boot * rhythm.hertz)
        return mix, start_up(mix, least, registers, rhythm.aligned, rhythm.hertz, work.generator)

    def crashed(self, memory: Memory, rhythm: Rhythm, generator: np.random.Generator, pc: int | None) -> Program:
        return cpu_class_r.crashed(memory, rhythm, generator, pc or 0)

    def after_start(self, work: Work, memory: Memory, checks: bool) -> Program:
        return cpu_class_r.after_start(self._start(work)[1], memory, work.rhythm, checks, work.generator)

    def stormed(self, work: Work) -> Program:
        mix, start = self._start(work)
        return cpu_class_r.stormed(mix, start, work.rhythm, work.generator)

    def idle(self, state: str, memory: Memory) -> Program | None:  # noqa: ARG002 (its pins stand still then)
        return None

    def still(self, net: str, state: str) -> int:
        return cpu_class_r.static_code(state, net)


class ClassS:
    """The CPU with SYNC and one access a clock."""

    strobes: tuple[str, ...] = accesses.STROBES
    clocks_out: tuple[str, ...] = accesses.CLOCKS_OUT
    pulled_up: tuple[str, ...] = ("RDY", "NMI", "SO")
    wait = "RDY"
    fetch = "SYNC"
    phase = 0.5
    first_fetch = cpu_class_s.FIRST_FETCH
    rom_at = ROM_AT

    def rom_image(self, name: str, mix: tuple[tuple[str, float], ...]) -> bytes:
        return rom_image_class_s(name, mix)

    def firmware(self, work: Work) -> Program:
        return cpu_class_s.firmware(self._start(work), work.rhythm, work.generator)

    def _start(self, work: Work) -> cpu_class_s.Start:
        return cpu_class_s.start(work.signals.mix, work.signals.boot, work.registers(), work.rhythm, work.generator)

    def crashed(self, memory: Memory, rhythm: Rhythm, generator: np.random.Generator, pc: int | None) -> Program:
        return cpu_class_s.crashed(memory, rhythm, generator, pc)

    def after_start(self, work: Work, memory: Memory, checks: bool) -> Program:
        return cpu_class_s.after_start(self._start(work), memory, work.rhythm, checks, work.generator)

    def stormed(self, work: Work) -> Program:
        return cpu_class_s.stormed(self._start(work), work.generator)

    def idle(self, state: str, memory: Memory) -> Program | None:
        return cpu_class_s.idle(state, memory)

    def still(self, net: str, state: str) -> int:
        return cpu_class_s.still(net, state)


PROCESSORS: dict[str, Processor] = {"R": ClassR(), "S": ClassS()}
