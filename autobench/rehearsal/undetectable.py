"""What no electrical check of a bare board can see, and why: the closed list. All else must be found."""

from __future__ import annotations

from autobench.diagnosis.catalogue import catalogue
from autobench.events import TrueFault
from autobench.rehearsal.cases import FaultPlace

WHY = {
    "ram-marginal": "it works until the board is warm: a soak shows it",
    "colour-lost": "only a picture shows it",
    "port-chip-damaged": "only what is plugged in shows it, unless an interrupt or data pin of it is held",
    "keyboard-open": "only the keyboard shows it",
    "sound-stage-dead": "only the ear, or the cassette, shows it",
    "peripheral-fault": "the board is good: the fault is in what was plugged in",
    "cracked-joint": "the joint conducts: warmth, or bending the board, shows it",
}
LACKING = "this board has no part that it could sit in"


def hidden(truth: TrueFault) -> str | None:
    """Why nothing shows of a fault as it was done to this specimen; None for one that must be found."""
    shows = (truth.fault == "port-chip-damaged" and truth.nets) or (truth.fault == "cracked-joint" and not truth.asleep)
    return None if shows else WHY.get(truth.fault)


def lacking(places: list[FaultPlace]) -> list[str]:
    """Faults of the catalogue that this board has no place for."""
    there = {place.fault for place in places}
    return [name for name in catalogue() if name not in there]
