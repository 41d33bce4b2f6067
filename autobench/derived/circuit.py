"""A circuit made from a board file, for a board nobody has written a circuit of: good to test a round, not a board.

What comes out is a circuit file like any other; the simulator reads that and never the board file. Since the board's
own limits were its only source, it confirms no number of them.
"""

from __future__ import annotations

from typing import Any

from autobench.derived.logic import KNOWN, clock_tree, cpu_of, roles, signals_of
from autobench.derived.supply import CAPACITORS, PLUG_GROUND, Supply, middle
from autobench.documents.board import Board
from autobench.documents.parts import Part
from autobench.documents.rails import Rail

REMARK = "derived circuit: the round is tested, the board's numbers are not"
KINDS = {"ram": "dram", "address multiplexer": "mux"}  # where the simulator has another word
SPREAD = {
    "current": "2 %", "part": "3 %", "copper": "2.5 %", "contact": "5 %", "unpowered": "10 %", "reset": "10 %",
    "refresh": "8 %",
}  # fmt: skip
STATES: dict[str, dict[str, str]] = {
    "cpu": {"off": "0", "reset": "0.85", "run": "1.0"},
    "ram": {"standby": "0.15", "refreshed": "0.38", "active": "1.0"},
    "video": {"no clock": "0.7", "run": "1.0"},
    "video controller": {"no clock": "0.7", "run": "1.0"},
}
NO_CHIPS = ("connector", "switch", "crystal", "regulator", "converter", "bridge")
UNSAID_AMPS = 1e-3
SOFTWARE = "800 ms"
PASSIVE_SHARE = 0.08  # of what a rail draws, at most
MADE_UNPOWERED = 3300.0  # Ω of a rail that the board makes: no file tells
SUPPLY_PIN, GROUND_PIN = "98", "99"  # of a chip whose supply pins the board file does not tell


def derived_circuit(board: Board) -> dict[str, Any]:
    """The sections of a circuit file for `board`; raises `UsageError` where none can be made."""
    cpu_of(board)
    clock_tree(board)
    options = board.resolve_options({})
    supply = Supply(board, options)
    chips = chips_of(board, supply)
    amps = {name: board.part_amps(name, options) or UNSAID_AMPS for name in chips}
    factors = scaled(supply, chips, amps)
    for name, node in chips.items():
        supply.draw(node, amps[name] * factors[name])
    parts = {name: part_of(board, supply, name, chips.get(name)) for name in board.parts}
    for name in chips:
        parts[name]["draws"] = f"{amps[name] * factors[name]:.6f} A"
    first = next(iter(supply.rails))
    return {
        "circuit": board.board,
        "words": f"derived from the board file: {board.words}",
        "rails": {name: rail_of(supply, name) for name in supply.rails},
        "unpowered": f"{unpowered(supply.rails[first])} ohm",
        "spread": SPREAD,
        "start up": {"oscillator": "5 ms", "reset": f"{reset_seconds(board):.6f} s", "software": SOFTWARE},
        "options": {name: option_of(board, name, chips, factors) for name in board.options},
        "copper": [*supply.copper(), *supply.idle_ends()],
        "capacitors": supply.capacitors(),
        **({"elements": elements} if (elements := supply.elements()) else {}),
        "signals": signals_of(board),
        "parts": {name: part for name, part in parts.items() if board.parts[name].kind not in CAPACITORS},
    }


def chips_of(board: Board, supply: Supply) -> dict[str, str]:
    """The parts that draw current, with the node each takes it from."""
    found: dict[str, str] = {}
    numbers: dict[str, int] = {}
    for name, part in board.parts.items():
        if part.rail in supply.rails and part.kind not in NO_CHIPS and part.kind not in CAPACITORS:
            number = numbers[part.rail] = numbers.get(part.rail, -1) + 1
            found[name] = supply.node_for(name, part.rail, number)
    return found


def scaled(supply: Supply, chips: dict[str, str], amps: dict[str, float]) -> dict[str, float]:
    """Factor on each chip's current as written, so that each fed rail draws the middle of what it may."""
    drawn: dict[str, float] = {}
    for name, node in chips.items():
        rail = node.partition(".")[0]
        source, share = supply.share(rail)
        drawn[source] = drawn.get(source, 0.0) + amps[name] * share * supply.factor(rail, node)
    passive = dict.fromkeys(drawn, 0.0)
    for rail in dict.fromkeys(node.partition(".")[0] for node in chips.values()):
        source, share = supply.share(rail)
        passive[source] += share * abs(supply.rails[rail].nominal.value) / unpowered(supply.rails[rail])
    factors: dict[str, float] = {}
    for name, node in chips.items():
        source, _ = supply.share(node.partition(".")[0])
        wanted = middle(supply.board.rail_current(source, supply.options))
        factors[name] = max(wanted - passive[source], 0.05 * wanted) / max(drawn[source], UNSAID_AMPS)
    return factors


def rail_of(supply: Supply, name: str) -> dict[str, Any]:
    """One rail of the circuit."""
    rail, stretch = supply.rails[name], supply.stretches[name]
    found: dict[str, Any] = {"inlet": stretch.nodes[0], "ground": PLUG_GROUND, "nominal": f"{rail.nominal.value} V"}
    if isinstance(rail, Rail):
        return found | {"unpowered": f"{unpowered(rail)} ohm"}
    return found | {"unpowered": f"{unpowered(rail)} ohm", "fed": "no"}


def unpowered(rail: object) -> float:
    """Ω of a rail's chips far below a junction: the middle of what is usual, by octaves, but never most of what the
    rail draws."""
    if not isinstance(rail, Rail):
        return MADE_UNPOWERED
    span = rail.ohms.usual or rail.ohms.limits
    low = span.low or 20.0
    least = abs(rail.nominal.value) / (PASSIVE_SHARE * middle(rail.current[0].limits))
    return float(round(min(max((low * (span.high or 10.0 * low)) ** 0.5, least), 0.8 * (span.high or least)), 2))


def reset_seconds(board: Board) -> float:
    """Seconds of the reset: the middle of what is usual, or of what may be."""
    if board.reset is None:
        return 0.2
    return middle(board.reset.usual or board.reset.width)


def option_of(board: Board, name: str, chips: dict[str, str], factors: dict[str, float]) -> dict[str, Any]:
    """What each choice of an option makes the parts draw that it changes."""
    option = board.options[name]
    choices: dict[str, dict[str, str]] = {}
    for choice in option.choices:
        options = board.resolve_options({name: choice})
        usual = board.resolve_options({})
        choices[choice] = {
            chip: f"{board.part_amps(chip, options) * factors[chip]:.6f} A"
            for chip in chips
            if any(
                board.part_amps(chip, usual | {name: other}) != board.part_amps(chip, usual) for other in option.choices
            )
        }
    some = next(iter(chips))
    for draws in choices.values():
        if not draws:  # an option that changes no current of ours still has its choices
            draws[some] = f"{board.part_amps(some, board.resolve_options({})) * factors[some]:.6f} A"
    return {"default": option.default, "choices": choices}


def part_of(board: Board, supply: Supply, name: str, node: str | None) -> dict[str, Any]:
    """One part with its pins; one that draws does so at `node`."""
    part = board.parts[name]
    pins = power_pins(supply, name, part)
    found: dict[str, Any] = {"kind": KINDS.get(part.kind, part.kind), "words": part.words or part.kind}
    if node is not None:
        rail = node.partition(".")[0]
        own = {net: pin for pin, net in reversed(part.pin_nets)}
        supply_pin, ground_pin = own.get(rail, SUPPLY_PIN), own.get("0V", GROUND_PIN)
        pins |= {supply_pin: node, ground_pin: supply.ground_for(name)}
        found |= {"supply": supply_pin, "ground": ground_pin}
        if part.kind in STATES:
            found["states"] = dict(STATES[part.kind])  # each part its own: no aliases in the file
    if part.socket and pins:
        found["socket"] = "12 mohm"
    found["pins"] = pins
    logic = logic_pins(board, name, part, pins)
    return found | ({"logic": logic} if logic else {})


def power_pins(supply: Supply, name: str, part: Part) -> dict[str, str]:
    """The pins on a rail or on ground: at their own place, else where the rail begins or the board's ground."""
    measured = {
        point.partition(".")[2]: node for point, node in supply.points.items() if point.partition(".")[0] == name
    }
    found = dict(measured)
    for pin, net in part.pin_nets:
        if net in supply.stretches:
            nodes = supply.stretches[net].nodes
            found.setdefault(pin, nodes[0] if part.kind == "connector" else nodes[-1])
        elif net == "0V":
            found.setdefault(pin, PLUG_GROUND if part.kind == "connector" else supply.ground_for(name))
    return found


def logic_pins(board: Board, name: str, part: Part, power: dict[str, str]) -> dict[str, str]:
    """The pins with a signal, by the simulator's name for it; those measured as well as those the part tells of."""
    named = roles(board)
    told = [(pin, net) for pin, net in part.pin_nets]
    told += [(site.point.partition(".")[2], site.net) for site in board.wiring.measured_sites() if site.part == name]
    found: dict[str, str] = {}
    for pin, net in told:
        role = named.get(net)
        if role is not None and pin not in power and (role in board.clocks or KNOWN.fullmatch(role)):
            found.setdefault(pin, role)
    return found
