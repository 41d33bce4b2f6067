"""Reset circuits: how long they hold, in closed form. It knows no part."""

from __future__ import annotations

import math


def charge_time(ohms: float, farads: float, begin: float, end: float, threshold: float) -> float:
    """Seconds until a capacitor charged through `ohms` from `begin` toward `end` volts reaches `threshold`.

    t = RC·ln((V∞ − V₀)/(V∞ − V_T)) (elementary).
    """
    return ohms * farads * math.log((end - begin) / (end - threshold))


def timer_width(ohms: float, farads: float) -> float:
    """The pulse of a timer that ends at two thirds of its rail: RC·ln 3, about 1.1 RC."""
    return charge_time(ohms, farads, 0.0, 1.0, 2.0 / 3.0)
