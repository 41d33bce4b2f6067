"""Which instrument input touches which point of the board: the one idea that relays and a hand both work on.

An input is `meter high`, `meter low`, `scope 1` to `scope 4`, `counter 1` or `counter 2`; a point is written as on
the board (`U1.27`).
"""

from __future__ import annotations

from collections.abc import Mapping

METER_HIGH, METER_LOW = "meter high", "meter low"
# The meter's tips held against each other: a point of its own, which nothing else touches.
TIPS = "the other tip"
LEG = " leg"

# Input → the points it touches, in the order of their positions; an input that touches nothing may be left out.
Touches = Mapping[str, tuple[str, ...]]


def scope_input(channel: int) -> str:
    """The input of the scope's channel (1-based)."""
    return f"scope {channel}"


def counter_input(channel: int) -> str:
    """The counter's input of this number (1-based)."""
    return f"counter {channel}"


def leg_of(point: str) -> str:
    """The leg of the chip itself at `point`, above its socket or free of the board; the point is the board's side."""
    return f"{point}{LEG}"


def neighbours(point: str, points: Mapping[str, str]) -> list[str]:
    """The pins next to `point` on the same part, among `points`: those where a tip lands that misses by one."""
    part, _, pin = point.rpartition(".")
    if not pin.isdigit():
        return []
    return [name for name in (f"{part}.{int(pin) - 1}", f"{part}.{int(pin) + 1}") if name in points]
