"""Every fault of the catalogue at every place of one board, with its prior and the ways it may turn out.

A share of the catalogue is spread over the places of the board: a contact takes one leg at a time, so each of the legs
of a socketed chip is a place of its own, while a dead chip is one place. It reads nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.catalogue import (
    NONE,
    SHARE_NONE,
    SHARE_SOMETHING_ELSE,
    SOMETHING_ELSE,
    Fault,
    catalogue,
)
from autobench.diagnosis.effects import HEALTHY, Effect
from autobench.diagnosis.fault_effects import effects_of
from autobench.diagnosis.parts import CPU_ADDRESSES, CPU_DATA, Part
from autobench.documents.nets import GROUND

NO_CHIPS = frozenset({"connector", "switch", "crystal", "decoupler", "bulk capacitor", "video output"})
# Legs of a usual package: broken tracks are spread over all legs of a board, those no file tells of included.
USUAL_LEGS = {
    "cpu": 40, "video": 40, "video controller": 40, "gate array": 40, "port": 40, "rom": 28, "data buffer": 20,
}  # fmt: skip
OTHER_LEGS = 14
SUPPLY_TRACK = 0.3  # of what any other track breaks


@dataclass(frozen=True)
class Candidate:
    """One fault at one place: `part` and `net` where they matter, its prior and its ways."""

    fault: str
    part: str | None
    net: str | None
    prior: float
    by_net: bool
    effects: tuple[Effect, ...]

    @property
    def place(self) -> str:
        """What a technician would act on: the net where the net counts, else the part."""
        return (self.net if self.by_net else self.part) or self.part or self.fault


def candidates(board: BoardModel) -> tuple[Candidate, ...]:
    """Every candidate of `board`, `none` and *something else* first; priors sum to one."""
    found = [Candidate(NONE, None, None, SHARE_NONE, False, (HEALTHY,))]
    found.append(Candidate(SOMETHING_ELSE, None, None, SHARE_SOMETHING_ELSE, False, (HEALTHY,)))
    for fault in catalogue().values():
        found += candidates_of(board, fault)
    whole = sum(candidate.prior for candidate in found)
    return tuple(
        Candidate(each.fault, each.part, each.net, each.prior / whole, each.by_net, each.effects) for each in found
    )


def candidates_of(board: BoardModel, fault: Fault) -> Iterator[Candidate]:
    """One fault at every place; places where it would change nothing that is known of the board are left out."""
    places = list(places_of(board, fault))
    shares = [share for _, _, share in places]
    whole = sum(shares)
    if "legs" in fault.at:
        whole = max(whole, float(sum(leg_count(part) for part in leg_parts(board, fault))))
    for part, net, share in places:
        effects = effects_of(board, fault.name, part, net)
        if effects:
            yield Candidate(fault.name, part, net, fault.share * share / whole, fault.by_net, effects)


def places_of(board: BoardModel, fault: Fault) -> Iterator[tuple[str | None, str | None, float]]:
    """Part, net and relative weight of every place."""
    for kind in fault.at.get("kinds", ()):
        parts = parts_of(board, kind)
        for part in parts:
            weight = fault.weights.get(kind)
            share = 1.0 if weight is None else weight / len(parts)
            nets = rails_at(board, fault, part) or [net_of(board, fault, part)]
            yield from ((part.name, net, share / len(nets)) for net in nets)
    for kind in fault.at.get("outputs", ()):
        for part in parts_of(board, kind):
            driven = part.drives or part.data  # a chip with many outputs fails no more often than one with few
            yield from ((part.name, net, 1.0 / len(driven)) for net in driven)
    for word in fault.at.get("nets", ()):
        yield from ((None, net, 1.0) for net in nets_of(board, word))
    if "legs" in fault.at:
        for part in leg_parts(board, fault):
            yield from ((part.name, net, leg_share(fault, part, net)) for net in part.legs)


def leg_share(fault: Fault, part: Part, net: str) -> float:
    """Relative weight of one leg: a contact is a contact, but the copper of a supply is wide and has other ways."""
    return SUPPLY_TRACK if net in (part.rail, GROUND) and "all" in fault.at["legs"] else 1.0


def rails_at(board: BoardModel, fault: Fault, part: Part) -> list[str | None]:
    """The rails whose current passes a contact: each has a pin of its own there."""
    if fault.at.get("kinds") != ("series",):
        return []
    passing = [rail.name for rail in board.rails.values() if any(place.part == part.name for place in rail.places)]
    return [*passing] or [part.rail]


def net_of(board: BoardModel, fault: Fault, part: Part) -> str | None:
    """The net named with a part: its rail for a short, the strobe for a dead strobe, else nothing."""
    if fault.name == "chip-supply-short":
        return part.rail
    return board.cpu_nets.fetch if fault.name == "fetch-strobe-dead" else None


def parts_of(board: BoardModel, kind: str) -> list[Part]:
    """The parts a word of the catalogue means."""
    parts = list(board.parts.values())
    if kind == "chip":
        return [part for part in parts if part.rail and part.kind not in NO_CHIPS]
    if kind == "series":
        return [part for part in parts if part.kind in ("connector", "switch") and on_rail(board, part.name)]
    if kind == "clock source":
        clock = board.cpu.clock if board.cpu else None
        return [board.parts[name] for name in board.drivers.get(clock or "", ())]
    if kind == "ram array":
        return [part for part in parts if part.kind == "ram"][:1]
    return [part for part in parts if part.kind == kind]


def on_rail(board: BoardModel, part: str) -> bool:
    """Whether a rail is measured at `part`: then the rail's current passes it."""
    return any(place.part == part for rail in board.rails.values() for place in rail.places)


def nets_of(board: BoardModel, word: str) -> list[str]:
    """The nets a word of the catalogue means."""
    if word == "data":
        return list(CPU_DATA)
    if word == "address":
        return list(CPU_ADDRESSES)
    if word == "rails":
        return list(board.rails)
    return [word] if word in board.nets else []


def leg_parts(board: BoardModel, fault: Fault) -> list[Part]:
    """The parts whose legs a broken contact or track can sit at."""
    chips = [part for part in board.parts.values() if part.kind not in ("decoupler", "bulk capacitor", "switch")]
    return [part for part in chips if part.socket] if "socketed" in fault.at["legs"] else chips


def leg_count(part: Part) -> int:
    """Legs of a part: those known, or those its kind usually has."""
    return max(USUAL_LEGS.get(part.kind, OTHER_LEGS), len(part.legs))
