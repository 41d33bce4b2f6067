"""A limited source: constant voltage behind a resistance up to a current limit, and no more than a feeble sink.

One shape serves a bench supply output (CV, CC, and a one-quadrant output that pulls down by its bleeder only)
and a meter's ohms source (constant current up to its compliance voltage). It knows no network and no instrument.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

VOLTAGE = "voltage"  # constant voltage behind `ohms`
CURRENT = "current"  # at the limit
BLOCKED = "blocked"  # the circuit stands higher than the source: nothing but the bleeder

MARGIN = 1e-9  # V; how far beyond a crossover before the mode changes, so that rounding cannot make it chatter


@dataclass
class LimitedSource:
    """A source from node `minus` to node `plus`. `ohms` is the output resistance, `limit` the current limit (A).

    The open-circuit voltage approaches `target` from `start` (at `since`) with the time constant `rise` (s).
    """

    name: str
    plus: str
    minus: str
    ohms: float
    rise: float = 0.0
    connected: bool = False
    limit: float = 0.0
    start: float = 0.0
    target: float = 0.0
    since: float = 0.0
    mode: str = VOLTAGE
    sink: float = 0.0  # A that it takes back at most

    def set(self, time: float, target: float, limit: float, rise: float | None = None) -> None:
        """From `time` on head for `target` volts with `limit` amps, and with the time constant `rise` if given."""
        self.start, self.since = self.open_volts(time), time
        self.target, self.limit = target, limit
        self.rise = self.rise if rise is None else rise

    def connect(self, time: float, connected: bool) -> None:
        """Close or open the source's output relay; it starts again from nothing when it closes."""
        if connected and not self.connected:
            self.start, self.since = 0.0, time
        self.connected, self.mode = connected, VOLTAGE

    def open_volts(self, time: float) -> float:
        """Open-circuit volts at `time`."""
        if self.rise <= 0.0 or time <= self.since:
            return self.target if self.rise <= 0.0 else self.start
        return self.target + (self.start - self.target) * math.exp((self.since - time) / self.rise)

    def amps(self, time: float, across: float) -> float:
        """Current out of `plus` with `across` volts from plus to minus, in the present mode."""
        if not self.connected:
            return 0.0
        if self.mode == BLOCKED:
            return -self.sink
        if self.mode == CURRENT:
            return self.limit
        return (self.open_volts(time) - across) / self.ohms

    def slope(self) -> float:
        """How much less current flows for each volt more across the terminals, in the present mode."""
        return 1.0 / self.ohms if self.connected and self.mode == VOLTAGE else 0.0

    def settle_mode(self, time: float, across: float) -> bool:
        """Move to the mode that `across` volts call for, one neighbour at a time; True when it moved.

        A step from the limit straight to blocked is never taken: an open circuit in constant current flies off to
        any voltage in the arithmetic, and the truth is then constant voltage.
        """
        if not self.connected:
            return False
        top = self.open_volts(time) + self.ohms * self.sink
        corner = self.open_volts(time) - self.ohms * self.limit
        before = self.mode
        if self.mode == VOLTAGE:
            if across > top + MARGIN:
                self.mode = BLOCKED
            elif across < corner - MARGIN:
                self.mode = CURRENT
        elif (self.mode == CURRENT and across > corner + MARGIN) or (self.mode == BLOCKED and across < top - MARGIN):
            self.mode = VOLTAGE
        return self.mode != before
