"""Resistance of copper wire by its size and temperature. It knows no bench.

Annealed copper of 100 % conductivity and its temperature coefficient: IEC 60028; American wire gauge: ASTM B258.
"""

from __future__ import annotations

import math

RESISTIVITY = 1.7241e-8  # ohm·m at 20 °C (IEC 60028)
PER_DEGREE = 0.00393  # 1/K at 20 °C (IEC 60028)
REFERENCE = 20.0  # °C


def wire_ohms(metres: float, square_millimetres: float, celsius: float = REFERENCE) -> float:
    """Ω of a copper wire of that length, cross-section and temperature: ρ·l/A·(1 + α·(t − 20 °C))."""
    cold = RESISTIVITY * metres / (square_millimetres * 1e-6)
    return cold * (1.0 + PER_DEGREE * (celsius - REFERENCE))


def gauge_square_millimetres(gauge: int) -> float:
    """Cross-section of a solid wire of an American wire gauge: d = 0.127 mm · 92^((36 − n)/39) (ASTM B258)."""
    diameter = 0.127 * 92.0 ** ((36 - gauge) / 39.0)
    return math.pi / 4.0 * float(diameter) ** 2
