"""What every net of one specimen does in one stage of its life: the parts' behaviour joined, from condition to
waveform.

A stage is a stretch of time in which nothing changes from outside: same parts powered, clock, reset. It solves no
network and knows no bench; `board_nets` strings the stages together.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from simulated_instruments.board import bus, video
from simulated_instruments.board.assembly import Assembly
from simulated_instruments.board.clocks import ClockTree
from simulated_instruments.board.cpu_class_r import (
    DEAD,
    HALTED,
    HELD,
    NO_CLOCK,
    RUNNING,
    STATIC,
    Program,
    static_code,
)
from simulated_instruments.board.instructions import ACKNOWLEDGE, FETCH, READ, WRITE
from simulated_instruments.board.levels import FIGHT, HIGH, LOW, SHORT, UNDRIVEN, Palette
from simulated_instruments.board.machine_cycles import STROBES, Cycles
from simulated_instruments.board.palettes import Palettes
from simulated_instruments.board.programs import Programs
from simulated_instruments.board.signals import FIXED
from simulated_instruments.board.video_nets import VideoNets
from simulated_instruments.board.waveform import Constant, Waveform

# Rows of RAM the firmware strobes a T-state: a refresh in each of its fetches, and its reads and writes.
FIRMWARE_ROWS = 0.15


@dataclass(frozen=True)
class Stage:
    """From `start` on: the parts with a rail, and since when the clock and the CPU run (None: they do not).

    `held` while reset is active; `cleared` once the start-up software is through.
    """

    start: float
    powered: frozenset[str]
    clock: float | None
    held: bool
    running: float | None
    cleared: bool


class Activity:
    """The nets of one specimen, stage by stage."""

    def __init__(self, assembly: Assembly) -> None:
        circuit = assembly.circuit
        if circuit.signals is None:
            raise ValueError(f"{circuit.name} has no signals")
        self.assembly, self.condition, self.signals = assembly, assembly.condition, circuit.signals
        self.tolerance = assembly.tolerance
        self.by_kind = {part.kind: part.name for part in reversed(list(circuit.parts.values()))}
        self.palettes = Palettes(assembly.tolerance)
        self.clocks = ClockTree(self.signals, self.condition, self.tolerance, self.palettes)
        self.programs = Programs(assembly, self.clocks)
        self.video = VideoNets(self.signals, self.condition, self.tolerance, self.clocks)
        self._made: dict[tuple[str, Stage], Waveform] = {}

    def wave(self, net: str, stage: Stage) -> Waveform:
        """The volts of `net` in `stage`, with the reference on every rail. Raises `KeyError` for a net it knows
        nothing of."""
        key = (net, stage)
        if key not in self._made:
            self._made[key] = self._make(net, stage)
        return self._made[key]

    def driver(self, net: str) -> str:
        """The part whose rail the volts of `net` follow."""
        kinds = self._driver_kinds
        if net in self.clocks.nets:
            kind = "oscillator" if net == self.signals.master_net else self.clocks.divider_kind(self.by_kind)
        else:
            kind = next((kind for kind, nets in kinds.items() if net in nets), "cpu")
        return self.by_kind.get(kind, self.by_kind["cpu"])

    @cached_property
    def _driver_kinds(self) -> dict[str, frozenset[str]]:
        return {
            "reset timer": frozenset({"RESET"}),
            "decoder": frozenset(bus.SELECTS),
            "video": frozenset({"CSYNC", "PICTURE", "INT"}),
            "video controller": frozenset({"HSYNC", "VSYNC"}),
            "shifter": frozenset({"PICTURE"}),
            "gate array": frozenset({"INT", "WAIT"}),
            "video output": frozenset({"VIDEO"}),
            "data buffer": frozenset(),
        }

    def _make(self, net: str, stage: Stage) -> Waveform:
        palette = self.palettes.of(net)
        if self.driver(net) not in stage.powered:
            return Constant(palette.volts(UNDRIVEN) if net != "VIDEO" else 0.0)
        if net in self.clocks.nets:
            return self.clocks.wave(net, stage.clock)
        if net == "RESET":
            low = stage.held or self.condition.reset_stuck
            return Constant(palette.volts(LOW if low else HIGH))
        if net in ("BUSRQ", "NMI"):
            return Constant(palette.volts(UNDRIVEN))
        if net == "WAIT":
            return self.clocks.waits(palette, stage.clock)
        if net in video.NETS:
            return self.video.wave(net, stage.clock, self._programmed(stage), self._content(stage))
        if net == "FETCH" and self.condition.fetch_volts is not None:
            return Constant(self.condition.fetch_volts)
        return self._cpu_net(net, palette, stage)

    # The CPU and what follows from its pins

    def state(self, stage: Stage) -> str:
        """What the CPU is doing in `stage`."""
        if self.condition.cpu_dead or self.by_kind["cpu"] not in stage.powered:
            return DEAD
        if stage.clock is None or not self.clocks.runs(self.signals.cpu_clock):
            return NO_CLOCK
        if stage.held or self.condition.reset_stuck or stage.running is None:
            return HELD
        return self._program(stage).state

    def _program(self, stage: Stage) -> Program:
        assert stage.clock is not None
        assert stage.running is not None
        return self.programs.at(stage.clock, stage.running)

    def _programmed(self, stage: Stage) -> float | None:
        """When the video controller was programmed, None if it was not."""
        if self.signals.video.kind == FIXED:
            return stage.clock
        if self.state(stage) not in (RUNNING, HALTED):
            return None
        states = self._program(stage).programmed
        if states is None or stage.clock is None or stage.running is None:
            return None
        return self.programs.first_fetch(stage.clock, stage.running) + states / self.clocks.hertz(
            self.signals.cpu_clock
        )

    def _content(self, stage: Stage) -> str:
        """What is on the screen."""
        state = self.state(stage)
        if state == "all ones":
            return video.STRIPES
        return video.TEXT if stage.cleared and state == RUNNING else video.NOISE

    def _cpu_net(self, net: str, palette: Palette, stage: Stage) -> Waveform:
        state = self.state(stage)
        if net[0] == "D" and net[1:].isdigit() and self.condition.shorted_bit == int(net[1:]):
            return Constant(palette.volts(SHORT))
        if net in bus.SELECTS and self.condition.decoder:
            return Constant(palette.volts(HIGH if self.condition.decoder == "none" else LOW))
        pattern = self._pattern(net)
        if state in STATIC or state == DEAD:
            return Constant(palette.volts(self._still(net, state)))
        assert stage.clock is not None
        assert stage.running is not None
        start = self.programs.first_fetch(stage.clock, stage.running)
        return self._program(stage).wave(pattern, palette, self.clocks.hertz(self.signals.cpu_clock), start)

    def _pattern(self, net: str) -> Callable[[Cycles], bus.Edges]:
        """What gives the edges of `net` for a stream of machine cycles."""
        if net in STROBES:
            return lambda cycles: cycles.strobe(net)
        if net in bus.SELECTS:
            return lambda cycles: bus.select(cycles, net)
        bit = int(net[1:])
        if net[0] == "A":
            return lambda cycles: cycles.address_line(bit)
        if net[0] == "D":
            enabled = self.programs.enabled
            return lambda cycles: bus.data_line(cycles, bit, enabled)
        if net[0] == "M":
            return lambda cycles: bus.memory_line(cycles, bit)
        raise KeyError(net)

    def _still(self, net: str, state: str) -> int:
        """The code of a net that depends on the CPU alone, while nothing moves."""
        if net in STROBES:
            return self._dead_code(net) if state == DEAD else static_code(state, net)
        if net in ("ROMCS", "RAMCS"):
            if self._still("MEMREQ", state) != LOW:
                return HIGH
            in_rom = self._still("A14", state) == LOW and self._still("A15", state) == LOW
            return LOW if in_rom == (net == "ROMCS") else HIGH
        if net == "CRTCCS":
            return HIGH
        if net[0] == "A" and state == DEAD:
            return self._dead_code(net)
        if net[0] == "D" and self.condition.buffer_always_on:
            return HIGH
        if net[0] == "D" and self._still("RD", state) == LOW and self._still("ROMCS", state) == LOW:
            return UNDRIVEN if self.condition.rom_dead else self.programs.rom[0] >> int(net[1:]) & 1
        return UNDRIVEN

    def _dead_code(self, net: str) -> int:
        """What an output of a dead CPU is left at."""
        return HIGH if self.tolerance.uniform(f"dead {net}", 0.0, 1.0) < 0.8 else LOW

    # What the DC side wants to know

    def fight_share(self) -> float:
        """Lines that fight, on the average over time, while the program of this condition runs."""
        if not (self.condition.buffer_always_on or self.condition.decoder == "all"):
            return 0.0
        stream = self.programs.crash_program.stream
        patterns = (bus.data_line(stream, bit, self.programs.enabled) for bit in range(8))
        return sum(bus.share(pattern, stream.period, FIGHT) for pattern in patterns)

    def memory_share(self) -> float:
        """Work the RAM does under a program that is not the firmware, as a share of what the firmware makes it do: rows
        strobed, by refreshes and by accesses."""
        stream = self.programs.crash_program.stream
        accesses = stream.of(FETCH, READ, WRITE) & ~bus.in_rom(stream.addresses)
        rows = int(stream.of(FETCH, ACKNOWLEDGE).sum()) + int(accesses.sum())
        return float(np.clip(rows / stream.period / FIRMWARE_ROWS, 0.0, 1.0))
