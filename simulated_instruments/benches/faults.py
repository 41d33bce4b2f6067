"""Bench faults: what is wrong with the bench and not with the board. Each changes the wiring or pulls a plug."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

from simulated_instruments.benches.touches import neighbours
from simulated_instruments.benches.wiring import Wiring
from simulated_instruments.board.circuit import Circuit
from simulated_instruments.board.faults import FaultPlace

if TYPE_CHECKING:  # a list of faults needs no arithmetic
    from simulated_instruments.board.done import DoneFault
    from simulated_instruments.board.tolerance import Tolerance

TIMES_ONE = 1.0  # what a probe divides by whose switch was knocked
SLOW_SCALE = 0.05  # s a division
LOW_RANGE_VOLTS = 1.0
SHORT_CYCLES = 0.02  # line cycles
# Mains hum (V, peak) between the meter's leads where they run beside a transformer, and between board and scope where
# no clip joins them. Whole line cycles of integration take the first away.
LEADS_HUM, LOOSE_HUM = (0.05, 0.2), (0.3, 1.0)


GROUND_LEAD = (0.25, 0.45)  # m of a ground lead with a clip at its end
# What a supply's current limit is, in its low range, of what it is set to.
LOW_LIMIT = (0.2, 0.5)


class BenchFault(StrEnum):
    """The names of the bench faults, in the catalogue's order."""

    LOW_LIMIT = "limit-too-low"
    REVERSED = "leads-reversed"
    WRONG_FACTOR = "probe-factor-wrong"
    LONG_GROUND = "long-ground-lead"
    NO_GROUND = "ground-clip-off"
    NOT_TOUCHING = "probe-not-touching"
    WRONG_PIN = "wrong-pin"
    STUCK = "relay-stuck"
    SLOW_TIME_BASE = "timebase-too-slow"
    NO_TRIGGER = "trigger-never"
    LEFT_AC = "coupling-left-ac"
    LOW_RANGE = "range-fixed-low"
    SHORT_INTEGRATION = "integration-too-short"
    LATCHED = "protection-latched"
    WRONG_BOARD = "wrong-board-file"
    UNPLUGGED = "instrument-unplugged"


@dataclass
class BenchDamage:
    """What the bench faults of one bench come to. `not_touching` are points that a pin or tip does not reach,
    `wrong_pins` gives the point that is touched instead of another; `limit_share` is what the supply's current limits
    are of what they are set to; `dividers` has what probes divide by, `loose_hum` the hum (V, peak) of probes without
    ground, `long_grounds` the ground leads (m) of probes that have long ones, all by channel; `held_*` what a front
    panel holds; `missing_points` are those that only the declared board has."""

    reversed_leads: bool = False
    limit_share: float = 1.0
    not_touching: set[str] = field(default_factory=set)
    wrong_pins: dict[str, str] = field(default_factory=dict)
    stuck_open: set[int] = field(default_factory=set)
    stuck_closed: set[int] = field(default_factory=set)
    unplugged: set[str] = field(default_factory=set)
    dividers: dict[int, float] = field(default_factory=dict)
    loose_hum: dict[int, float] = field(default_factory=dict)
    long_grounds: dict[int, float] = field(default_factory=dict)
    held_time_scale: float | None = None
    held_coupling: str | None = None
    never_triggers: bool = False
    held_range: float | None = None
    held_cycles: float | None = None
    leads_hum: float = 0.0
    latched: bool = False
    missing_points: frozenset[str] = frozenset()


def bench_fault_places(wiring: Wiring, board: str, circuit: Circuit) -> list[FaultPlace]:
    """Every bench fault at every place, in the catalogue's order."""
    return [
        *lead_places(wiring),
        *probe_places(wiring),
        *contact_places(wiring, board, circuit),
        *relay_places(wiring, board, circuit),
        *panel_places(wiring),
        # The meter first: it is what the fault means when no instrument is named.
        *(
            FaultPlace(BenchFault.UNPLUGGED, name, None, "bench", f"{name}: no answer, as if unplugged")
            for name in sorted(wiring.instruments, key=lambda name: name != wiring.meter)
        ),
    ]


def lead_places(wiring: Wiring) -> list[FaultPlace]:
    """The supply and its leads."""
    supply = wiring.supply.instrument or "supply"
    low = f"{supply}: its switch stands at the low current range, so that it limits far below what it is set to"
    return [
        FaultPlace(BenchFault.LOW_LIMIT, supply, None, "bench", low),
        *(
            FaultPlace(
                BenchFault.REVERSED, supply, feed.rail, "bench", f"the leads from the {supply} to the inlet are swapped"
            )
            for feed in wiring.supply.feeds[:1]
        ),
    ]


def probe_places(wiring: Wiring) -> list[FaultPlace]:
    """The scope's probes, by their inputs."""
    kinds = {
        BenchFault.WRONG_FACTOR: "the switch on the probe of {} stands at x1, the scope reckons with x10",
        BenchFault.LONG_GROUND: "the probe of {} is on a long ground lead instead of the short spring beside its tip",
        BenchFault.NO_GROUND: "the ground clip of the probe of {} is off",
    }
    return [
        FaultPlace(fault, name, None, "bench", words.format(name))
        for fault, words in kinds.items()
        for name in wiring.scope_inputs
    ]


def contact_places(wiring: Wiring, board: str, circuit: Circuit) -> list[FaultPlace]:
    """The points that pins or tips are brought to: those of the plate, or all where a hand brings them."""
    signals = circuit.logic_points()
    every = circuit.points() | signals
    if wiring.routes is None:
        missed, beside, points = "the tip does not get through to", "the tip", list(every)
    else:
        missed, beside = "the pogo pin does not reach", "the pogo pin"
        points = [point for point in wiring.fixtures.get(board, {}) if point in every]
    return [
        *(
            FaultPlace(
                BenchFault.NOT_TOUCHING, point, signals.get(point), "bench", f"{missed} {point}: an open circuit there"
            )
            for point in points
        ),
        *(
            FaultPlace(
                BenchFault.WRONG_PIN,
                point,
                signals.get(point),
                "bench",
                f"{beside} meant for {point} sits one pin beside",
            )
            for point in points
            if neighbours(point, every)
        ),
    ]


def relay_places(wiring: Wiring, board: str, circuit: Circuit) -> list[FaultPlace]:
    """The meter's relays that are of use: its high side to points on rails, its low side to points on 0 V."""
    points = {position: point for point, position in wiring.fixtures.get(board, {}).items()}
    nodes = circuit.points()
    low = wiring.routes.low if wiring.routes is not None else 0
    found = []
    for channel in wiring.channels(board):
        slot, position = divmod(channel, 100)
        node = nodes.get(points[position])
        if node is None:
            continue
        if any(node.startswith(f"{rail}.") for rail in circuit.rails) != (slot == low):
            words = f"relay {channel} (to {points[position]}) no longer moves"
            found.append(FaultPlace(BenchFault.STUCK, str(channel), None, "bench", words))
    return found


def panel_places(wiring: Wiring) -> list[FaultPlace]:
    """What somebody has left set on the front of an instrument."""
    meter, supply = wiring.meter, wiring.supply.instrument
    # Only fronts that can be left so.
    holding = {name for name, place in wiring.instruments.items() if place.device in ("PS-3", "M-1", "O-1b")}
    kinds = [
        (BenchFault.SLOW_TIME_BASE, "scope", "the time base is held at 50 ms a division on the front panel"),
        (BenchFault.NO_TRIGGER, "scope", "the trigger sees no edge"),
        (BenchFault.LEFT_AC, "scope", "all inputs are held at AC coupling on the front panel"),
        (BenchFault.LOW_RANGE, meter, "the volts range is held at 1 V on the front panel"),
        (
            BenchFault.SHORT_INTEGRATION,
            meter,
            "the integration is held at 0.02 line cycles, beside leads that pick up hum",
        ),
        (BenchFault.LATCHED, supply, "an over-voltage trip from before is still latched"),
    ]
    return [
        FaultPlace(fault, name, None, "bench", f"{name}: {words}")
        for fault, name, words in kinds
        if name is not None and (name in holding or (fault is BenchFault.NO_TRIGGER and name in wiring.instruments))
    ]


def damage_bench(damage: BenchDamage, place: FaultPlace, circuit: Circuit, tolerance: Tolerance) -> None:
    """Do to the bench what `place` says; the seed picks what it leaves open: stuck open or welded shut, which neighbour
    is touched, how strong hum is."""
    part = place.part
    match place.fault:
        case BenchFault.LOW_LIMIT:
            damage.limit_share = tolerance.uniform("low limit", *LOW_LIMIT)
        case BenchFault.REVERSED:
            damage.reversed_leads = True
        case BenchFault.WRONG_FACTOR:
            damage.dividers[int(part.split()[-1])] = TIMES_ONE
        case BenchFault.LONG_GROUND:
            damage.long_grounds[int(part.split()[-1])] = tolerance.uniform(f"lead {part}", *GROUND_LEAD)
        case BenchFault.NO_GROUND:
            damage.loose_hum[int(part.split()[-1])] = tolerance.uniform(f"loose {part}", *LOOSE_HUM)
        case BenchFault.NOT_TOUCHING:
            damage.not_touching.add(part)
        case BenchFault.WRONG_PIN:
            beside = neighbours(part, circuit.points() | circuit.logic_points())
            damage.wrong_pins[part] = tolerance.choice(f"beside {part}", beside)
        case BenchFault.STUCK:
            way = tolerance.choice(f"stuck {part}", ("open", "closed"))
            (damage.stuck_open if way == "open" else damage.stuck_closed).add(int(part))
        case BenchFault.SLOW_TIME_BASE:
            damage.held_time_scale = SLOW_SCALE
        case BenchFault.NO_TRIGGER:
            damage.never_triggers = True
        case BenchFault.LEFT_AC:
            damage.held_coupling = "AC"
        case BenchFault.LOW_RANGE:
            damage.held_range = LOW_RANGE_VOLTS
        case BenchFault.SHORT_INTEGRATION:
            damage.held_cycles = SHORT_CYCLES
            damage.leads_hum = tolerance.uniform("leads hum", *LEADS_HUM)
        case BenchFault.LATCHED:
            damage.latched = True
        case BenchFault.WRONG_BOARD:
            pass  # what is on the bench is another circuit, and nothing on the bench is broken
        case _:
            damage.unplugged.add(part)


def damaged(
    picked: Sequence[FaultPlace], circuit: Circuit, tolerance: Tolerance
) -> tuple[BenchDamage, list[DoneFault]]:
    """What is wrong with the bench, and as which faults."""
    from simulated_instruments.board.done import DoneFault

    found, done = BenchDamage(), []
    for place in picked:
        if place.kind != "board":
            damage_bench(found, place, circuit, tolerance)
            done.append(DoneFault(place.fault, place.part, (place.net,) if place.net else ()))
    return found, done
