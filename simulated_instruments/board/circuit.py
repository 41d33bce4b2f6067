"""A circuit as data: what is soldered on one board type, before tolerances and faults. It solves nothing.

A node is named `net.place` (`+5V.cpu`), or like the pin it is (`U1.11`) where a contact lies between pin and track.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from autobench.quantity import Span
from simulated_instruments.board.signals import Signals


@dataclass(frozen=True)
class Rail:
    """A supply line: its two nodes at the board's inlet, or where the board makes it; its nominal volts. `unpowered` is
    the passive resistance (Ω) of its chips far below a junction, where it is not that of the whole board. `fed`: the
    options for which it has an inlet; None where the board always makes it itself."""

    name: str
    inlet: str
    ground: str
    nominal: float
    unpowered: float | None = None
    fed: Mapping[str, str] | None = field(default_factory=dict)


@dataclass(frozen=True)
class Copper:
    """A track, joint, switch or contact between two nodes. `worn`: what a bad contact comes to, None for tracks."""

    name: str
    kind: str
    part: str | None
    plus: str
    minus: str
    ohms: float
    worn: Span | None
    net: str


@dataclass(frozen=True)
class Capacitor:
    """A capacitor between two nodes; `shorted` is the range of ohms it fails to."""

    name: str
    kind: str
    plus: str
    minus: str
    farads: float
    shorted: Span
    net: str


@dataclass(frozen=True)
class Part:
    """A part with pins on nodes. One that draws current does so from pin `supply` to pin `ground`.

    `draws` (A) is the current at the rail's nominal volts with the part doing its full work; `states` are factors
    on it by state. `logic` gives the nets of its other pins, which carry signals and no supply current.
    """

    name: str
    kind: str
    words: str
    pins: Mapping[str, str]
    supply: str | None
    ground: str | None
    draws: float
    states: Mapping[str, float]
    rail: str | None
    logic: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Soldered:
    """A diode, regulator or converter: its `kind`, the part it is, its nodes by what they are for, its figures by
    name, and the options for which it is fitted."""

    name: str
    kind: str
    part: str
    nodes: Mapping[str, str]
    figures: Mapping[str, float]
    when: Mapping[str, str]


@dataclass(frozen=True)
class Option:
    """Something that can be fitted in one of several ways: choice → part → amps it draws then."""

    name: str
    default: str
    choices: Mapping[str, Mapping[str, float]]


@dataclass(frozen=True)
class Spread:
    """Standard deviations (relative) of one specimen against the circuit as drawn."""

    current: float
    part: float
    copper: float
    contact: float
    unpowered: float
    reset: float
    refresh: float


@dataclass(frozen=True)
class StartUp:
    """When a healthy board does what after its rail stands: seconds from the event before."""

    oscillator: float
    reset: float
    software: float


@dataclass(frozen=True)
class Circuit:
    """One board type as soldered. `unpowered` is the passive resistance (Ω) of a rail far below a junction; `signals`
    is its logic, None where a file describes the supply side alone. `others` are the further supply pins of parts that
    need more than one rail, each as a part of its own."""

    name: str
    words: str
    file: str
    rails: Mapping[str, Rail]
    copper: tuple[Copper, ...]
    capacitors: Mapping[str, Capacitor]
    parts: Mapping[str, Part]
    options: Mapping[str, Option]
    unpowered: float
    spread: Spread
    start_up: StartUp
    signals: Signals | None = None
    elements: tuple[Soldered, ...] = ()
    others: Mapping[str, Part] = field(default_factory=dict)

    @property
    def reference(self) -> str:
        """The node that is called 0 V: the ground of the first rail at the inlet."""
        return next(iter(self.rails.values())).ground

    @property
    def memory_rail(self) -> str | None:
        """The rail the memory takes its main current from."""
        return next((part.rail for part in self.parts.values() if part.kind == "dram"), None)

    def drawer(self, name: str) -> Part:
        """The part, or further supply pin of a part, that draws current under `name`."""
        return self.parts[name] if name in self.parts else self.others[name]

    def points(self) -> dict[str, str]:
        """Every place that can be touched (`U1.11`), with its node."""
        return {f"{part.name}.{pin}": node for part in self.parts.values() for pin, node in part.pins.items()}

    def logic_points(self) -> dict[str, str]:
        """Every place where a signal can be touched (`U1.27`), with its net."""
        return {f"{part.name}.{pin}": net for part in self.parts.values() for pin, net in part.logic.items()}


def net_of(node: str) -> str:
    """The net a node belongs to: what stands before the first dot."""
    return node.split(".", 1)[0]
