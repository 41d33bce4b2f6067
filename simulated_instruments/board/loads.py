"""The current a block of chips takes at a voltage: one smooth, monotonic curve. It knows no nodes and no board.

I = I0·(V/Vnom)^1.2 while the chips conduct, next to nothing below a junction, and the substrate diodes when the rail
is the wrong way round. The exponent is what NMOS and LS parts of the time show together (common practice).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

EXPONENT = 1.2
# The knee where bipolar and NMOS inputs begin to conduct: half way at KNEE, over a few WIDTHs.
KNEE = 0.9  # V
WIDTH = 0.08  # V
FULLY_ON = KNEE + 37.0 * WIDTH  # V; from here on the knee differs from 1 by less than a double can hold
# Substrate diodes of one chip, rail reversed: 10 mA at 0.6 V with an emission voltage of 39 mV.
DIODE_SLOPE = 0.039  # V
DIODE_SATURATION = 0.010 / np.exp(0.6 / DIODE_SLOPE)  # A
STRAIGHT_FROM = 18.0  # in units of DIODE_SLOPE; from there on the tangent, so that nothing overflows


def load_currents(volts: Array, amps: Array, nominal: Array) -> Array:
    """Currents (A) of loads at `volts`, where each takes `amps` at `nominal` volts; one element a load.

    The curve rises everywhere, so a network of such loads has one solution.
    """
    lowest = float(volts.min(initial=FULLY_ON))
    if lowest >= FULLY_ON:
        full: Array = amps * (volts / nominal) ** EXPONENT
        return full
    gate = 1.0 / (1.0 + np.exp(np.minimum((KNEE - volts) / WIDTH, 500.0)))
    current: Array = amps * (np.maximum(volts, 0.0) / nominal) ** EXPONENT * gate
    if lowest < 0.0:
        current -= diode_currents(np.maximum(-volts, 0.0))
    return current


def load_slopes(volts: Array, amps: Array, nominal: Array) -> Array:
    """Derivatives (A/V) of `load_currents` by the volts."""
    forward = np.maximum(volts, 0.0) / nominal
    root = forward ** (EXPONENT - 1.0)
    gate = 1.0 / (1.0 + np.exp(np.minimum((KNEE - volts) / WIDTH, 500.0)))
    slope: Array = amps * root * gate * (EXPONENT / nominal + forward * (1.0 - gate) / WIDTH)
    return slope + np.where(volts < 0.0, diode_slopes(np.maximum(-volts, 0.0)), 0.0)


def diode_currents(volts: Array) -> Array:
    """Current of a chip's substrate diodes at forward `volts` ≥ 0 (Shockley, with a straight continuation)."""
    steps = volts / DIODE_SLOPE
    bent = np.minimum(steps, STRAIGHT_FROM)
    current: Array = DIODE_SATURATION * (np.exp(bent) * (1.0 + steps - bent) - 1.0)
    return current


def diode_slopes(volts: Array) -> Array:
    """Derivative of `diode_currents`."""
    slope: Array = DIODE_SATURATION / DIODE_SLOPE * np.exp(np.minimum(volts / DIODE_SLOPE, STRAIGHT_FROM))
    return slope
