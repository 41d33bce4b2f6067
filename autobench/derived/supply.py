"""The supply side of a derived circuit: nodes, copper, capacitors and what makes a rail, from a board file's rails.

Figures are chosen so that a specimen in the middle shows the middle of what the board file allows; they are no
measurement of anything. Nodes are `rail.place`; loads are spread along the places behind inlet and switch.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import Any

from autobench.documents.board import Board
from autobench.documents.rails import MadeRail, Rail
from autobench.errors import UsageError
from autobench.quantity import Span

GROUND, PLUG_GROUND = "0V.in", "0V.plug"
GROUND_OHMS, CONTACT_OHMS, LEAST_OHMS = 1e-3, 5e-3, 1e-3
UNSAID_DROP = 0.01  # V from one place to the next where the file says nothing
SERIES = ("connector", "switch")
SHORTED = "0.05 ohm .. 0.5 ohm"
WORN_VOLTS = (0.25, 0.6)  # V a worn contact loses at the rail's whole current
CAPACITORS = {
    "decoupler": ("ceramic", 100e-9), "bulk capacitor": ("electrolytic", 1000e-6), "reservoir": ("reservoir", 2200e-6),
}  # fmt: skip
STEEPNESS = 1.2  # a chip's current goes with this power of its volts (common practice)
JUNCTION, LEAST_FORWARD = 0.95, 0.3  # V
EFFICIENCY = 0.75  # of a converter


@dataclass(frozen=True)
class Stretch:
    """One rail from its source outward: node of each place, and volts lost from the source to each."""

    rail: str
    places: tuple[str, ...]
    nodes: tuple[str, ...]
    drops: tuple[float, ...]

    @property
    def loaded(self) -> tuple[int, ...]:
        """Places chips may hang on: those behind inlet and switch, or the last."""
        return tuple(range(2, len(self.nodes))) or (len(self.nodes) - 1,)


@dataclass
class Supply:
    """The rails of `board` with `options` fitted (resolved); `amps` is what the parts at each node draw."""

    board: Board
    options: Mapping[str, str]
    amps: dict[str, float] = field(default_factory=dict)

    @cached_property
    def rails(self) -> dict[str, Rail | MadeRail]:
        """Every rail there is with the options, fed ones first."""
        return {**self.board.fed(self.options), **self.board.made(self.options)}

    @cached_property
    def stretches(self) -> dict[str, Stretch]:
        """Every rail as a row of nodes."""
        return {name: stretch_of(name, rail) for name, rail in self.rails.items()}

    @cached_property
    def points(self) -> dict[str, str]:
        """Node of every point of a rail or its ground."""
        found: dict[str, str] = {}
        for name, rail in self.rails.items():
            for place, node in zip(rail.places.values(), self.stretches[name].nodes, strict=True):
                found[place.point] = node
                plug = name in self.board.fed(self.options) and node.endswith(".plug")
                found.setdefault(place.ground, PLUG_GROUND if plug else f"0V.at {place.ground.replace('.', ' ')}")
        return found

    def node_for(self, part: str, rail: str, number: int) -> str:
        """The node the `number`-th part of a rail takes its current from: its own place if it has one."""
        own = [node for point, node in self.points.items() if point.partition(".")[0] == part and on(node, rail)]
        stretch = self.stretches[rail]
        return own[0] if own else stretch.nodes[stretch.loaded[number % len(stretch.loaded)]]

    def ground_for(self, part: str) -> str:
        """The ground node of a part: its own ground pin's if one is measured, else that of the board."""
        own = [node for point, node in self.points.items() if point.partition(".")[0] == part and on(node, "0V")]
        return own[0] if own else GROUND

    def draw(self, node: str, amps: float) -> None:
        """A part draws `amps` at `node`, and with it what makes the rail, where its own rail ends."""
        self.amps[node] = self.amps.get(node, 0.0) + amps
        source, share = self.share(node.partition(".")[0])
        if source != node.partition(".")[0]:
            self.draw(self.stretches[source].nodes[-1], amps * share)

    def factor(self, rail: str, node: str) -> float:
        """By how much a chip at `node` draws less than at nominal volts."""
        stretch = self.stretches[rail]
        volts = abs(self.rails[rail].nominal.value)
        return float(((volts - stretch.drops[stretch.nodes.index(node)]) / volts) ** STEEPNESS)

    def share(self, rail: str) -> tuple[str, float]:
        """The fed rail that `rail` hangs on, and the amps that one amp of `rail` takes there."""
        made = self.rails[rail]
        if not isinstance(made, MadeRail):
            return rail, 1.0
        if self.maker(rail)[1] != "converter":
            return made.source, 1.0
        source = self.rails[made.source].nominal.value
        return made.source, abs(made.nominal.value / source) / EFFICIENCY

    def maker(self, rail: str) -> tuple[str, str]:
        """Name and kind of the part that makes a rail; raises `UsageError` where the file names none."""
        for name, part in self.board.parts.items():
            makes = part.rail == rail or (part.kind == "converter" and rail in {net for _, net in part.pin_nets})
            if part.kind in ("regulator", "converter", "bridge") and makes:
                return name, part.kind
        raise UsageError(
            f"no circuit can be derived for {self.board.board}: no regulator, converter or bridge makes rail {rail}"
        )

    def copper(self) -> list[dict[str, Any]]:
        """Tracks and contacts, each as thin as its drop wants it."""
        found = [{"kind": "connector", "from": GROUND, "to": PLUG_GROUND, "ohms": ohms(GROUND_OHMS)}]
        for stretch in self.stretches.values():
            found += self.stretch_copper(stretch)
        grounds = dict.fromkeys(node for node in self.points.values() if on(node, "0V") and node != PLUG_GROUND)
        found += [{"kind": "track", "from": node, "to": GROUND, "ohms": ohms(GROUND_OHMS)} for node in grounds]
        return found

    def stretch_copper(self, stretch: Stretch) -> list[dict[str, Any]]:
        """The copper of one rail from place to place."""
        rail, found = self.rails[stretch.rail], []
        points = [place.point for place in rail.places.values()]
        whole = sum(self.amps.get(node, 0.0) for node in stretch.nodes) or 0.1
        for number, (begin, end) in enumerate(pairwise(stretch.nodes), start=1):
            flows = sum(self.amps.get(node, 0.0) for node in stretch.nodes[number:]) or 0.01
            value = max((stretch.drops[number] - stretch.drops[number - 1]) / flows, LEAST_OHMS)
            part = points[number].partition(".")[0]
            line: dict[str, Any] = {"kind": "track", "from": begin, "to": end, "ohms": ohms(value)}
            known = self.board.parts.get(part)
            if known is not None and known.kind in SERIES:
                line |= {"kind": known.kind, "part": part, "worn": worn(whole)}
            elif number == 1 and begin.endswith(".plug"):
                inlet = points[0].partition(".")[0]
                between = f"{stretch.rail}.in"
                found.append(
                    {"kind": "connector", "part": inlet, "from": begin, "to": between, "ohms": ohms(CONTACT_OHMS)}
                    | {"worn": worn(whole)}
                )
                line["from"] = between
            found.append(line)
        if len(stretch.nodes) == 1:  # nothing else reaches it
            found.append({"kind": "track", "from": stretch.nodes[0], "to": f"{stretch.rail}.end", "ohms": "1 mohm"})
        return found

    def capacitors(self) -> dict[str, dict[str, Any]]:
        """Every capacitor, beside the chips of its rail; reservoirs and bulk ones stand where the rail begins."""
        found: dict[str, dict[str, Any]] = {}
        for name, part in self.board.parts.items():
            if part.kind not in CAPACITORS or part.rail not in self.stretches:
                continue
            kind, value = CAPACITORS[part.kind]
            stretch = self.stretches[part.rail]
            beside = stretch.loaded[len(found) % len(stretch.loaded)]
            at = stretch.nodes[beside if part.kind == "decoupler" else min(1, len(stretch.nodes) - 1)]
            found[name] = {"kind": kind, "from": at, "to": GROUND, "farads": f"{value!r} F", "shorted": SHORTED}
        return found

    def elements(self) -> list[dict[str, Any]]:
        """Regulators, converters and bridges, with figures that give each made rail its nominal volts."""
        found: dict[str, dict[str, Any]] = {}
        bridges: list[dict[str, Any]] = []
        for rail, made in self.rails.items():
            if isinstance(made, MadeRail):
                part, kind = self.maker(rail)
                begin, end = self.stretches[made.source].nodes[-1], self.stretches[rail].nodes[0]
                if kind == "bridge":
                    volts = abs(self.rails[made.source].nominal.value) - made.nominal.value
                    bridges += junctions(part, begin, end, volts)
                else:
                    fill_element(found.setdefault(part, {"kind": kind, "part": part}), kind, begin, end, made)
        for line in found.values():
            if line["kind"] == "converter":
                for end, key, usual in (("plus", "high", "12 V"), ("minus", "low", "-5 V")):
                    line.setdefault(end, f"{line['part']}.{end} unused")
                    line.setdefault(key, usual)
        return [*found.values(), *bridges]

    def idle_ends(self) -> list[dict[str, Any]]:
        """What keeps the unused end of a converter from hanging in the air."""
        ends = [line[end] for line in self.elements() if line["kind"] == "converter" for end in ("plus", "minus")]
        return [
            {"kind": "track", "from": end, "to": GROUND, "ohms": "1 Mohm"} for end in ends if end.endswith(" unused")
        ]


def fill_element(line: dict[str, Any], kind: str, begin: str, end: str, made: MadeRail) -> None:
    """The nodes and figures of what makes a rail."""
    volts = made.nominal.value
    if kind == "regulator":
        line |= {"in": begin, "out": end, "ground": GROUND, "volts": f"{volts} V", "limit": "1.5 A", "dropout": "1.8 V"}
    else:
        line |= {"in": begin, "ground": GROUND, "ripple": "100 mV", "rate": "55 kHz"}
        line |= {"plus": end, "high": f"{volts} V"} if volts > 0 else {"minus": end, "low": f"{volts} V"}


def junctions(part: str, begin: str, end: str, volts: float) -> list[dict[str, Any]]:
    """A bridge fed with direct current: as many junctions in a row as the rail lies below what feeds it."""
    count = max(1, math.ceil(volts / JUNCTION))
    nodes = [begin, *(f"{part}.between {number}" for number in range(1, count)), end]
    figures = {"forward": f"{max(volts, LEAST_FORWARD) / count:.3f} V", "rated": "1 A"}
    return [{"kind": "diode", "part": part, "from": one, "to": other, **figures} for one, other in pairwise(nodes)]


def stretch_of(name: str, rail: Rail | MadeRail) -> Stretch:
    """A rail's nodes, and what is lost on the way: what is usual, half of what may be lost, or a little."""
    first, nominal = next(iter(rail.places)), abs(rail.nominal.value)
    lost: list[float | None] = [0.0]
    for place, entry in list(rail.places.items())[1:]:
        allowed = next((drop for drop in rail.drops if (drop.start, drop.end) == (first, place)), None)
        if entry.usual is not None:
            lost.append(nominal - abs(middle(entry.usual)))
        elif allowed is not None:
            lost.append(abs(middle(allowed.usual)) if allowed.usual is not None else (allowed.limits.high or 0.0) / 2)
        else:
            lost.append(None)
    source = "source" if isinstance(rail, MadeRail) else "plug"
    nodes = (f"{name}.{source}", *(f"{name}.{place}" for place in list(rail.places)[1:]))
    return Stretch(name, tuple(rail.places), nodes, tuple(ascending(lost)))


def ascending(lost: list[float | None]) -> list[float]:
    """Drops from place to place, those nobody tells of put between their neighbours; never less than before."""
    found: list[float] = []
    for number, drop in enumerate(lost):
        before = found[-1] if found else 0.0
        if drop is None:
            after = next(((place, value) for place, value in enumerate(lost) if place > number and value), None)
            steps = 1 if after is None else after[0] - number + 1
            drop = before + (UNSAID_DROP if after is None else (after[1] - before) / steps)
        found.append(max(drop, before))
    return found


def middle(span: Span) -> float:
    """The middle of a span, or the end it has."""
    ends = [end for end in (span.low, span.high) if end is not None]
    return sum(ends) / len(ends) if ends else 0.0


def on(node: str, net: str) -> bool:
    """Whether a node belongs to a net."""
    return node.partition(".")[0] == net


def ohms(value: float) -> str:
    """A resistance as a circuit file has it."""
    return f"{value:.6f} ohm"


def worn(amps: float) -> str:
    """What a bad contact in the rail's whole current comes to."""
    low, high = (volts / max(amps, 0.05) for volts in WORN_VOLTS)
    return f"{low:.3f} ohm .. {high:.3f} ohm"
