"""Parts that somebody cools or warms alone: how far each is from the board's own temperature. It measures nothing.

Freezer spray takes a package to some -20 °C, hot air of 60 to 70 °C brings it to about 60 (common practice); left alone
it comes back within a minute or so (from memory).
"""

from __future__ import annotations

import math

# Degrees against the board at the moment the spray or the air stops.
BY = {"cool": -42.0, "warm": 38.0}
BACK_IN = 70.0  # s


class LocalHeat:
    """Degrees of single parts against the board around them."""

    def __init__(self) -> None:
        self._parts: dict[str, tuple[float, float]] = {}

    def temper(self, part: str, how: str, time: float) -> None:
        """`cool` or `warm` a part at `time` (s), whatever it was before; raises `KeyError` for another word."""
        self._parts[part] = (BY[how], time)

    def degrees(self, part: str | None, time: float) -> float:
        """Degrees of `part` against the board at `time` (s)."""
        degrees, since = self._parts.get(part or "", (0.0, time))
        return degrees * math.exp(-max(time - since, 0.0) / BACK_IN)
