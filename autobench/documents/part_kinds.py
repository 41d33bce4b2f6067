"""What each kind of part is described by: the keys it needs, those it may have, what its outputs may be. Data only.

Keys that every part may have are `EVERY`. Nothing here knows a particular board.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

PartKind = Literal[
    "connector", "switch", "bulk capacitor", "decoupler", "crystal", "oscillator", "divider", "gate array",
    "reset timer", "reset supervisor", "cpu", "rom", "ram", "decoder", "data buffer", "address multiplexer", "gates",
    "video", "video controller", "video output", "shifter", "port", "bridge", "regulator", "converter", "reservoir",
    "sound stage", "colour crystal", "colour encoder",
]  # fmt: skip
How = Literal[
    "follow", "divide", "decode", "power-on", "pattern", "sync", "line", "field", "picture", "composite"
]  # fmt: skip

EVERY = ("kind", "words", "socket", "legs", "side", "pins")


@dataclass(frozen=True)
class Kind:
    """Keys of the file that a kind of part needs and may have, and what its outputs may be."""

    needs: tuple[str, ...] = ()
    may: tuple[str, ...] = ()
    outs: tuple[How, ...] = ()

    @property
    def keys(self) -> tuple[str, ...]:
        """Every key a part of this kind may have."""
        return (*EVERY, *self.needs, *self.may)


KINDS: Mapping[PartKind, Kind] = {
    "connector": Kind(),
    "switch": Kind(may=("rail",)),
    "bulk capacitor": Kind(needs=("rail",)),
    "reservoir": Kind(needs=("rail",)),
    "bridge": Kind(needs=("rail", "in")),
    "regulator": Kind(needs=("rail", "in")),
    "converter": Kind(needs=("rail", "in"), may=("draws",)),
    "sound stage": Kind(needs=("rail",), may=("draws", "in")),
    "decoupler": Kind(needs=("rail",)),
    "crystal": Kind(needs=("feeds",)),
    "colour crystal": Kind(needs=("feeds",)),
    "colour encoder": Kind(("rail",), ("draws", "in")),
    "oscillator": Kind(("rail", "outs"), ("draws", "in"), ("follow",)),
    "divider": Kind(("rail", "in", "outs"), ("draws", "reset"), ("divide",)),
    "gate array": Kind(
        ("rail", "outs"),
        ("draws", "clock", "reset", "select", "enable", "in", "addr", "data"),
        ("divide", "follow", "decode", "pattern", "sync", "line", "field", "picture", "power-on"),
    ),
    "reset timer": Kind(("rail", "outs"), ("draws", "in"), ("power-on",)),
    "reset supervisor": Kind(("rail", "outs"), ("draws", "in"), ("power-on",)),
    "cpu": Kind(("class", "rail", "clock", "reset"), ("draws",)),
    "rom": Kind(("rail", "select", "data"), ("draws", "enable", "addr")),
    "ram": Kind(("rail",), ("draws", "select", "enable", "in", "addr", "data", "bit")),
    "decoder": Kind(("rail", "outs"), ("draws", "in", "enable"), ("decode",)),
    "data buffer": Kind(("rail", "data", "from"), ("draws", "select", "enable")),
    "address multiplexer": Kind(("rail",), ("draws", "select", "enable", "in", "addr", "outs"), ("pattern",)),
    "gates": Kind(("rail",), ("draws", "clock", "in", "outs"), ("decode", "follow", "pattern")),
    "video": Kind(
        ("rail", "clock", "outs"),
        ("draws", "reset", "select", "enable", "in", "addr", "data"),
        ("sync", "line", "field", "picture", "divide", "pattern", "decode"),
    ),
    "video controller": Kind(
        ("rail", "clock", "outs"),
        ("draws", "reset", "select", "enable", "in", "addr", "data", "needs"),
        ("sync", "line", "field", "pattern"),
    ),
    "video output": Kind(("rail", "in", "outs"), ("draws",), ("composite",)),
    "shifter": Kind(("rail", "outs"), ("draws", "clock", "in", "enable"), ("picture",)),
    "port": Kind(
        ("rail",), ("draws", "clock", "reset", "select", "enable", "in", "addr", "data", "outs"), ("decode", "pattern")
    ),
}


@dataclass(frozen=True)
class CpuNets:
    """The nets of a CPU by the names they have in a board file: a CPU says its class and need not list them."""

    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    addresses: tuple[str, ...]
    data: tuple[str, ...]
    fetch: str = ""  # the output that tells of an opcode fetch
    write: str = ""  # the output that is low in a write


# The 40 pins of each class less supply, clock and reset (data sheets of the classes, from memory).
CPU_NETS: Mapping[str, CpuNets] = {
    "R": CpuNets(
        inputs=("WAIT", "BUSRQ", "NMI", "INT"),
        outputs=("FETCH", "REFRESH", "MEMREQ", "IORQ", "RD", "WR", "HALT", "BUSAK"),
        addresses=tuple(f"A{bit}" for bit in range(16)),
        data=tuple(f"D{bit}" for bit in range(8)),
        fetch="FETCH",
        write="WR",
    ),
    "S": CpuNets(
        inputs=("RDY", "NMI", "IRQ", "SO"),
        outputs=("SYNC", "RW", "PHI1", "PHI2"),
        addresses=tuple(f"A{bit}" for bit in range(16)),
        data=tuple(f"D{bit}" for bit in range(8)),
        fetch="SYNC",
        write="RW",
    ),
}
