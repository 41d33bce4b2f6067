"""One board as it came in: what is drawn, how it is fitted, what is broken in it, and what hands have done to it since.

A specimen is soldered anew after every piece of work, from the same draws, so that nothing changes but what was worked
on: a contact that was reseated is gone from what is broken, a chip that was swapped takes its own faults with it. It
knows no bench.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from autobench.errors import UsageError
from simulated_instruments.board.circuit import Circuit
from simulated_instruments.board.fault_place import FaultPlace
from simulated_instruments.board.tolerance import Tolerance
from simulated_instruments.spelling import known

if TYPE_CHECKING:  # a list of faults needs no arithmetic
    from simulated_instruments.board.assembly import Assembly
    from simulated_instruments.board.done import DoneFault

# Faults that sit inside the chip they are named for, and go into the bin with it.
INSIDE = frozenset({
    "chip-supply-short", "cpu-dead", "fetch-strobe-dead", "cpu-pin-dead", "bus-contention", "address-buffer-bit",
    "decoder-dead", "gate-output-open", "gate-output-stuck", "rom-not-driving", "rom-bits-lost", "ram-dead",
    "ram-shorted", "ram-marginal", "ram-strobe-missing", "video-chip-dead", "video-controller-dead", "video-ram-bad",
    "colour-lost", "port-chip-damaged", "divider-dead", "cpu-clock-weak", "reset-stuck", "reset-missing",
    "reset-looping",
})  # fmt: skip
CONTACT, REPAIR = "socket-contact", "repair-damage"
REVERSED = 0.4  # share of botched repairs in which the chip itself was put in the wrong way round
# How often cleaning and reseating mends a contact for good, and how often the fresh legs of another chip do.
RESEATED, FRESH_LEGS = 0.9, 0.75


@dataclass
class Specimen:
    """A board in hand. `faults` are what is broken in it now, `lifted` the legs (part, net) that are bent out."""

    circuit: Circuit
    options: Mapping[str, str]
    tolerance: Tolerance
    faults: list[FaultPlace]
    lifted: list[tuple[str, str]] = field(default_factory=list)

    @property
    def socketed(self) -> list[str]:
        """The chips that can be taken out."""
        return sorted({element.part for element in self.circuit.copper if element.kind == "socket" and element.part})

    def soldered(self) -> tuple[Assembly, list[DoneFault]]:
        """The board as it is now, lifted legs included, and the faults that are in it."""
        from simulated_instruments.board.assembly import assemble
        from simulated_instruments.board.done import do
        from simulated_instruments.board.net_faults import cut

        assembly = assemble(self.circuit, self.options, self.tolerance)
        done = [do(assembly, place) for place in self.faults]
        for part, net in self.lifted:
            cut(assembly, self.circuit.parts[part], net, in_socket=True)
        return assembly, done

    def work(self, how: str, part: str, net: str | None = None) -> None:
        """`reseat` or `swap` a socketed chip, `lift` one of its legs or `put back` that; raises `UsageError`."""
        if how in ("reseat", "swap"):
            {"reseat": self.reseat, "swap": self.swap}[how](part)
            return
        legs = {"lift": self.lift, "put back": self.put_back}
        legs[known(how, ["reseat", "swap", *legs], "piece of work", "this bench")](part, net or "")

    def reseat(self, part: str) -> None:
        """Legs cleaned and pressed home."""
        self._in_socket(part)
        if self.tolerance.uniform(f"reseated {part}", 0.0, 1.0) < RESEATED:
            self.faults = [place for place in self.faults if (place.fault, place.part) != (CONTACT, part)]

    def swap(self, part: str) -> None:
        """Another, good chip of the kind in the socket."""
        self._in_socket(part)
        touches = self.tolerance.uniform(f"fresh legs {part}", 0.0, 1.0) < FRESH_LEGS
        self.faults = [place for place in self.faults if not (place.part == part and self._goes(place, touches))]

    def lift(self, part: str, net: str) -> None:
        """One leg bent out: it touches the board no longer."""
        if part not in self.circuit.parts or net not in self.circuit.parts[part].logic.values():
            raise UsageError(f"{part} has no leg on {net}")
        if (part, net) not in self.lifted:
            self.lifted.append((part, net))

    def put_back(self, part: str, net: str) -> None:
        """The leg back where it was."""
        self.lifted = [leg for leg in self.lifted if leg != (part, net)]

    def _in_socket(self, part: str) -> None:
        if part not in self.socketed:
            raise UsageError(f"{part} is soldered in: it cannot be taken out")

    def _goes(self, place: FaultPlace, touches: bool) -> bool:
        """Whether a fault leaves with the chip it is at."""
        if place.fault == CONTACT:
            return touches
        if place.fault == REPAIR:
            return self.tolerance.uniform("repair damage", 0.0, 1.0) < REVERSED
        return place.fault in INSIDE
