"""Bench faults: what is wrong with the bench and not with the board. Each changes the wiring or pulls a plug."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from simulated_instruments.benches.wiring import Wiring
from simulated_instruments.board.faults import FaultPlace

if TYPE_CHECKING:  # a list of faults needs no arithmetic
    from simulated_instruments.board.tolerance import Tolerance

UNPLUGGED, REVERSED, STUCK = "instrument-unplugged", "leads-reversed", "relay-stuck"


@dataclass
class BenchDamage:
    """What the bench faults of one bench come to."""

    reversed_leads: bool = False
    stuck_open: set[int] = field(default_factory=set)
    stuck_closed: set[int] = field(default_factory=set)
    unplugged: set[str] = field(default_factory=set)


def bench_fault_places(wiring: Wiring, board: str, supplied: Collection[str]) -> list[FaultPlace]:
    """Every bench fault at every place, in the catalogue's order; `supplied` are the points on supply nodes, which are
    what the meter's relays are for."""
    supply = wiring.supply.instrument
    places = [
        FaultPlace(REVERSED, supply, feed.rail, "bench", f"the leads from the {supply} to the inlet are swapped")
        for feed in wiring.supply.feeds[:1]
    ]
    points = {position: point for point, position in wiring.fixtures.get(board, {}).items()}
    places += [
        FaultPlace(STUCK, str(channel), None, "bench", f"relay {channel} (to {points[channel % 100]}) no longer moves")
        for channel in wiring.channels(board)
        if points[channel % 100] in supplied
    ]
    # The meter first: it is what the fault means when no instrument is named.
    names = sorted(wiring.instruments, key=lambda name: name != wiring.routes.meter)
    return places + [
        FaultPlace(UNPLUGGED, name, None, "bench", f"{name}: no answer, as if unplugged") for name in names
    ]


def damage_bench(damage: BenchDamage, place: FaultPlace, tolerance: Tolerance) -> None:
    """Do to the bench what `place` says; the seed picks whether a relay is stuck open or welded shut."""
    if place.fault == REVERSED:
        damage.reversed_leads = True
    elif place.fault == UNPLUGGED:
        damage.unplugged.add(place.part)
    elif tolerance.choice(f"stuck {place.part}", ("open", "closed")) == "open":
        damage.stuck_open.add(int(place.part))
    else:
        damage.stuck_closed.add(int(place.part))
