"""What a fault is: where it can be on a circuit, and what it does to a specimen there. It knows no fault."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from simulated_instruments.board.circuit import Circuit

if TYPE_CHECKING:  # a list of faults needs no arithmetic
    from simulated_instruments.board.assembly import Assembly


@dataclass(frozen=True)
class FaultPlace:
    """One fault at one place: `part` and `net` it sits on, `kind` board or bench, and `words`: what is broken."""

    fault: str
    part: str
    net: str | None
    kind: str
    words: str


@dataclass(frozen=True)
class BoardFault:
    """Where a fault can be on a circuit, and what it does to a specimen there."""

    places: Callable[[Circuit], list[FaultPlace]]
    damage: Callable[[Assembly, str], None]
