"""Bench faults: what is wrong with the bench and not with the board. Each changes the wiring or pulls a plug."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from simulated_instruments.benches.touches import neighbours
from simulated_instruments.benches.wiring import Wiring
from simulated_instruments.board.circuit import Circuit
from simulated_instruments.board.faults import FaultPlace

if TYPE_CHECKING:  # a list of faults needs no arithmetic
    from simulated_instruments.board.tolerance import Tolerance

UNPLUGGED, REVERSED, STUCK = "instrument-unplugged", "leads-reversed", "relay-stuck"
NOT_TOUCHING, WRONG_PIN = "probe-not-touching", "wrong-pin"


@dataclass
class BenchDamage:
    """What the bench faults of one bench come to. `not_touching` are points that a pin or tip does not reach,
    `wrong_pins` gives the point that is touched instead of another."""

    reversed_leads: bool = False
    not_touching: set[str] = field(default_factory=set)
    wrong_pins: dict[str, str] = field(default_factory=dict)
    stuck_open: set[int] = field(default_factory=set)
    stuck_closed: set[int] = field(default_factory=set)
    unplugged: set[str] = field(default_factory=set)


def bench_fault_places(wiring: Wiring, board: str, circuit: Circuit) -> list[FaultPlace]:
    """Every bench fault at every place, in the catalogue's order."""
    supply = wiring.supply.instrument or "supply"
    places = [
        FaultPlace(REVERSED, supply, feed.rail, "bench", f"the leads from the {supply} to the inlet are swapped")
        for feed in wiring.supply.feeds[:1]
    ]
    supplied, signals = circuit.points(), circuit.logic_points()
    every = supplied | signals
    positions = wiring.fixtures.get(board, {})
    within_reach = [point for point in positions if point in every] if wiring.hand is None else list(every)
    by_hand = wiring.hand is not None
    miss, neighbour = ("the tip does not get through to", "the tip") if by_hand else ("no contact at", "the pogo pin")
    places += [
        FaultPlace(NOT_TOUCHING, point, signals.get(point), "bench", f"{miss} {point}: nothing is connected there")
        for point in within_reach
    ]
    places += [
        FaultPlace(WRONG_PIN, point, signals.get(point), "bench", f"{neighbour} meant for {point} is on the pin beside")
        for point in within_reach
        if neighbours(point, every)
    ]
    points = {position: point for point, position in positions.items()}
    # The meter's relays are for the points on supply nodes.
    places += [
        FaultPlace(STUCK, str(channel), None, "bench", f"relay {channel} (to {points[channel % 100]}) no longer moves")
        for channel in wiring.channels(board)
        if points[channel % 100] in supplied
    ]
    # The meter first: it is what the fault means when no instrument is named.
    names = sorted(wiring.instruments, key=lambda name: name != wiring.meter)
    return places + [
        FaultPlace(UNPLUGGED, name, None, "bench", f"{name}: no answer, as if unplugged") for name in names
    ]


def damage_bench(damage: BenchDamage, place: FaultPlace, circuit: Circuit, tolerance: Tolerance) -> None:
    """Do to the bench what `place` says; the seed picks whether a relay is stuck open or welded shut, and which
    neighbour is touched."""
    part = place.part
    if place.fault == REVERSED:
        damage.reversed_leads = True
    elif place.fault == NOT_TOUCHING:
        damage.not_touching.add(part)
    elif place.fault == WRONG_PIN:
        beside = neighbours(part, circuit.points() | circuit.logic_points())
        damage.wrong_pins[part] = tolerance.choice(f"beside {part}", beside)
    elif place.fault == UNPLUGGED:
        damage.unplugged.add(part)
    elif tolerance.choice(f"stuck {part}", ("open", "closed")) == "open":
        damage.stuck_open.add(int(part))
    else:
        damage.stuck_closed.add(int(part))
