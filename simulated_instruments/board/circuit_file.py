"""Circuit files (`circuits/*.yaml`) into `Circuit`. It reads what is soldered, never what a designer expects of it."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from autobench.errors import FileError, Mistake
from simulated_instruments.board.circuit import (
    Capacitor,
    Circuit,
    Copper,
    Option,
    Part,
    Rail,
    Soldered,
    Spread,
    StartUp,
    net_of,
)
from simulated_instruments.board.document import Entry, read_entries
from simulated_instruments.board.reset import timer_width
from simulated_instruments.board.signals_file import read_signals

FIELDS = (
    "circuit", "words", "rails", "unpowered", "spread", "start up", "options", "copper", "capacitors", "elements",
    "signals", "parts",
)  # fmt: skip
CIRCUITS = Path(__file__).parent / "circuits"


def list_circuits() -> list[str]:
    """Names of the circuits that come with the simulator."""
    return sorted(path.stem for path in CIRCUITS.glob("*.yaml"))


def circuit_path(name: str) -> Path:
    """The file of the circuit that comes with the simulator under `name`."""
    return CIRCUITS / f"{name}.yaml"


def read_circuit(path: Path) -> Circuit:
    """The circuit in the file at `path`; raises `FileError`. Unchanged files are read once."""
    try:
        status = path.stat()
    except OSError as error:
        raise FileError([Mistake(str(path), 0, 0, f"cannot be read: {error.strerror}")]) from error
    return read_once(path, status.st_mtime_ns, status.st_size)


@lru_cache(maxsize=32)
def read_once(path: Path, changed: int, size: int) -> Circuit:  # noqa: ARG001 (both are part of the key)
    """`read_circuit` for one state of the file."""
    top = read_entries(path)
    top.only(*FIELDS)
    rails = {name: read_rail(name, entry) for name, entry in top["rails"].pairs()}
    if not rails:
        raise top["rails"].wrong("at least one rail is wanted")
    copper = [read_copper(entry) for entry in top["copper"].items]
    parts: dict[str, Part] = {}
    others: dict[str, Part] = {}
    for name, entry in top["parts"].pairs():
        parts[name], contacts = read_part(name, entry, rails)
        copper += contacts
        others |= read_others(parts[name], entry, rails)
    elements = top.get("elements")
    circuit = Circuit(
        name=top["circuit"].words(),
        words=top["words"].words(),
        file=str(path),
        rails=rails,
        copper=tuple(copper),
        capacitors={name: read_capacitor(name, entry) for name, entry in top["capacitors"].pairs()},
        parts=parts,
        options={name: read_option(name, entry, parts) for name, entry in top["options"].pairs()},
        unpowered=top["unpowered"].number("ohm"),
        spread=read_spread(top["spread"]),
        start_up=read_start_up(top["start up"]),
        signals=read_signals(signals) if (signals := top.get("signals")) else None,
        elements=tuple(read_element(entry) for entry in elements.items) if elements else (),
        others=others,
    )
    check(circuit, top)
    return circuit


def read_rail(name: str, entry: Entry) -> Rail:
    """`+5V: {inlet: NODE, ground: NODE, nominal: 5 V}`, perhaps with `unpowered: 3.3 kohm`."""
    entry.only("inlet", "ground", "nominal", "unpowered", "fed")
    own = entry.get("unpowered")
    if own and not own.number("ohm") > 0.0:
        raise own.wrong("must be more than 0 Ω")
    nominal, fed = entry["nominal"].number("V"), entry.get("fed")
    inlets: dict[str, str] | None = {}
    if fed:
        inlets = None if fed.text == "no" else {option: choice.words() for option, choice in fed.pairs()}
    ohms = own.number("ohm") if own else None
    return Rail(name, entry["inlet"].words(), entry["ground"].words(), nominal, ohms, inlets)


# What each kind of element is joined to, and its figures with their units.
ELEMENTS = {
    "diode": (("from", "to"), {"forward": "V", "rated": "A"}),
    "regulator": (("in", "out", "ground"), {"volts": "V", "limit": "A", "dropout": "V"}),
    "converter": (("in", "ground", "plus", "minus"), {"high": "V", "low": "V", "ripple": "V", "rate": "Hz"}),
}


def read_element(entry: Entry) -> Soldered:
    """One line of `elements:`: a diode, a regulator or a converter."""
    kind = entry["kind"]
    if kind.words() not in ELEMENTS:
        raise kind.wrong(f"'{kind.text}' is no element; they are {', '.join(ELEMENTS)}")
    nodes, figures = ELEMENTS[kind.words()]
    entry.only("kind", "part", "when", *nodes, *figures)
    when = entry.get("when")
    return Soldered(
        name=f"{kind.words()} {entry['part'].words()} {entry[nodes[0]].words()} {entry[nodes[1]].words()}",
        kind=kind.words(),
        part=entry["part"].words(),
        nodes={node: entry[node].words() for node in nodes},
        figures={name: entry[name].number(unit) for name, unit in figures.items()},
        when={option: choice.words() for option, choice in when.pairs()} if when else {},
    )


def read_others(part: Part, entry: Entry, rails: dict[str, Rail]) -> dict[str, Part]:
    """`also: {9: 1 mA}`: the further supply pins of a part, with what they draw."""
    also = entry.get("also")
    found: dict[str, Part] = {}
    for pin, amps in also.pairs() if also else ():
        if pin not in part.pins:
            raise amps.wrong(f"'{pin}' is not one of the pins {', '.join(part.pins)}")
        rail = net_of(entry["pins"][pin].words())
        if rail not in rails:
            raise amps.wrong(f"it is on '{rail}', which is not a rail; rails are {', '.join(rails)}")
        name = f"{part.name} pin {pin}"
        found[name] = replace(
            part, name=name, kind=f"pin of {part.kind}", supply=pin, draws=amps.number("A"), rail=rail, logic={}
        )
    return found


def read_copper(entry: Entry) -> Copper:
    """One line of `copper:`."""
    entry.only("kind", "part", "from", "to", "ohms", "worn")
    plus, minus = entry["from"].words(), entry["to"].words()
    part, worn = entry.get("part"), entry.get("worn")
    return Copper(
        name=f"{plus} to {minus}",
        kind=entry["kind"].words(),
        part=part.words() if part else None,
        plus=plus,
        minus=minus,
        ohms=entry["ohms"].number("ohm"),
        worn=worn.span("ohm") if worn else None,
        net=net_of(plus),
    )


def read_capacitor(name: str, entry: Entry) -> Capacitor:
    """`C2: {from: NODE, to: NODE, kind: ceramic, farads: 100 nF, shorted: 0.05 ohm .. 0.4 ohm}`."""
    entry.only("from", "to", "kind", "farads", "shorted")
    return Capacitor(
        name=name,
        kind=entry["kind"].words(),
        plus=entry["from"].words(),
        minus=entry["to"].words(),
        farads=entry["farads"].number("F"),
        shorted=entry["shorted"].span("ohm"),
        net=net_of(entry["from"].words()),
    )


def read_part(name: str, entry: Entry, rails: dict[str, Rail]) -> tuple[Part, list[Copper]]:
    """A part and, where it sits in a socket, the contacts between its pins and the tracks."""
    entry.only("kind", "words", "socket", "pins", "logic", "supply", "ground", "draws", "states", "also")
    pins = {pin: node.words() for pin, node in entry["pins"].pairs()}
    contacts: list[Copper] = []
    socket = entry.get("socket")
    if socket:
        for pin, node in pins.items():
            contact = f"{name}.{pin}"
            ohms = socket.number("ohm")
            contacts.append(Copper(f"socket {contact}", "socket", name, node, contact, ohms, None, net_of(node)))
        pins = {pin: f"{name}.{pin}" for pin in pins}
    logic = entry.get("logic")
    draws, supply, ground, states = (entry.get(key) for key in ("draws", "supply", "ground", "states"))
    for pin_entry in (supply, ground):
        if pin_entry and pin_entry.words() not in pins:
            raise pin_entry.wrong(f"'{pin_entry.text}' is not one of the pins {', '.join(pins)}")
    if draws and not (supply and ground):
        raise entry.wrong("a part that draws current needs its supply and ground pins")
    rail = net_of(entry["pins"][supply.words()].words()) if supply else None
    if rail is not None and rail not in rails:
        raise entry.wrong(f"its supply pin is on '{rail}', which is not a rail; rails are {', '.join(rails)}")
    part = Part(
        name=name,
        kind=entry["kind"].words(),
        words=entry["words"].words(),
        pins=pins,
        supply=supply.words() if supply else None,
        ground=ground.words() if ground else None,
        draws=draws.number("A") if draws else 0.0,
        states={state: read_share(share) for state, share in states.pairs()} if states else {},
        rail=rail,
        logic={pin: net.words() for pin, net in logic.pairs()} if logic else {},
    )
    return part, contacts


def read_option(name: str, entry: Entry, parts: dict[str, Part]) -> Option:
    """`video: {default: late, choices: {late: {U2: 115 mA}}}`."""
    entry.only("default", "choices")
    choices: dict[str, dict[str, float]] = {}
    for choice, draws in entry["choices"].pairs():
        choices[choice] = {}
        for part, amps in draws.pairs():
            if part not in parts:
                raise amps.wrong("there is no such part")
            choices[choice][part] = amps.number("A")
    default = entry["default"].words()
    if default not in choices:
        raise entry["default"].wrong(f"'{default}' is not one of the choices {', '.join(choices)}")
    return Option(name, default, choices)


def read_share(entry: Entry) -> float:
    """A factor written as a bare number or in per cent."""
    text = entry.words()
    return entry.number("%") / 100.0 if text.endswith("%") else entry.number("")


def read_spread(entry: Entry) -> Spread:
    """The standard deviations of one specimen."""
    entry.only("current", "part", "copper", "contact", "unpowered", "reset", "refresh")
    return Spread(
        current=read_share(entry["current"]),
        part=read_share(entry["part"]),
        copper=read_share(entry["copper"]),
        contact=read_share(entry["contact"]),
        unpowered=read_share(entry["unpowered"]),
        reset=read_share(entry["reset"]),
        refresh=read_share(entry["refresh"]),
    )


def read_start_up(entry: Entry) -> StartUp:
    """The times of the start-up."""
    entry.only("oscillator", "reset", "software")
    reset = entry["reset"]
    if reset.text is None:
        reset.only("ohms", "farads")
        held = timer_width(reset["ohms"].number("ohm"), reset["farads"].number("F"))
    else:
        held = reset.number("s")
    return StartUp(entry["oscillator"].number("s"), held, entry["software"].number("s"))


def check(circuit: Circuit, top: Entry) -> None:
    """Refuse what no board can be: resistances that are not positive, nodes that nothing reaches."""
    for element in circuit.copper:
        if not element.ohms > 0.0:
            raise top["copper"].wrong(f"{element.name}: a resistance must be more than 0 Ω")
    for capacitor in circuit.capacitors.values():
        if not capacitor.farads > 0.0 or not (capacitor.shorted.low or 0.0) > 0.0 or capacitor.shorted.high is None:
            raise top["capacitors"][capacitor.name].wrong("farads and both ends of 'shorted' must be more than 0")
    if not circuit.unpowered > 0.0:
        raise top["unpowered"].wrong("must be more than 0 Ω")
    reached = {node for element in circuit.elements for node in element.nodes.values()}
    reached |= {end for element in circuit.copper for end in (element.plus, element.minus)}
    ends = [(name, node) for name, node in circuit.points().items()]
    ends += [(c.name, node) for c in circuit.capacitors.values() for node in (c.plus, c.minus)]
    ends += [(rail.name, node) for rail in circuit.rails.values() for node in (rail.inlet, rail.ground)]
    for name, node in ends:
        if node not in reached:
            raise top.wrong(f"{name} is on node '{node}', which no copper reaches")
