"""A probe on a long ground lead: it rings after every edge, and picks up the steps of the board's own currents.

The lead's inductance and the probe's capacitance are a series resonance of f = 1/(2π√(LC)) in the way of what is
measured; about 1 nH for each millimetre of wire (common practice), so that 150 mm and 12 pF ring at 119 MHz. The loop
that the lead makes also takes a kick from every step of the board's current, which is all that a rail shows of it.
Part of the world; it knows no net and no instrument.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from simulated_instruments.board.waveform import Array, Extremes, Waveform, sampled_extremes, search

HENRY_A_METRE = 1e-6
PROBE_FARADS = 12e-12
DAMPING = 0.18  # ζ, by the tip's own resistance: each half-wave keeps exp(-πζ/√(1-ζ²)) = 0.56 of the one before it
DELAYS = 40  # into which the response is cut …
HALF_WAVES = 7.0  # … over so many half-waves, after which it has died away
EDGE_ROOM, EDGE_STEP = 20e-9, 0.25e-9  # s looked at before an edge, and between the looks
KICKS = 4096  # different sizes of a step, after which they come again
LIVE_FROM, LIVE_AT = 1.0, 3.0  # V on a rail between which the chips that make the steps begin to work


@dataclass(frozen=True)
class GroundLead:
    """A lead of `metres`; `kick` V is the largest step it picks up, of those that come `rate` times a second."""

    metres: float
    kick: float
    rate: float
    sizes: Array

    @property
    def hertz(self) -> float:
        """What it rings at, undamped."""
        return 1.0 / (2.0 * math.pi * math.sqrt(HENRY_A_METRE * self.metres * PROBE_FARADS))

    @property
    def damped(self) -> float:
        """What it rings at, rad/s."""
        return 2.0 * math.pi * self.hertz * math.sqrt(1.0 - DAMPING**2)

    def response(self) -> tuple[Array, Array]:
        """Delays (s) and weights that stand for the response to an impulse; the weights add up to one."""
        length = HALF_WAVES * math.pi / self.damped
        delays = np.asarray((np.arange(DELAYS) + 0.5) * (length / DELAYS), dtype=np.float64)
        weights = np.exp(-2.0 * math.pi * self.hertz * DAMPING * delays) * np.sin(self.damped * delays)
        whole: Array = weights / weights.sum()
        return delays, whole

    def picked_up(self, times: Array) -> Array:
        """Volts that the steps of the board's current leave at `times` (s)."""
        place = np.floor(times * self.rate)
        since = times - place / self.rate
        sizes = self.sizes[place.astype(np.int64) % KICKS]
        dying = np.exp(-2.0 * math.pi * self.hertz * DAMPING * since)
        found: Array = self.kick * sizes * dying * np.sin(self.damped * since)
        return found


class RingingNet:
    """A net as it is seen over a long ground lead."""

    def __init__(self, inner: Waveform, lead: GroundLead) -> None:
        self.inner, self._lead = inner, lead
        self._delays, self._weights = lead.response()
        self._beyond: tuple[float, float] | None = None

    def samples(self, times: Array) -> Array:
        found = np.zeros(times.shape)
        for delay, weight in zip(self._delays, self._weights, strict=True):
            found += weight * self.inner.samples(times - delay)
        return found

    def extremes(self, edges: Array) -> Extremes:
        """The net's own, stretched by the overshoot of its edges wherever it moves within an interval."""
        low, high = self.inner.extremes(edges)
        below, above = self._overshoot(float(low.min()), float(high.max()), float(edges[0]), float(edges[-1]))
        return low - below * (high - low), high + above * (high - low)

    def _overshoot(self, bottom: float, top: float, start: float, stop: float) -> tuple[float, float]:
        """How far beyond its levels a fall and a rise between `start` and `stop` go, as shares of the swing. An edge
        that takes as long as a period of the lead does not make it ring."""
        if self._beyond is None and top > bottom:
            around = np.arange(-2.0 * EDGE_ROOM, HALF_WAVES * math.pi / self._lead.damped, EDGE_STEP)
            shares = []
            for rising, side in ((False, -1.0), (True, 1.0)):
                at = self.inner.crossing(0.5 * (bottom + top), rising, start, stop)
                if at is None:
                    return 0.0, 0.0
                seen, own = side * self.samples(at + around), side * self.inner.samples(at + around)
                shares.append(max(0.0, float(seen.max() - own.max())) / (top - bottom))
            self._beyond = shares[0], shares[1]
        return self._beyond or (0.0, 0.0)

    def crossing(self, level: float, rising: bool, start: float, stop: float) -> float | None:
        """Where the net itself crosses: the lead delays it by less than a sample."""
        return self.inner.crossing(level, rising, start, stop)


class HashedRail:
    """A supply node as it is seen over a long ground lead: with a burst at every step of the board's current."""

    def __init__(self, inner: Waveform, lead: GroundLead) -> None:
        self.inner, self.lead = inner, lead

    def samples(self, times: Array) -> Array:
        volts = self.inner.samples(times)
        alive = np.clip((np.abs(volts) - LIVE_FROM) / (LIVE_AT - LIVE_FROM), 0.0, 1.0)
        found: Array = volts + alive * self.lead.picked_up(times)
        return found

    def extremes(self, edges: Array) -> Extremes:
        low, high = self.inner.extremes(edges)
        middle = sampled_extremes(self, edges, count=2)
        return np.minimum(low - self.lead.kick, middle[0]), np.maximum(high + self.lead.kick, middle[1])

    def crossing(self, level: float, rising: bool, start: float, stop: float) -> float | None:
        found = self.inner.crossing(level, rising, start, stop)
        return found if found is not None else search(self, level, rising, start, min(stop, start + 1e-4))
