"""Where a meter touches the board. Plain data."""

from __future__ import annotations

from dataclasses import dataclass

HAND_SECONDS = 4.0  # a person finds a point and holds a tip there; for the time left, not for any verdict


@dataclass(frozen=True)
class Target:
    """Where a meter touches: `point` against `against`, through relay `channels`, or with tips held by hand."""

    net: str
    point: str
    against: str
    channels: tuple[int, ...]
    by_hand: bool = False

    @property
    def reachable(self) -> bool:
        """Whether this bench gets there at all."""
        return self.by_hand or bool(self.channels)
