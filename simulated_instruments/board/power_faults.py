"""Faults of a board's supply beyond shorts and contacts: regulators, converter, bridge, reservoirs, chips that short.

As with all faults, nothing here knows a reading: a part's value changes, and every volt and amp follows.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from autobench.quantity import Span
from simulated_instruments.board.circuit import Circuit
from simulated_instruments.board.fault_place import BoardFault, FaultPlace
from simulated_instruments.board.secondary import kill_memory, wreck

if TYPE_CHECKING:  # a list of faults needs no arithmetic
    from simulated_instruments.board.assembly import Assembly

BIAS, HIGH_RAIL = "-5V", "+12V"
# A reservoir or output capacitor that is gone: ripple peak to peak as a share of its rail (common practice).
DRY = (0.05, 0.12)
# A chip's supply pins shorted: hard, or soft enough to let the rail live.
HARD_OHMS, SOFT_OHMS = Span(0.2, 1.5, "ohm"), Span(5.0, 12.0, "ohm")
# Half of the boards that lost their bias with +12 V up come with dead memory.
HARMED = 0.5


def element_places(circuit: Circuit, fault: str, words: str, rail: str | None, *kinds: str) -> list[FaultPlace]:
    """The parts that are elements of `kinds`, where they make `rail`."""
    found: dict[str, FaultPlace] = {}
    for drawn in circuit.elements:
        makes = [node for node in drawn.nodes.values() if rail is None or node.startswith(f"{rail}.")]
        if drawn.kind in kinds and makes:
            part = circuit.parts[drawn.part]
            net = rail or makes[-1].split(".", 1)[0]
            found.setdefault(part.name, FaultPlace(fault, part.name, net, "board", f"{part.words} {part.name} {words}"))
    return list(found.values())


def low_places(circuit: Circuit) -> list[FaultPlace]:
    """The linear regulators."""
    found = element_places(circuit, "regulator-low", "gives too little", None, "regulator")
    return [replace(place, net="+5V") for place in found]


def high_places(circuit: Circuit) -> list[FaultPlace]:
    """The linear regulators."""
    found = element_places(circuit, "regulator-high", "passes its input on", None, "regulator")
    return [replace(place, net="+5V") for place in found]


def regulate_low(assembly: Assembly, part: str) -> None:
    """Its reference or its pass transistor has gone: it holds 3 V to 4.5 V."""
    for element in assembly.regulators(part):
        element.volts = assembly.tolerance.uniform("regulator low", 3.0, 4.5)


def regulate_high(assembly: Assembly, part: str) -> None:
    """Its pass transistor has shorted: what stands before it comes through, and wrecks some of what is behind."""
    for element in assembly.regulators(part):
        element.volts, element.dropout, element.limit = 40.0, 0.6, 3.0
    wreck(assembly)


def bias_places(circuit: Circuit) -> list[FaultPlace]:
    """The converter that makes the bias."""
    return element_places(circuit, "bias-rail-missing", "no longer makes -5 V", BIAS, "converter")


def lose_bias(assembly: Assembly, part: str) -> None:
    """The negative branch gives nothing, and the memory with it nothing that can be used; half of them are killed."""
    for element in assembly.converters(part):
        element.low_dead = True
    assembly.condition.ram_silent = assembly.condition.ram_unbiased = True
    if assembly.tolerance.uniform("bias lost", 0.0, 1.0) < HARMED:
        kill_memory(assembly, 1, 8)


def plus12_places(circuit: Circuit) -> list[FaultPlace]:
    """What makes +12 V, or lets it in."""
    made = element_places(circuit, "plus12-missing", "no longer gives +12 V", HIGH_RAIL, "converter", "diode")
    if made or HIGH_RAIL not in circuit.rails:
        return made
    entry = circuit.rails[HIGH_RAIL].inlet
    pins = ((part, pin) for part in circuit.parts.values() for pin, node in part.pins.items() if node == entry)
    return [
        FaultPlace("plus12-missing", part.name, HIGH_RAIL, "board", f"{part.words} {part.name}: pin {pin} is open")
        for part, pin in pins
    ][:1]


def lose_plus12(assembly: Assembly, part: str) -> None:
    """Its branch gives nothing, or nothing comes in: what hangs on +12 V is dead."""
    for converter in assembly.converters(part):
        converter.high_dead = True
    for diode in assembly.diodes(part):
        diode.open = True
    if not assembly.element(part, "converter") and not assembly.element(part, "diode"):
        inlet = assembly.circuit.rails[HIGH_RAIL].inlet
        for element in assembly.circuit.copper:
            if inlet in (element.plus, element.minus):
                assembly.ohms[element.name] = math.inf
    if assembly.circuit.memory_rail == HIGH_RAIL:
        assembly.condition.ram_silent = assembly.condition.ram_unbiased = True


def dry_places(circuit: Circuit) -> list[FaultPlace]:
    """The reservoirs."""
    return [
        FaultPlace("reservoir-dry", one.name, one.net, "board", f"reservoir capacitor {one.name} has dried out")
        for one in circuit.capacitors.values()
        if one.kind == "reservoir"
    ]


def dry_out(assembly: Assembly, part: str) -> None:
    """The capacitor is gone: the pulses of what hangs on it show."""
    assembly.farads[part] = 0.0
    net = assembly.circuit.capacitors[part].net
    share = assembly.tolerance.uniform("dry reservoir", *DRY)
    assembly.condition.ripple_rails[net] = share * abs(assembly.circuit.rails[net].nominal)


def chip_places(circuit: Circuit) -> list[FaultPlace]:
    """Every chip."""
    return [
        FaultPlace("chip-supply-short", part.name, part.rail, "board", f"{part.words} {part.name} is shorted inside")
        for part in circuit.parts.values()
        if part.supply is not None and part.rail is not None
    ]


def short_chip(assembly: Assembly, part: str) -> None:
    """A low resistance across its supply pins; the chip itself does nothing any more."""
    hard = assembly.tolerance.uniform("chip short", 0.0, 1.0) < 0.6
    ohms = assembly.tolerance.between(f"chip short {part}", HARD_OHMS if hard else SOFT_OHMS)
    assembly.siemens[part] = assembly.siemens.get(part, 0.0) + 1.0 / ohms
    wreck(assembly, part)


POWER_FAULTS: Mapping[str, BoardFault] = {
    "chip-supply-short": BoardFault(chip_places, short_chip),
    "regulator-low": BoardFault(low_places, regulate_low),
    "regulator-high": BoardFault(high_places, regulate_high),
    "bias-rail-missing": BoardFault(bias_places, lose_bias),
    "plus12-missing": BoardFault(plus12_places, lose_plus12),
    "reservoir-dry": BoardFault(dry_places, dry_out),
}
