"""A probe whose ground clip is off: the net's volts and, on top, whatever hum lies between board and scope.

Part of the world; it knows no net and no instrument.
"""

from __future__ import annotations

import numpy as np

from simulated_instruments.benches.mains_hum import MainsHum
from simulated_instruments.board.waveform import Array, Extremes, Waveform

PIECES = 64  # of a period of the hum, within which it is taken to stand still
MOST_PIECES = 4096


class LooseGround:
    """A waveform seen against a ground that hums."""

    def __init__(self, inner: Waveform, hum: MainsHum) -> None:
        self.inner, self.hum = inner, hum

    def samples(self, times: Array) -> Array:
        found: Array = self.inner.samples(times) + self.hum.samples(times)
        return found

    def extremes(self, edges: Array) -> Extremes:
        """Right for intervals that are short beside the hum or beside the waveform's own rests; else wider than the
        truth, never narrower."""
        low, high = self.inner.extremes(edges)
        shares = np.linspace(0.0, 1.0, 9)
        hum = self.hum.samples(edges[:-1, None] + np.diff(edges)[:, None] * shares)
        whole = np.diff(edges) * self.hum.hertz >= 0.5
        least, most = hum.min(axis=1), hum.max(axis=1)
        return low + np.where(whole, -self.hum.volts, least), high + np.where(whole, self.hum.volts, most)

    def crossing(self, level: float, rising: bool, start: float, stop: float) -> float | None:
        """Piece by piece, each as if the hum stood still in it; where it carries a resting level across, the joint."""
        pieces = min(MOST_PIECES, max(1, int(np.ceil((stop - start) * PIECES * self.hum.hertz))))
        bounds = np.linspace(start, stop, pieces + 1)
        ends = self.samples(bounds)
        for place in range(pieces):
            begin, end = float(bounds[place]), float(bounds[place + 1])
            still = float(self.hum.samples(np.array([(begin + end) / 2.0]))[0])
            found = self.inner.crossing(level - still, rising, begin, end)
            if found is not None:
                return found
            before, after = float(ends[place]), float(ends[place + 1])
            if (before < level <= after) if rising else (before > level >= after):
                return end
        return None
