"""What three-rail memory suffers while it has +12 V and no bias: its cells break down, chip by chip.

Without the negative bias the substrate is forward biased; the data sheets of these parts bear it for seconds at most,
some for about five. It reads the network's volts and says which chips have just died; it knows no fault and no reading.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from simulated_instruments.board.assembly import Assembly
from simulated_instruments.board.circuit import Part
from simulated_instruments.board.loads import Array

LOST = 0.5  # share of the bias below which it is none
STANDS = 0.5  # share of the high rail from which it harms
BEARS = (2.0, 8.0)  # s that a chip bears it, by the specimen


@dataclass
class Chip:
    """One memory chip: the nodes of its bias, its supply and its ground, and the seconds it still bears."""

    part: Part
    bias: str
    supply: str
    ground: str
    left: float


class BiasWatch:
    """The memory of one specimen. A board that came to the bench without its bias had its damage before."""

    def __init__(self, assembly: Assembly) -> None:
        rails = assembly.circuit.rails
        lost_before = any(getattr(element, "low_dead", False) for element in assembly.elements)
        self._nominal = {rail.name: rail.nominal for rail in rails.values()}
        self._chips = [] if lost_before else [chip for chip in map(self._chip, self._memory(assembly)) if chip]
        for chip in self._chips:
            chip.left = assembly.tolerance.uniform(f"bears no bias {chip.part.name}", *BEARS)
        self._suffering: list[Chip] = []

    @staticmethod
    def _memory(assembly: Assembly) -> list[Part]:
        return [part for part in assembly.circuit.parts.values() if part.kind == "dram"]

    def _chip(self, part: Part) -> Chip | None:
        bias = next((node for node in part.pins.values() if self._nominal.get(node.partition(".")[0], 0.0) < 0.0), None)
        if bias is None or part.supply is None or part.ground is None:
            return None
        return Chip(part, bias, part.pins[part.supply], part.pins[part.ground], math.inf)

    def next_change(self, time: float) -> float:
        """When the next chip dies if nothing changes."""
        return time + min((chip.left for chip in self._suffering), default=math.inf)

    def passed(self, seconds: float, volts: Array, index: Mapping[str, int]) -> list[Part]:
        """`seconds` went by, at the end of which the nodes stand at `volts`; the chips that died of it."""
        for chip in self._suffering:
            chip.left -= seconds
        died = [chip.part for chip in self._suffering if chip.left <= 1e-9]
        self._chips = [chip for chip in self._chips if chip.left > 1e-9]
        self._suffering = [chip for chip in self._chips if self._suffers(chip, volts, index)]
        return died

    def _suffers(self, chip: Chip, volts: Array, index: Mapping[str, int]) -> bool:
        ground = float(volts[index[chip.ground]])

        def share(node: str) -> float:
            nominal = self._nominal[node.partition(".")[0]]
            return (float(volts[index[node]]) - ground) / nominal

        return share(chip.bias) < LOST and share(chip.supply) > STANDS
