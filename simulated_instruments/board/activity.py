"""What every net of one specimen does in one stage of its life: the parts' behaviour joined, from condition to
waveform.

A stage is a stretch of time in which nothing changes from outside: same parts powered, clock, reset. It solves no
network and knows no bench; `board_nets` strings the stages together.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from simulated_instruments.board import bus, video
from simulated_instruments.board.assembly import Assembly
from simulated_instruments.board.clocks import ClockTree
from simulated_instruments.board.condition import OPEN_OUTPUT, STUCK_HIGH
from simulated_instruments.board.levels import FIGHT, HIGH, LOW, UNDRIVEN, Palette
from simulated_instruments.board.net_faults import DRIVES
from simulated_instruments.board.palettes import Palettes
from simulated_instruments.board.processor import PROCESSORS
from simulated_instruments.board.program import (
    BUS_REQUESTED,
    DEAD,
    HALTED,
    HELD,
    NO_CLOCK,
    RUNNING,
    WAITING,
    Program,
    Stream,
)
from simulated_instruments.board.programs import Programs
from simulated_instruments.board.ram_nets import NETS as RAM_NETS
from simulated_instruments.board.ram_nets import RamNets
from simulated_instruments.board.signals import FIXED
from simulated_instruments.board.stepped import Stepped
from simulated_instruments.board.video_nets import VideoNets
from simulated_instruments.board.waveform import Constant, Waveform

# Rows of RAM the firmware strobes a T-state: a refresh in each of its fetches, and its reads and writes.
FIRMWARE_ROWS = 0.15
OUT_LATE = 0.06  # of a period: how far the clock outputs of a class S CPU are behind its clock
MOST_WAVES = 64  # kept, of a megabyte or two each; a net takes one for each kind of stage
RAM_DRIVERS = ("gates", "mux", "dram")
# States in which nothing moves on a CPU whose buses float then.
STILL = frozenset({DEAD, NO_CLOCK, HELD, WAITING, BUS_REQUESTED})


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
        self.palettes = Palettes(assembly.tolerance, assembly.condition.wrong)
        self.clocks = ClockTree(self.signals, self.condition, self.tolerance, self.palettes)
        self.processor = PROCESSORS[self.signals.cpu]
        self.programs = Programs(assembly, self.clocks, self.processor)
        self.ram = RamNets(assembly, self.clocks, self.programs)
        self.video = VideoNets(self.signals, self.condition, self.tolerance, self.clocks)
        self._waves = lru_cache(maxsize=MOST_WAVES)(self._make)

    def wave(self, net: str, stage: Stage) -> Waveform:
        """The volts of `net` in `stage`, with the reference on every rail. Raises `KeyError` for a net it knows
        nothing of."""
        return self._waves(net, stage)

    def forget(self) -> None:
        """Drop what is kept for quick answers: tens of megabytes, worked out anew where they are asked for."""
        self._waves.cache_clear()
        self.ram.forget()
        self.programs.forget()

    def driver(self, net: str) -> str:
        """The part whose rail the volts of `net` follow."""
        kinds = self._driver_kinds
        if net in RAM_NETS:
            return self._at_ram.get(net, self.by_kind["cpu"])
        if net in self.clocks.nets:
            kind = "oscillator" if net == self.signals.master_net else self.clocks.divider_kind(self.by_kind)
        else:
            kind = next((kind for kind, nets in kinds.items() if net in nets), "cpu")
        return self.by_kind.get(kind, self.by_kind["cpu"])

    @cached_property
    def _at_ram(self) -> dict[str, str]:
        """Net at the RAM to the part that drives it: strobe gates, multiplexers, the memory itself."""
        drivers = [part for part in self.assembly.circuit.parts.values() if part.kind in RAM_DRIVERS]
        return {net: part.name for part in drivers for net in part.logic.values() if net in drives_of(part.kind)}

    @cached_property
    def _driver_kinds(self) -> dict[str, frozenset[str]]:
        return {
            "reset timer": frozenset({self.signals.reset}),
            "reset supervisor": frozenset({self.signals.reset}),
            "decoder": frozenset(bus.SELECTS),
            "video": frozenset({"CSYNC", "PICTURE", self.signals.interrupted_by}),
            "video controller": frozenset({"HSYNC", "VSYNC"}),
            "shifter": frozenset({"PICTURE"}),
            "gate array": frozenset({self.signals.interrupted_by, "WAIT"}),
            "video output": frozenset({"VIDEO"}),
            "data buffer": frozenset(),
        }

    def leg(self, part: str, net: str, stage: Stage) -> Waveform:
        """The volts at a leg that a break has cut off from its net: what the part itself drives, or what floats."""
        if self.driver(net) == part and net in self.clocks.nets and part in stage.powered:
            return self.clocks.own(net, stage.clock)
        if self.driver(net) == part:
            return self._driven(net, stage)
        return Constant(self.palettes.of(net).volts(UNDRIVEN))

    def _make(self, net: str, stage: Stage) -> Waveform:
        code = self.condition.held.get(net)
        if code is not None and self.driver(net) in stage.powered:
            return Constant(self.palettes.of(net).volts(code) if net != "VIDEO" else 0.0)
        return self._driven(net, stage)

    def _driven(self, net: str, stage: Stage) -> Waveform:
        """What the driver of `net` makes of it."""
        palette, condition = self.palettes.of(net), self.condition
        if self.driver(net) not in stage.powered:
            return Constant(palette.volts(UNDRIVEN) if net != "VIDEO" else 0.0)
        if net in self.clocks.nets:
            return self.clocks.wave(net, stage.clock)
        if net == self.signals.reset:
            return self._reset(palette, stage)
        if net in self.processor.pulled_up:
            return Constant(palette.volts(UNDRIVEN))
        if net == "WAIT":
            return self.clocks.waits(palette, stage.clock)
        if net in video.NETS:
            return self.video.wave(net, stage.clock, self._programmed(stage), self._content(stage))
        if net == self.processor.fetch and condition.fetch_volts is not None:
            return Constant(condition.fetch_volts)
        if net in self.processor.clocks_out:
            return self._clock_out(net, palette, stage)
        if net in RAM_NETS:
            return self._ram_net(net, palette, stage)
        return self._cpu_net(net, palette, stage)

    def _reset(self, palette: Palette, stage: Stage) -> Waveform:
        if stage.held or self.condition.reset_stuck:
            return Constant(palette.volts(LOW))
        loop = self.condition.reset_loop
        if loop is None or stage.running is None:
            return Constant(palette.volts(HIGH))
        low, high = loop
        return palette.wave(np.array([0.0, high]), np.array([HIGH, LOW]), low + high, stage.running)

    def _clock_out(self, net: str, palette: Palette, stage: Stage) -> Waveform:
        """The CPU's two phases: they follow its clock in every state but a dead CPU's."""
        if self.state(stage) in (DEAD, NO_CLOCK) or stage.clock is None:
            return Constant(palette.volts(self._dead_code(net)))
        period = 1.0 / self.clocks.hertz(self.signals.cpu_clock)
        first = HIGH if net == "PHI2" else LOW
        edges = np.array([OUT_LATE, 0.5 + OUT_LATE]) * period
        return palette.wave(edges, np.array([first, 1 - first]), period, stage.clock)

    # The CPU and what follows from its pins

    def state(self, stage: Stage) -> str:
        """What the CPU is doing in `stage`."""
        condition = self.condition
        if condition.cpu_dead or self.by_kind["cpu"] not in stage.powered:
            return DEAD
        if stage.clock is None or condition.clockless or not self.clocks.runs(self.signals.cpu_clock):
            return NO_CLOCK
        if condition.reset_stuck or stage.running is None or (stage.held and not condition.unreset):
            return HELD
        if condition.held.get("BUSRQ", HIGH) not in (HIGH, UNDRIVEN):
            return BUS_REQUESTED
        if condition.held.get(self.processor.wait, HIGH) not in (HIGH, UNDRIVEN):
            return WAITING
        return self._program(stage).state

    def _program(self, stage: Stage) -> Program:
        assert stage.clock is not None
        assert stage.running is not None
        return self.programs.at(stage.clock, stage.running)

    def _programmed(self, stage: Stage) -> float | None:
        """When the video controller was programmed, None if it was not."""
        if self.signals.video.kind == FIXED:
            return stage.clock
        state = self.state(stage)
        if state in STILL or self.condition.unwritten or stage.clock is None or stage.running is None:
            return None
        states = self._program(stage).programmed
        if states is None:
            return None
        return self.programs.first_fetch(stage.clock, stage.running) + states / self.clocks.hertz(
            self.signals.cpu_clock
        )

    def _content(self, stage: Stage) -> str:
        """What is on the screen."""
        state = self.state(stage)
        if state == "all ones":
            return video.STRIPES
        return video.TEXT if stage.cleared and state in (RUNNING, HALTED) else video.NOISE

    def _ram_net(self, net: str, palette: Palette, stage: Stage) -> Waveform:
        """A net at the RAM: what the CPU does there, or what the video goes on doing while the CPU does nothing."""
        state, pattern = self.state(stage), self.ram.pattern(net)
        if stage.clock is None or not self.ram.works(state):
            return Constant(palette.volts(self.ram.still(net)))
        idle = self.processor.idle(state, self.programs.memory)
        hertz = self.clocks.hertz(self.signals.cpu_clock)
        if idle is not None or state in STILL:
            return self.ram.program(idle or self.ram.idle()).wave(pattern, palette, hertz, stage.clock)
        assert stage.running is not None
        start = self.programs.first_fetch(stage.clock, stage.running)
        if self.condition.reset_loop is not None:
            return self._looped(net, pattern, palette, stage, start)
        return self.ram.program(self._program(stage)).wave(pattern, palette, hertz, start)

    def _cpu_net(self, net: str, palette: Palette, stage: Stage) -> Waveform:
        state = self.state(stage)
        if net in bus.SELECTS and self.condition.decoder:
            return Constant(palette.volts(HIGH if self.condition.decoder == "none" else LOW))
        if net == "CRTCCS" and self.condition.held.get("IORQ") in (OPEN_OUTPUT, STUCK_HIGH):
            return Constant(palette.volts(HIGH))  # a port, and nobody asks for one
        pattern = self._pattern(net)
        hertz = self.clocks.hertz(self.signals.cpu_clock)
        idle = self.processor.idle(state, self.programs.memory)
        if idle is not None and stage.clock is not None:
            return idle.wave(pattern, palette, hertz, stage.clock + self.processor.phase / hertz)
        if state in STILL:
            return Constant(palette.volts(self._still(net, state)))
        assert stage.clock is not None
        assert stage.running is not None
        start = self.programs.first_fetch(stage.clock, stage.running)
        if self.condition.reset_loop is not None:
            return self._looped(net, pattern, palette, stage, start)
        return self._program(stage).wave(pattern, palette, hertz, start)

    def _looped(
        self, net: str, pattern: Callable[[Stream], bus.Edges], palette: Palette, stage: Stage, start: float
    ) -> Stepped:
        """A program that a reset cuts off and begins again."""
        assert self.condition.reset_loop is not None
        low, high = self.condition.reset_loop
        hertz, program = self.clocks.hertz(self.signals.cpu_clock), self._program(stage)
        edges, codes = program.unrolled(pattern, high * hertz)
        edges = np.append(edges / hertz, high)
        return palette.wave(edges, np.append(codes, self._still(net, HELD)), low + high, start)

    def _pattern(self, net: str) -> Callable[[Stream], bus.Edges]:
        """What gives the edges of `net` for a stream of bus cycles."""
        if net in self.processor.strobes:
            return lambda stream: stream.strobe(net)
        memory = self.programs.memory
        if net in bus.SELECTS:
            return lambda stream: bus.select(stream, net, memory)
        if not net[1:].isdigit():
            raise KeyError(net)
        bit = int(net[1:])
        if net[0] == "A":
            return lambda stream: bus.address_line(stream, bit, memory)
        if net[0] == "D":
            enabled = self.programs.enabled
            return lambda stream: bus.data_line(stream, bit, enabled)
        raise KeyError(net)

    def _still(self, net: str, state: str) -> int:
        """The code of a net that depends on the CPU alone, while nothing moves."""
        if net in RAM_NETS:
            return self.ram.still(net)
        if net in self.processor.strobes:
            return self._dead_code(net) if state == DEAD else self.processor.still(net, state)
        if net in ("ROMCS", "RAMCS"):
            return self._still_select(net, state)
        if net in bus.SELECTS:
            return HIGH
        if net[0] == "A" and (state == DEAD or self.signals.cpu == "S"):
            return self._dead_code(net) if state == DEAD else HIGH
        if net[0] == "D" and self.condition.buffer_always_on:
            return HIGH
        if net[0] == "D" and self.signals.cpu == "R" and self._reading(state):
            return UNDRIVEN if self.condition.rom_dead else self.programs.rom[0] >> int(net[1:]) & 1
        return UNDRIVEN

    def _reading(self, state: str) -> bool:
        """Whether a CPU that stands still reads the ROM all the while."""
        return self._still("RD", state) == LOW and self._still("ROMCS", state) == LOW

    def _still_select(self, net: str, state: str) -> int:
        """A select while nothing moves: one of a CPU without its clock is never opened by φ2."""
        if self.signals.cpu == "S" or self._still("MEMREQ", state) != LOW:
            return HIGH
        in_rom = self._still("A14", state) == LOW and self._still("A15", state) == LOW
        return LOW if in_rom == (net == "ROMCS") else HIGH

    def _dead_code(self, net: str) -> int:
        """What an output of a dead CPU is left at."""
        return HIGH if self.tolerance.uniform(f"dead {net}", 0.0, 1.0) < 0.8 else LOW

    # What the DC side wants to know

    def fight_share(self) -> float:
        """Lines that fight, on the average over time, while the program of this condition runs."""
        if not (self.condition.buffer_always_on or self.condition.decoder == "all"):
            return 0.0
        stream = self.programs.other.stream
        patterns = (bus.data_line(stream, bit, self.programs.enabled) for bit in range(8))
        return sum(bus.share(pattern, stream.period, FIGHT) for pattern in patterns)

    def memory_share(self) -> float:
        """Work the RAM does under a program that is not the firmware, as a share of what the firmware makes it do: rows
        strobed, by refreshes and by accesses."""
        stream = self.programs.other.stream
        accesses = (stream.reads | stream.writes) & ~self.programs.memory.in_rom(stream.addresses)
        return float(np.clip((stream.rows + int(accesses.sum())) / stream.period / FIRMWARE_ROWS, 0.0, 1.0))


def drives_of(kind: str) -> frozenset[str]:
    """The nets at the RAM that a part of `kind` drives."""
    return DRIVES.get(kind, frozenset(net for net in RAM_NETS if not net.startswith("MA") and net[1:].isdigit()))
