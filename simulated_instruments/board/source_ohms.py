"""What a net looks like as a resistance to somebody who drives a small current into it: the stage that holds it.

It knows families and what nets come to undriven, no part and no instrument. From memory of the families' data sheets
where nothing else is said.
"""

from __future__ import annotations

import numpy as np

from simulated_instruments.board.levels import CLOCK_PIN, CMOS, LS, NMOS, UPPER_OHMS, Family, Palette, lower_ohms
from simulated_instruments.board.palettes import DRIFTING, PULLED_UP, family
from simulated_instruments.board.tolerance import Tolerance
from simulated_instruments.board.waveform import Array

# Ω of the lower and the upper stage. MOS outputs sink 1.8 mA at 0.25 V.
STAGES: dict[str, tuple[float, float]] = {"NMOS": (140.0, 150.0), "CMOS": (60.0, 60.0), "clock pin": (50.0, 75.0)}
NAMES: dict[Family, str] = {NMOS: "NMOS", CMOS: "CMOS", CLOCK_PIN: "clock pin"}
VIDEO_OHMS = 75.0  # the output stage is matched to its cable, powered or not
PULL_UP_OHMS = 1500.0
TTL_INPUT_OHMS = 18e3  # the resistor in an LS input
NMOS_INPUT_OHMS = (1e6, 5e6)  # leakage of inputs and of the board's dirt
SHORT_OHMS = 5.0
BRIDGE_OHMS = (0.05, 1.5)  # of a blob or whisker of solder between two lines (from memory of repair notes)


def source_ohms(tolerance: Tolerance, net: str, palette: Palette, volts: Array) -> Array:
    """Ω at each of `volts` (V, as the reference rail gives them): the level of `palette` that is nearest says what
    drives `net` then."""
    if net == "VIDEO":
        return np.full(volts.shape, VIDEO_OHMS)
    codes = np.abs(volts[:, None] - palette.targets).argmin(axis=1)
    found: Array = code_ohms(tolerance, net)[codes]
    return found


def code_ohms(tolerance: Tolerance, net: str) -> Array:
    """Ω of `net` by what drives it (`LOW` … `SHORT`)."""
    driver = family(net)
    low, high = STAGES[NAMES[driver]] if driver is not LS else (lower_ohms(tolerance, net), UPPER_OHMS)
    fight = low * high / (low + high)
    return np.array([low, high, undriven_ohms(tolerance, net), fight, SHORT_OHMS])


def undriven_ohms(tolerance: Tolerance, net: str) -> float:
    """What holds `net` when no output does, and what is left of it without power."""
    if net == "VIDEO":
        return VIDEO_OHMS
    if net in PULLED_UP:
        return PULL_UP_OHMS
    return tolerance.uniform(f"leakage {net}", *NMOS_INPUT_OHMS) if net in DRIFTING else TTL_INPUT_OHMS


def bridge_ohms(tolerance: Tolerance, lower: str) -> float:
    """Ω of what joins the line `lower` to the one above it, where they touch."""
    return tolerance.uniform(f"bridge at {lower}", *BRIDGE_OHMS)
