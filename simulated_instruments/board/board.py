"""One board in time: the specimen's copper, capacitors and chips, with whatever is wired to it, solved together.

It knows nodes and seconds, no instrument. The wiring hands in its own resistors and sources when the board is built,
so that board and bench are one network.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from simulated_instruments.board.activity import Activity
from simulated_instruments.board.assembly import Assembly
from simulated_instruments.board.bias import BiasWatch
from simulated_instruments.board.circuit import Part
from simulated_instruments.board.consequences import settle
from simulated_instruments.board.loads import Array
from simulated_instruments.board.local_heat import LocalHeat
from simulated_instruments.board.network import Load, Network, TwoEnded
from simulated_instruments.board.secondary import kill_bit
from simulated_instruments.board.sources import LimitedSource
from simulated_instruments.board.states import BoardState, PartStates
from simulated_instruments.board.transient import Moment, Transient
from simulated_instruments.board.warm_chips import WarmChips

# What a good capacitor and a clean board leak.
LEAKAGE = 20e6  # ohm


class Board:
    """A specimen under the clock. Times are seconds of the shared clock, never earlier than the last change."""

    def __init__(
        self, assembly: Assembly, wires: Sequence[TwoEnded], sources: Sequence[LimitedSource], start: float
    ) -> None:
        self.assembly, self.circuit = assembly, assembly.circuit
        self.activity = Activity(assembly) if assembly.circuit.signals else None
        if self.activity:
            settle(assembly, self.activity)
        self.states = PartStates(assembly)
        self._bias = BiasWatch(assembly)
        self.network = Network(
            reference=self.circuit.reference,
            resistors=[*copper(assembly), *passive(assembly), *leaks(assembly), *wires],
            capacitors=[
                TwoEnded(part.name, part.plus, part.minus, assembly.farads[part.name])
                for part in self.circuit.capacitors.values()
                if assembly.farads[part.name] > 0.0
            ],
            loads=loads(assembly),
            sources=sources,
            elements=assembly.elements,
        )
        self.local = LocalHeat()
        self._part_of = {element.name: element.part for element in self.circuit.copper}
        self._weak = WarmChips(assembly) if self.activity and assembly.fails_warm else None
        self._open = frozenset[str]()
        self.most_volts: dict[str, float] = dict.fromkeys(self.circuit.rails, 0.0)
        self.transient = Transient(self.network, self, start)

    # What the transient asks of the chips.

    def scales(self, time: float) -> Array:
        """Factor on every load's current at `time`."""
        return self.states.factors(time)

    def next_change(self, time: float) -> float:
        """When a part next changes its state by itself."""
        joints = (joint.next_change(time) for joint in self.assembly.joints)
        return min(self.states.next_change(time), self._bias.next_change(time), *joints, math.inf)

    def passed(self, begin: Moment, end: Moment) -> bool:
        """Time passed; True if a part changed its state."""
        self._note_most(end)
        before, after = self.network.across_loads(begin.volts), self.network.across_loads(end.volts)
        changed = self.states.passed(begin.time, end.time, before, after)
        harmed = self._harm(self._bias.passed(end.time - begin.time, end.volts, self.network.index))
        self._warm_chips(end.time)
        return self._move_joints(end.time) or changed or harmed

    def _warm_chips(self, time: float) -> None:
        """Chips that fail when warm fail, or work again: the logic is then that of another board."""
        if self._weak is not None and self.activity is not None:
            self.activity = self._weak.activity(self.activity, lambda part: self.degrees(part, time))

    def degrees(self, part: str | None, time: float) -> float:
        """How much warmer (°C) a part is at `time` than when the board was cold."""
        return self.states.warmth(time) + self.local.degrees(part, time)

    def _harm(self, died: Sequence[Part]) -> bool:
        """Chips that have just died; True if any did. From now on the logic is that of a board without them."""
        for part in died:
            kill_bit(self.assembly, part)
        if died and self.activity:
            self.activity, self._weak = Activity(self.assembly), None
            settle(self.assembly, self.activity)
        return bool(died)

    def _move_joints(self, time: float) -> bool:
        """Open and close the joints that come and go; True if one did."""
        if not self.assembly.joints:
            return False
        bad = {
            joint.element: joint.ohms
            for joint in self.assembly.joints
            if joint.is_open(time, self.degrees(self._part_of.get(joint.element), time))
        }
        if bad.keys() == self._open:
            return False
        good = {name: self.assembly.ohms[name] for name in self._open if name not in bad}
        self.network.set_ohms({**good, **bad})
        self._open = frozenset(bad)
        return True

    # What the world asks of the board.

    def moment(self, time: float) -> Moment:
        """Volts of all nodes and currents of all sources at `time`."""
        return self.transient.at(time)

    def volts(self, time: float, plus: str, minus: str) -> float:
        """Volts from node `plus` to node `minus` at `time`."""
        found = self.transient.at(time).volts
        return float(found[self.network.index[plus]] - found[self.network.index[minus]])

    def amps(self, time: float, source: LimitedSource) -> float:
        """Current out of `source` at `time`."""
        return float(self.transient.at(time).amps[self.network.sources.index(source)])

    def state(self, time: float) -> BoardState:
        """What the parts are doing at `time`."""
        moment = self.transient.at(time)
        return self.states.at(time, self.network.across_loads(moment.volts))

    def change(self, time: float, ohms: Mapping[str, float] | None = None) -> None:
        """Close the grid at `time` because something outside changes there; call `changed` when it has."""
        self.transient.cut(time)
        if ohms:
            self.network.set_ohms(ohms)

    def changed(self) -> None:
        """The change announced by `change` is made."""
        self.transient.restart()
        self._note_most(self.transient.last)

    def most(self, time: float) -> dict[str, float]:
        """The highest volts ever at each rail's inlet up to `time`."""
        self._note_most(self.transient.at(time))
        return dict(self.most_volts)

    def _note_most(self, moment: Moment) -> None:
        index = self.network.index
        for rail in self.circuit.rails.values():
            volts = float(moment.volts[index[rail.inlet]] - moment.volts[index[rail.ground]])
            self.most_volts[rail.name] = max(self.most_volts[rail.name], volts)


def copper(assembly: Assembly) -> list[TwoEnded]:
    """Tracks, joints and contacts."""
    return [TwoEnded(part.name, part.plus, part.minus, assembly.ohms[part.name]) for part in assembly.circuit.copper]


def passive(assembly: Assembly) -> list[TwoEnded]:
    """What a rail's chips conduct below a junction."""
    return [
        TwoEnded(f"unpowered {name}", *supply_nodes(assembly, name), 1.0 / siemens)
        for name, siemens in assembly.siemens.items()
    ]


def leaks(assembly: Assembly) -> list[TwoEnded]:
    """Across each capacitor: its leakage, or the short it has become."""
    return [
        TwoEnded(f"leakage {part.name}", part.plus, part.minus, assembly.shorts.get(part.name, LEAKAGE))
        for part in assembly.circuit.capacitors.values()
    ]


def loads(assembly: Assembly) -> list[Load]:
    """What each chip draws, in the order of `drawing(circuit)`."""
    rails = assembly.circuit.rails
    return [
        Load(name, *supply_nodes(assembly, name), amps, abs(rails[assembly.circuit.drawer(name).rail or ""].nominal))
        for name, amps in assembly.amps.items()
    ]


def supply_nodes(assembly: Assembly, name: str) -> tuple[str, str]:
    """The nodes of the supply and ground pins of the part `name`, the higher one first."""
    part = assembly.circuit.drawer(name)
    ends = part.pins[part.supply or ""], part.pins[part.ground or ""]
    return ends[::-1] if assembly.circuit.rails[part.rail or ""].nominal < 0.0 else ends
