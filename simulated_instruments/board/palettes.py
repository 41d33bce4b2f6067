"""Which family drives which net, and what the net comes to undriven. It keeps one specimen's levels; it makes no
waveform."""

from __future__ import annotations

from simulated_instruments.board import accesses
from simulated_instruments.board.bus import SELECTS
from simulated_instruments.board.levels import CLOCK_PIN, CMOS, LS, NMOS, Family, Palette, palette
from simulated_instruments.board.machine_cycles import STROBES
from simulated_instruments.board.tolerance import Tolerance
from simulated_instruments.board.video import composite_palette
from simulated_instruments.board.wrong import NOTHING_WRONG, Wrong

PULLED_UP = frozenset({"WAIT", "BUSRQ", "NMI", "INT", "RDY", "IRQ", "SO", *(f"D{bit}" for bit in range(8))})
# RAM outputs have nothing but the leakage of inputs to drift by.
DRIFTING = frozenset(f"M{bit}" for bit in range(8))
# Control outputs of either class of CPU.
CPU_OUTPUTS = frozenset({*STROBES, *accesses.STROBES, *accesses.CLOCKS_OUT})
LS_NETS = frozenset({*SELECTS, "CSYNC", "PICTURE", "HSYNC", "VSYNC"})


class Palettes:
    """Levels of every net of one specimen."""

    def __init__(self, tolerance: Tolerance, wrong: Wrong = NOTHING_WRONG) -> None:
        self._tolerance = tolerance
        self._touching = touching(wrong)
        self._made: dict[str, Palette] = {}

    def of(self, net: str) -> Palette:
        """The palette of `net`; two that touch are one."""
        net = self._touching.get(net, net)
        if net not in self._made:
            self._made[net] = self._make(net)
        return self._made[net]

    def _make(self, net: str) -> Palette:
        if net == "VIDEO":
            return composite_palette(self._tolerance)
        undriven = "pulled up" if net in PULLED_UP else "NMOS" if net in DRIFTING else "TTL"
        return palette(self._tolerance, net, family(net), undriven)


def touching(wrong: Wrong) -> dict[str, str]:
    """Of two lines that touch, the upper one to the lower one."""
    pairs = (("D", wrong.joined), ("A", wrong.joined_address))
    return {
        f"{letter}{pair.bit_length() - 1}": f"{letter}{(pair & -pair).bit_length() - 1}"
        for letter, pair in pairs
        if pair
    }


def family(net: str) -> Family:
    """What drives `net`."""
    if net == "CPUCLK":
        return CLOCK_PIN
    if net in ("RESET", "RES"):
        return CMOS
    if net in CPU_OUTPUTS or (net[0] in "AD" and net[1:].isdigit()):
        return NMOS
    return LS
