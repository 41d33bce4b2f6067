"""What is neither a resistor nor a load: diodes, a linear regulator, a converter. Amps from volts; it knows no board.

Every current is a smooth function of the node volts, so that the network has slopes to go by.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from simulated_instruments.board.loads import Array

SOFT = 0.004  # A over which one limit gives way to the next
STEP = 1e-6  # V, for slopes
OPEN_OHMS = 10e6
FOLDS = 0.6  # of a regulator's volts
STRAIGHT_FROM = 22.0  # in units of a diode's slope; from there on the tangent, so that nothing overflows


class Element(Protocol):
    """Something between several nodes."""

    name: str
    nodes: tuple[str, ...]

    def amps(self, volts: Array) -> Array:
        """Current that leaves each of `nodes` into the element, with those volts on them; the sum is 0."""


def slopes(element: Element, volts: Array) -> Array:
    """Derivatives of `element.amps`: one row a current, one column a node."""
    count = volts.size
    found = np.empty((count, count))
    for column in range(count):
        step = np.zeros(count)
        step[column] = STEP
        found[:, column] = (element.amps(volts + step) - element.amps(volts - step)) / (2.0 * STEP)
    return found


def softplus(value: float, width: float) -> float:
    """`value` where it is positive, 0 where it is negative, rounded over `width`."""
    share = value / width
    return width * (max(share, 0.0) + math.log1p(math.exp(-abs(share))))


def least(*values: float) -> float:
    """The least of several currents (A), rounded over `SOFT`."""
    lowest = min(values)
    return lowest - SOFT * math.log(sum(math.exp((lowest - value) / SOFT) for value in values))


@dataclass
class Diode:
    """A junction that takes `rated` amps at `forward` volts: I = I₀·(exp(V/slope) − 1) (Shockley)."""

    name: str
    nodes: tuple[str, ...]  # anode, cathode
    forward: float
    rated: float
    slope: float = 0.05
    open: bool = False

    def amps(self, volts: Array) -> Array:
        # What board and dirt leak: without it what lies behind a diode that blocks would be at no voltage at all.
        leak = float(volts[0] - volts[1]) / OPEN_OHMS
        if self.open:
            return np.array([leak, -leak])
        steps = float(volts[0] - volts[1]) / self.slope
        bent = min(steps, STRAIGHT_FROM)
        saturation = self.rated / math.expm1(self.forward / self.slope)
        current = saturation * (math.exp(max(bent, -60.0)) * (1.0 + steps - bent if steps > bent else 1.0) - 1.0)
        current += leak
        return np.array([current, -current])


@dataclass
class Regulator:
    """A linear regulator from `nodes` in, out, ground: `volts` behind `ohms`, at most `limit` amps, folding back to
    `folded` of that into a short; it needs `dropout` volts more than it gives, and takes `quiescent` amps itself."""

    name: str
    nodes: tuple[str, ...]
    volts: float
    limit: float
    dropout: float = 1.8
    ohms: float = 0.008
    folded: float = 0.35
    quiescent: float = 0.006

    def amps(self, volts: Array) -> Array:
        given, out = float(volts[0] - volts[2]), float(volts[1] - volts[2])
        wanted = (self.volts - out) / self.ohms
        headroom = softplus(given - out - self.dropout, 0.05) * 20.0
        # It folds back below FOLDS of its volts only, and smoothly, as a current sense with a divider does.
        share = min(max(out / (FOLDS * self.volts), 0.0), 1.0)
        most = self.limit * (self.folded + (1.0 - self.folded) * share * share * (3.0 - 2.0 * share))
        # Without headroom nothing passes at all, whatever the rounding above leaves.
        passed = softplus(least(wanted, headroom, most), SOFT) * headroom / (headroom + SOFT)
        idle = self.quiescent * min(max(given / 3.0, 0.0), 1.0)
        return np.array([passed + idle, -passed, -idle])


@dataclass
class Converter:
    """A switching converter from `nodes` in, ground, plus, minus: `high` volts behind `high_ohms` up to `high_limit`
    amps, `low` volts (negative) behind `low_ohms` up to `low_limit`; its input takes what both give, by `efficiency`.
    It runs from `starts` volts on. A branch that is dead gives nothing."""

    name: str
    nodes: tuple[str, ...]
    high: float
    low: float
    high_ohms: float = 0.8
    low_ohms: float = 20.0
    high_limit: float = 0.4
    low_limit: float = 0.03
    efficiency: float = 0.75
    starts: float = 6.0
    idle: float = 0.012
    high_dead: bool = False
    low_dead: bool = False

    def amps(self, volts: Array) -> Array:
        ground = float(volts[1])
        given, plus, minus = float(volts[0]) - ground, float(volts[2]) - ground, float(volts[3]) - ground
        alive = 1.0 / (1.0 + math.exp(min((self.starts - given) / 0.12, 500.0)))
        source = (
            0.0
            if self.high_dead
            else alive * softplus(least((self.high - plus) / self.high_ohms, self.high_limit), SOFT)
        )
        sink = (
            0.0
            if self.low_dead
            else alive * softplus(least((minus - self.low) / self.low_ohms, self.low_limit), SOFT / 8.0)
        )
        power = max(plus, 0.0) * source + max(-minus, 0.0) * sink
        taken = power / (self.efficiency * max(given, 3.0)) + self.idle * alive
        return np.array([taken, source - sink - taken, -source, sink])
