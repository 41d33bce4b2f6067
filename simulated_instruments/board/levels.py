"""Logic levels: what a net's volts are for everything that can happen to it, with the spread from board to board.

Volts hold with `REFERENCE` on the rail and follow the rail in proportion. It knows families and resistances, no part.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulated_instruments.board.stepped import TEN_TO_NINETY, Codes, Stepped, without_repeats
from simulated_instruments.board.tolerance import Tolerance
from simulated_instruments.board.waveform import Array

REFERENCE = 4.8  # V on the rail at which the levels below hold

# What drives a net at a time.
LOW, HIGH, UNDRIVEN, FIGHT, SHORT = 0, 1, 2, 3, 4

# Two LS outputs against each other: the upper stage is 3.5 V behind 130 Ω, the lower one 25 Ω to 45 Ω to 0 V.
UPPER_VOLTS = 3.5
UPPER_OHMS = 130.0
LOWER_OHMS = (25.0, 45.0)
# The upper stage's own drive comes on top of what flows through the lower one (common practice).
UPPER_EXCESS = 1.6
NMOS_FIGHT = (0.8, 1.3)  # V; two NMOS outputs, where no bipolar buffer is one of them (common practice: 0.8 to 1.8)
SHORTED_VOLTS = (0.02, 0.08)


@dataclass(frozen=True)
class Family:
    """Levels (V) and 10 % to 90 % times (s) of a driver, and the standard deviations (V) from specimen to specimen."""

    low: float
    high: float
    fall: float
    rise: float
    low_spread: float = 0.02
    high_spread: float = 0.10


LS = Family(0.20, 3.50, 6e-9, 12e-9)
NMOS = Family(0.25, 3.90, 20e-9, 35e-9, 0.03, 0.12)
CMOS = Family(0.05, 4.80, 15e-9, 15e-9, 0.01, 0.02)
CLOCK_PIN = Family(0.20, 4.70, 8e-9, 14e-9, 0.03, 0.06)  # class R clock input: driver with a stiff pull-up
FAMILIES = {"LS": LS, "NMOS": NMOS, "CMOS": CMOS, "clock pin": CLOCK_PIN}

# What a net comes to when nothing drives it, and how fast.
TTL_FLOAT, TTL_CONSTANT = 1.45, 0.3e-6  # the current of an LS input charges the track
NMOS_FLOAT, NMOS_CONSTANTS = 1.60, (20e-6, 200e-6)  # leakage alone
PULL_UP, PULL_UP_CONSTANTS = 4.80, (0.06e-6, 0.12e-6)  # 1.5 kΩ and what 40 pF to 80 pF of bus make of it


@dataclass(frozen=True)
class Palette:
    """Target volts and time constants (s) of one net, by what drives it (`LOW` … `SHORT`)."""

    targets: Array
    constants: Array

    def wave(self, edges: Array, codes: Codes, period: float, origin: float) -> Stepped:
        """The waveform of a net driven as `codes` say from each of `edges` (s, ascending) on."""
        edges, codes = without_repeats(edges, codes)
        return Stepped(edges, self.targets[codes], self.constants[codes], period, origin)

    def volts(self, code: int) -> float:
        """Where the net settles under `code`."""
        return float(self.targets[code])


def palette(tolerance: Tolerance, net: str, family: Family, undriven: str) -> Palette:
    """The palette of `net`, driven by `family`; `undriven` is `pulled up`, `TTL` or `NMOS`."""
    low = family.low + spread(tolerance, f"low {net}", family.low_spread)
    high = family.high + spread(tolerance, f"high {net}", family.high_spread)
    rest, rest_constant = resting(tolerance, net, undriven)
    fight = fight_volts(lower_ohms(tolerance, net))
    if family is NMOS and undriven == "TTL":
        fight = tolerance.uniform(f"fight {net}", *NMOS_FIGHT)
    shorted = tolerance.uniform(f"shorted {net}", *SHORTED_VOLTS)
    fall, rise = family.fall / TEN_TO_NINETY, family.rise / TEN_TO_NINETY
    return Palette(np.array([low, high, rest, fight, shorted]), np.array([fall, rise, rest_constant, fall, fall]))


def resting(tolerance: Tolerance, net: str, undriven: str) -> tuple[float, float]:
    """Volts and time constant of `net` with nothing driving it."""
    if undriven == "pulled up":
        return PULL_UP, tolerance.uniform(f"pull-up {net}", *PULL_UP_CONSTANTS)
    if undriven == "NMOS":
        return NMOS_FLOAT + spread(tolerance, f"float {net}", 0.08), tolerance.uniform(f"drift {net}", *NMOS_CONSTANTS)
    return TTL_FLOAT + spread(tolerance, f"float {net}", 0.02), TTL_CONSTANT


def spread(tolerance: Tolerance, name: str, sigma: float) -> float:
    """A deviation of one specimen in V, normal with `sigma`."""
    return tolerance.factor(name, 1.0) * sigma - sigma


def lower_ohms(tolerance: Tolerance, net: str) -> float:
    """The resistance to 0 V of the output that pulls `net` down in a fight."""
    return tolerance.uniform(f"lower stage {net}", *LOWER_OHMS)


def fight_volts(lower: float, upper: float = UPPER_OHMS, volts: float = UPPER_VOLTS) -> float:
    """A net that one output pulls up and another down: the divider of `upper` and `lower` (Ω) from `volts`."""
    return volts * lower / (lower + upper)


def fight_amps(lower: float, upper: float = UPPER_OHMS, volts: float = UPPER_VOLTS) -> float:
    """What such a fight adds to the board's current while it lasts."""
    return UPPER_EXCESS * volts / (lower + upper)
