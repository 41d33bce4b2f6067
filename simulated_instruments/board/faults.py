"""Board faults as physics: each changes a part's value or breaks a joint of one specimen; every reading follows.

Nothing here knows what a reading will be. A fault is written `NAME` or `NAME@PART`; without a part the seed picks one
of the allowed places.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from simulated_instruments.board.bus_faults import BUS_FAULTS
from simulated_instruments.board.circuit import Circuit, Copper
from simulated_instruments.board.fault_place import BoardFault, FaultPlace
from simulated_instruments.board.logic_faults import LOGIC_FAULTS
from simulated_instruments.board.memory_faults import MEMORY_FAULTS
from simulated_instruments.board.power_faults import POWER_FAULTS

if TYPE_CHECKING:  # a list of faults needs no arithmetic
    from simulated_instruments.board.assembly import Assembly

OPEN = float("inf")  # ohm
# What a circuit that describes the supply side alone can have.
SUPPLY = ("decoupler-short", "inlet-open", "connector-resistance")


def series_contacts(circuit: Circuit) -> dict[str, Copper]:
    """The contacts a rail's whole current passes through, by part: switches and connectors that wear."""
    return {element.part: element for element in circuit.copper if element.part and element.worn}


def shorted_places(circuit: Circuit) -> list[FaultPlace]:
    """Every capacitor across a rail."""
    return [
        FaultPlace("decoupler-short", part.name, part.net, "board", f"{part.kind} capacitor {part.name} has shorted")
        for part in circuit.capacitors.values()
        if part.net in circuit.rails
    ]


def short(assembly: Assembly, part: str) -> None:
    """The capacitor becomes a resistor of some tenths of an ohm."""
    span = assembly.circuit.capacitors[part].shorted
    assembly.shorts[part] = assembly.tolerance.between(f"short {part}", span)


def open_places(circuit: Circuit) -> list[FaultPlace]:
    """Every series contact."""
    return [
        FaultPlace("inlet-open", part, element.net, "board", f"{element.kind} {part} has opened: no current passes it")
        for part, element in series_contacts(circuit).items()
    ]


def open_contact(assembly: Assembly, part: str) -> None:
    """The contact no longer touches."""
    assembly.ohms[series_contacts(assembly.circuit)[part].name] = OPEN


def worn_places(circuit: Circuit) -> list[FaultPlace]:
    """Every series contact."""
    return [
        FaultPlace("connector-resistance", part, element.net, "board", f"the contact of {element.kind} {part} is worn")
        for part, element in series_contacts(circuit).items()
    ]


def wear(assembly: Assembly, part: str) -> None:
    """The contact has the resistance of a bad one."""
    element = series_contacts(assembly.circuit)[part]
    if element.worn is not None:
        assembly.ohms[element.name] = assembly.tolerance.between(f"worn {part}", element.worn)


BOARD_FAULTS: Mapping[str, BoardFault] = {
    "decoupler-short": BoardFault(shorted_places, short),
    "inlet-open": BoardFault(open_places, open_contact),
    "connector-resistance": BoardFault(worn_places, wear),
    **POWER_FAULTS,
    **LOGIC_FAULTS,
    **BUS_FAULTS,
    **MEMORY_FAULTS,
}


# The order of the catalogue, from the inlet to what is plugged in.
ORDER = (
    "decoupler-short", "chip-supply-short", "inlet-open", "connector-resistance", "regulator-low", "regulator-high",
    "bias-rail-missing", "plus12-missing", "reservoir-dry", "bulk-capacitor-open", "master-clock-dead", "wrong-crystal",
    "cpu-clock-weak", "divider-dead", "reset-stuck", "reset-missing", "reset-looping", "cpu-dead", "fetch-strobe-dead",
    "cpu-pin-dead", "wait-held", "bus-request-held", "interrupt-stuck", "data-line-short", "bus-contention",
    "address-buffer-bit", "lines-bridged", "track-open", "decoder-dead", "gate-output-open", "gate-output-stuck",
    "rom-not-driving", "rom-bits-lost", "socket-contact", "ram-dead", "ram-shorted", "ram-several",
    "ram-strobe-missing", "ram-marginal", "video-chip-dead", "sync-output-dead", "video-ram-bad",
    "video-controller-dead", "colour-lost", "port-chip-damaged", "keyboard-open", "sound-stage-dead", "cracked-joint",
    "repair-damage", "peripheral-fault",
)  # fmt: skip


def board_fault_places(circuit: Circuit) -> list[FaultPlace]:
    """Every fault at every place of `circuit`, in the catalogue's order; a circuit without logic has its supply's
    alone."""
    names = [name for name in ORDER if circuit.signals is not None or name in SUPPLY]
    return [place for name in names for place in BOARD_FAULTS[name].places(circuit)]


def damage(assembly: Assembly, place: FaultPlace) -> None:
    """Do to the specimen what `place` says."""
    BOARD_FAULTS[place.fault].damage(assembly, place.part)


__all__ = ["BOARD_FAULTS", "BoardFault", "FaultPlace", "board_fault_places", "damage"]
