"""What a counter's inputs see where they touch: the edges of a node within a stretch of time, counted exactly.

Part of the world; it knows the board's waveforms through its probes, and no instrument.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from simulated_instruments.devices.terminals import Edges
from simulated_instruments.scope_probes import ScopeProbes

NEAR = 0.25  # of a period; an edge further from where it should be means that the periods are not even
LOOKS = 16  # places at which even periods are looked at once more
NEXT = 1e-10  # s; an edge is not looked for nearer to the one before
SAMPLES = 1 << 16  # taken at a time where periods are not even
STEP = 20e-9  # s from sample to sample then; no logic line of these boards has a shorter pulse
BAND = 0.1  # V about the level within which noise counts for nothing
SWING_POINTS = 4096


class CounterSockets:
    """`CounterTerminals` of one counter."""

    def __init__(self, probes: ScopeProbes) -> None:
        self._probes = probes

    def key(self, channel: int) -> str:
        return self._probes.key(channel)

    def swing(self, channel: int, start: float, stop: float) -> tuple[float, float, float]:
        start = max(start, 0.0)
        lows, highs = self._probes.extremes(channel, np.array([start, max(stop, start + NEXT)]))
        # Places that keep no step with anything, so that the mean is no alias.
        times = start + (np.arange(SWING_POINTS) * 0.6180339887498949 % 1.0) * (stop - start)
        return float(lows[0]), float(highs[0]), float(self._probes.samples(channel, np.sort(times)).mean())

    def edges(self, channel: int, level: float, start: float, stop: float) -> Edges:
        """By whole periods where these are even, else sample by sample."""
        start = max(start, 0.0)
        first = self._next(channel, level, start, stop)
        if first is None:
            return Edges(0)
        second = self._next(channel, level, first + NEXT, stop)
        if second is None:
            return Edges(1, first, first)
        even = self._even(channel, level, first, second, stop)
        return even if even is not None else self._sampled(channel, level, start, stop)

    def _next(self, channel: int, level: float, start: float, stop: float) -> float | None:
        return self._probes.crossing(channel, level, True, start, stop) if stop > start else None

    def _even(self, channel: int, level: float, first: float, second: float, stop: float) -> Edges | None:
        """Further and further ahead by whole periods, which are known the better the more of them there are; None where
        an edge is not where it should be."""
        count, at = 1, second
        while True:
            period = (at - first) / count
            step = min(2 * count, int((stop - at) / period - NEAR))
            if step < 1:
                break
            wanted = at + step * period
            found = self._next(channel, level, wanted - NEAR * period, wanted + NEAR * period)
            if found is None:
                return None
            count, at = count + step, found
        period = (at - first) / count
        for look in range(1, LOOKS):
            begin = first + (look * 0.6180339887498949 % 1.0) * (at - first)
            found = self._next(channel, level, begin, begin + (1.0 + NEAR) * period)
            after = None if found is None else self._next(channel, level, found + NEXT, found + (1.0 + NEAR) * period)
            if found is None or (after is None and found + (1.0 + NEAR) * period <= stop):
                return None
            if after is not None and after - found < (1.0 - NEAR) * period:
                return None
        last = self._next(channel, level, at + NEXT, stop)  # one that lies just before the end
        return Edges(count + 1, first, at) if last is None else Edges(count + 2, first, last)

    def _sampled(self, channel: int, level: float, start: float, stop: float) -> Edges:
        """Every rise through the level, by samples near enough to each other for any pulse."""
        rises: list[NDArray[np.float64]] = []
        above: bool | None = None
        for begin in np.arange(start, stop, SAMPLES * STEP):
            times = np.arange(begin, min(begin + SAMPLES * STEP, stop), STEP)
            volts = self._probes.samples(channel, times)
            sides = np.where(volts > level + BAND, 1, np.where(volts < level - BAND, -1, 0))
            clear = np.flatnonzero(sides)
            if not clear.size:
                continue
            ups = clear[1:][np.diff(sides[clear]) > 0]
            if above is False and sides[clear[0]] > 0:
                ups = np.concatenate((clear[:1], ups))
            above = bool(sides[clear[-1]] > 0)
            rises.append(times[ups])
        found = np.concatenate(rises) if rises else np.empty(0)
        return Edges(found.size, float(found[0]), float(found[-1])) if found.size else Edges(0)
