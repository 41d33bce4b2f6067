"""One soldered specimen: a circuit with its options fitted and its tolerances drawn, on which faults do their damage.

It holds values only; `board` makes the network of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from simulated_instruments.board.circuit import Circuit, Part, Rail, Soldered
from simulated_instruments.board.condition import Condition
from simulated_instruments.board.elements import Converter, Diode, Element, Regulator
from simulated_instruments.board.joints import Joint
from simulated_instruments.board.tolerance import Tolerance

REFERENCE = 0.007  # of a regulator's own reference, one standard deviation


@dataclass
class Assembly:
    """Values of one specimen. Faults change them before the board is built, nothing changes them afterwards.

    `ohms` of copper by element name; `shorts` (Ω) across capacitors by name; `farads` by capacitor; `amps` at nominal
    volts and `siemens` of each drawing part; `states` factors by part and state; times in s; `processor` is the time
    from the CPU's rail until it can run, infinite if it never can; `condition` is what is broken in the logic;
    `fails_warm` the degrees (°C above cold) from which on a memory chip loses its bit.
    """

    circuit: Circuit
    tolerance: Tolerance
    options: dict[str, str]
    ohms: dict[str, float]
    shorts: dict[str, float]
    farads: dict[str, float]
    amps: dict[str, float]
    siemens: dict[str, float]
    states: dict[str, dict[str, float]]
    oscillator: float
    reset: float
    software: float
    processor: float = 0.0
    condition: Condition = field(default_factory=Condition)
    elements: list[Element] = field(default_factory=list)
    joints: list[Joint] = field(default_factory=list)
    fails_warm: dict[str, float] = field(default_factory=dict)

    @property
    def fed(self) -> frozenset[str]:
        """The rails that have an inlet with the options fitted."""
        return frozenset(
            rail.name
            for rail in self.circuit.rails.values()
            if rail.fed is not None and all(self.options.get(name) == choice for name, choice in rail.fed.items())
        )

    def element(self, part: str, kind: str) -> list[Element]:
        """The elements of `kind` that `part` is."""
        pairs = zip(self.soldered, self.elements, strict=True)
        return [element for drawn, element in pairs if (drawn.part, drawn.kind) == (part, kind)]

    def regulators(self, part: str) -> list[Regulator]:
        """The regulators that `part` is."""
        return [element for element in self.element(part, "regulator") if isinstance(element, Regulator)]

    def converters(self, part: str) -> list[Converter]:
        """The converters that `part` is."""
        return [element for element in self.element(part, "converter") if isinstance(element, Converter)]

    def diodes(self, part: str) -> list[Diode]:
        """The diodes that `part` is."""
        return [element for element in self.element(part, "diode") if isinstance(element, Diode)]

    @property
    def soldered(self) -> list[Soldered]:
        """What stands in the circuit of each of `elements`."""
        return [drawn for drawn in self.circuit.elements if fits(drawn.when, self.options)]


def assemble(circuit: Circuit, options: Mapping[str, str], tolerance: Tolerance) -> Assembly:
    """A healthy specimen of `circuit`; `options` must be known ones (those left out take their default)."""
    fitted = {name: options.get(name, option.default) for name, option in circuit.options.items()}
    amps, siemens = draws(circuit, fitted, tolerance)
    spread, start_up = circuit.spread, circuit.start_up
    copper = tolerance.factor("copper thickness", spread.copper)
    ohms = {}
    for element in circuit.copper:
        own = 1.0 if element.kind == "track" else tolerance.factor(f"contact {element.name}", spread.contact)
        ohms[element.name] = element.ohms * own * (copper if element.kind == "track" else 1.0)
    refresh = tolerance.factor("refresh", spread.refresh)
    states = {part.name: dict(part.states) for part in drawing(circuit)}
    for factors in states.values():
        if "refreshed" in factors:
            factors["refreshed"] *= refresh
    return Assembly(
        circuit=circuit,
        tolerance=tolerance,
        options=fitted,
        ohms=ohms,
        shorts={},
        farads={name: capacitor.farads for name, capacitor in circuit.capacitors.items()},
        amps=amps,
        siemens=siemens,
        states=states,
        oscillator=start_up.oscillator,
        reset=start_up.reset * tolerance.factor("reset", spread.reset),
        software=start_up.software * tolerance.factor("software", spread.reset),
        elements=[element_of(drawn, tolerance) for drawn in circuit.elements if fits(drawn.when, fitted)],
    )


def fits(when: Mapping[str, str], options: Mapping[str, str]) -> bool:
    """Whether something that is fitted for `when` is there with `options`."""
    return all(options.get(name) == choice for name, choice in when.items())


def element_of(drawn: Soldered, tolerance: Tolerance) -> Element:
    """One specimen of a diode, regulator or converter; references are good to 1 % (common practice)."""
    figures, nodes = drawn.figures, tuple(drawn.nodes.values())
    if drawn.kind == "diode":
        return Diode(drawn.name, nodes, figures["forward"] * tolerance.factor(drawn.name, 0.01), figures["rated"])
    if drawn.kind == "regulator":
        volts = figures["volts"] * tolerance.factor(drawn.name, REFERENCE)
        return Regulator(drawn.name, nodes, volts, figures["limit"], figures["dropout"])
    high = figures["high"] * tolerance.factor(f"{drawn.name} high", REFERENCE)
    return Converter(drawn.name, nodes, high, figures["low"] * tolerance.factor(f"{drawn.name} low", REFERENCE))


def drawing(circuit: Circuit) -> list[Part]:
    """The parts that draw current."""
    return [part for part in (*circuit.parts.values(), *circuit.others.values()) if part.supply is not None]


def draws(
    circuit: Circuit, options: Mapping[str, str], tolerance: Tolerance
) -> tuple[dict[str, float], dict[str, float]]:
    """Amps at nominal volts, and passive siemens, of every drawing part.

    Parts differ among themselves, but the sum at nominal volts is that of the circuit times one factor for the board,
    so that the board-to-board spread of the current is what the file says and no more.
    """
    chosen = dict[str, float]()
    for name, choice in options.items():
        chosen |= circuit.options[name].choices[choice]
    amps: dict[str, float] = {}
    siemens: dict[str, float] = {}
    for rail in circuit.rails.values():
        parts = [part for part in drawing(circuit) if part.rail == rail.name]
        plain = {part.name: chosen.get(part.name, part.draws) for part in parts}
        share_out(circuit, rail, plain, tolerance, amps, siemens)
    # In the circuit's order, which is that of the part states too, whatever rail a part is on.
    order = [part.name for part in drawing(circuit) if part.name in amps]
    return {name: amps[name] for name in order}, {name: siemens[name] for name in order}


def share_out(
    circuit: Circuit,
    rail: Rail,
    plain: Mapping[str, float],
    tolerance: Tolerance,
    amps: dict[str, float],
    siemens: dict[str, float],
) -> None:
    """Fill in `amps` and `siemens` of the parts on one rail, whose currents as drawn are `plain`."""
    total = sum(plain.values())
    if total <= 0.0:
        return
    board = tolerance.factor(f"current {rail.name}", circuit.spread.current)
    ohms = rail.unpowered or circuit.unpowered
    passive = 1.0 / (ohms * tolerance.factor(f"unpowered {rail.name}", circuit.spread.unpowered))
    own = {name: draw * tolerance.factor(f"part {name}", circuit.spread.part) for name, draw in plain.items()}
    nominal = abs(rail.nominal)
    wanted = (total + nominal / ohms) * board - nominal * passive
    for name, draw in own.items():
        amps[name] = draw * wanted / sum(own.values())
        siemens[name] = passive * plain[name] / total
