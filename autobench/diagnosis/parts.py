"""The parts of a board as diagnosis sees them: legs, inputs, outputs, and what they draw. Values only.

What stands here is written in the board file, or is the same for every part of a kind.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from autobench.documents.nets import GROUND
from autobench.documents.part_kinds import CPU_NETS, CpuNets

# The pins of a CPU by the name of their net (40 pins, rails, clock and reset left out); the buses of all classes are
# alike.
CPU_ADDRESSES, CPU_DATA = CPU_NETS["R"].addresses, CPU_NETS["R"].data
NO_NETS = CpuNets((), (), (), ())


@dataclass(frozen=True)
class Output:
    """One output of a part.

    `how`: `divide` (by `divisor`), `follow` (the net or part in `source`), `power-on` (a reset), `decode` (active low
    when every net of `needs` has its level, else `idle`), `sync`, `line`, `field`, `picture`, `composite`, `pattern`.
    """

    net: str
    how: str
    divisor: int = 1
    source: str | None = None
    needs: tuple[tuple[str, str], ...] = ()
    idle: str = "high"


@dataclass(frozen=True)
class Part:
    """One part; `amps` is what it draws from `rail` while it does its full work."""

    name: str
    kind: str
    rail: str | None = None
    amps: float = 0.0
    socket: bool = False
    clock: str | None = None
    reset: str | None = None
    select: str | None = None
    enable: str | None = None
    inputs: tuple[str, ...] = ()
    outputs: tuple[Output, ...] = ()
    data: tuple[str, ...] = ()
    addresses: tuple[str, ...] = ()
    source: tuple[str, ...] = ()
    feeds: tuple[str, ...] = ()
    words: str = ""
    cpu_class: str = ""

    @property
    def cpu(self) -> CpuNets:
        """The pins of a CPU by its class, those of class R where the file says none; nothing for other parts."""
        if self.kind != "cpu":
            return NO_NETS
        return CPU_NETS.get(self.cpu_class, CPU_NETS["R"])

    @cached_property
    def legs(self) -> tuple[str, ...]:
        """Every net one of its legs is on, as far as the board file says."""
        single = tuple(net for net in (self.rail, self.clock, self.reset, self.select, self.enable) if net)
        ground = (GROUND,) if self.rail else ()
        driven = tuple(output.net for output in self.outputs)
        cpu = (*self.cpu.inputs, *self.cpu.outputs, *self.cpu.addresses, *self.cpu.data)
        nets = (*single, *ground, *self.inputs, *driven, *self.data, *self.addresses, *self.source, *cpu)
        return tuple(dict.fromkeys(nets))

    @cached_property
    def listens(self) -> frozenset[str]:
        """The nets that decide what it gives at its outputs."""
        single = {net for net in (self.clock, self.reset, self.select, self.enable) if net}
        sources = {output.source for output in self.outputs if output.source}
        needs = {net for output in self.outputs for net, _ in output.needs}
        return frozenset(single | sources | needs | set(self.inputs))

    @cached_property
    def drives(self) -> tuple[str, ...]:
        """The nets it is the natural driver of."""
        driven = tuple(output.net for output in self.outputs)
        if self.kind == "cpu":
            return (*driven, *self.cpu.outputs, *self.cpu.addresses)
        return (*driven, *self.data) if self.kind == "ram" else driven
