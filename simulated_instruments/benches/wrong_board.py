"""The board on the bench is not the one the file speaks of: another type whose plug fits, or another option.

Nothing on the bench is broken then, and neither is the board; only the figures it is held to are somebody else's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from autobench.errors import UsageError
from simulated_instruments.benches.faults import BenchFault
from simulated_instruments.board.circuit import Circuit
from simulated_instruments.board.circuit_file import circuit_path, list_circuits, read_circuit
from simulated_instruments.board.fault_place import FaultPlace


def wrong_board_places(circuit: Circuit) -> list[FaultPlace]:
    """Every other board that takes the same plug, and every option that may be another than declared."""
    others = [name for name in list_circuits() if name != circuit.name]
    types = [name for name in others if takes_plug(read_circuit(circuit_path(name)), circuit)]
    return [
        *(place(name, f"the board on the bench is a {name}") for name in types),
        *(place(name, f"the board has another choice of '{name}' than declared") for name in circuit.options),
    ]


def place(part: str, words: str) -> FaultPlace:
    """One such mistake."""
    return FaultPlace(BenchFault.WRONG_BOARD, part, None, "bench", words)


def takes_plug(other: Circuit, circuit: Circuit) -> bool:
    """Whether the first inlet of `other` is the first one of `circuit`: the same rail, at the same volts."""
    (mine, *_), (theirs, *_) = inlets(circuit), inlets(other)
    return mine == theirs


def inlets(circuit: Circuit) -> list[tuple[str, float]]:
    """Name and nominal volts of the rails that are fed, with the options left at their defaults."""
    usual = {name: option.default for name, option in circuit.options.items()}
    return [
        (rail.name, rail.nominal)
        for rail in circuit.rails.values()
        if rail.fed is not None and all(usual.get(name) == choice for name, choice in rail.fed.items())
    ]


def really_there(
    places: Sequence[FaultPlace], circuit: Circuit, options: Mapping[str, str]
) -> tuple[Circuit, dict[str, str]]:
    """The circuit and the options that are on the bench where `circuit` with `options` was declared."""
    there, fitted = circuit, dict(options)
    for mistake in places:
        if mistake.fault != BenchFault.WRONG_BOARD:
            continue
        if mistake.part in circuit.options:
            option = circuit.options[mistake.part]
            declared = fitted.get(mistake.part, option.default)
            fitted[mistake.part] = next((choice for choice in option.choices if choice != declared), declared)
        else:
            there, fitted = read_circuit(circuit_path(mistake.part)), {}
    return there, fitted


def missing_points(circuit: Circuit, there: Circuit) -> frozenset[str]:
    """Points of the declared board that the one on the bench has not: a tip brought there touches nothing."""
    mine, theirs = (one.points() | one.logic_points() for one in (circuit, there))
    return frozenset(mine.keys() - theirs.keys())


def board_faults(picked: Sequence[FaultPlace], circuit: Circuit, there: Circuit) -> list[FaultPlace]:
    """The faults that are the board's own; raises `UsageError` for one of a board that is not on the bench."""
    own = [fault for fault in picked if fault.kind == "board"]
    if own and there is not circuit:
        raise UsageError(f"{own[0].fault} is a fault of {circuit.name}, and {there.name} is on the bench")
    return own
