"""The voltage of a node over time, as immutable objects that can be sampled exactly at any absolute times.

Nothing here knows a part or a net. A waveform never looks at how densely it is asked, so that a slow capture of a fast
clock aliases by itself. Times are seconds of the shared clock, volts are volts unless a caller scales them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Extremes = tuple[Array, Array]

# How finely a waveform without a closed form is searched for a crossing, and how close the search comes.
CHUNK = 4096
EXACT = 1e-11  # s
JUST_BEFORE = 1e-12  # s; how far before a joint the value "just before it" is taken


class Waveform(Protocol):
    """Volts over time."""

    def samples(self, times: Array) -> Array:
        """Volts at absolute `times` (s), one for each, in any order."""

    def extremes(self, edges: Array) -> Extremes:
        """Lowest and highest volts between neighbouring `edges` (n + 1 ascending times, s), n of each."""

    def crossing(self, level: float, rising: bool, start: float, stop: float) -> float | None:
        """The first time in [start, stop] at which the volts pass `level` upward (or downward), or None."""


class Constant:
    """The same volts for ever."""

    def __init__(self, volts: float) -> None:
        self.volts = volts

    def samples(self, times: Array) -> Array:
        return np.full(times.shape, self.volts)

    def extremes(self, edges: Array) -> Extremes:
        return np.full(edges.size - 1, self.volts), np.full(edges.size - 1, self.volts)

    def crossing(self, level: float, rising: bool, start: float, stop: float) -> float | None:  # noqa: ARG002
        return None


class Deferred:
    """A waveform that is made when it is first looked at: a window of time touches few of the stages of a board."""

    def __init__(self, make: Callable[[], Waveform]) -> None:
        self._make = make
        self._made: Waveform | None = None

    @property
    def made(self) -> Waveform:
        """The waveform itself."""
        if self._made is None:
            self._made = self._make()
        return self._made

    def samples(self, times: Array) -> Array:
        return self.made.samples(times)

    def extremes(self, edges: Array) -> Extremes:
        return self.made.extremes(edges)

    def crossing(self, level: float, rising: bool, start: float, stop: float) -> float | None:
        return self.made.crossing(level, rising, start, stop)


class Joined:
    """One waveform after another: from `starts[i]` on, `waves[i]` holds. Before the first start the first one holds."""

    def __init__(self, starts: Sequence[float], waves: Sequence[Waveform]) -> None:
        self.starts, self.waves = np.array(starts, dtype=np.float64), tuple(waves)

    def samples(self, times: Array) -> Array:
        if len(self.waves) == 1 or (times.size and float(times.min()) >= self.starts[-1]):
            return self.waves[-1].samples(times)
        if times.size and bool(np.all(times[1:] >= times[:-1])):
            bounds = [0, *np.searchsorted(times, self.starts[1:]).tolist(), times.size]
            pairs = zip(self.waves, bounds[:-1], bounds[1:], strict=True)
            found = [wave.samples(times[low:high]) for wave, low, high in pairs if high > low]
            return found[0] if len(found) == 1 else np.concatenate(found)
        volts = np.empty(times.shape)
        place = np.maximum(np.searchsorted(self.starts, times, side="right") - 1, 0)
        for index, wave in enumerate(self.waves):
            inside = place == index
            if inside.any():
                volts[inside] = wave.samples(times[inside])
        return volts

    def extremes(self, edges: Array) -> Extremes:
        return pieced_extremes(edges, self.starts[1:], self.waves)

    def crossing(self, level: float, rising: bool, start: float, stop: float) -> float | None:
        first = max(int(np.searchsorted(self.starts, start, side="right")) - 1, 0)
        for index in range(first, len(self.waves)):
            begin = float(self.starts[index]) if index > first else start
            if begin > stop:
                return None
            if index > first and steps_over(self.waves[index - 1], self.waves[index], begin, level, rising):
                return begin
            end = min(stop, float(self.starts[index + 1])) if index + 1 < len(self.waves) else stop
            found = self.waves[index].crossing(level, rising, begin, end)
            if found is not None:
                return found
        return None


class Repeating:
    """Joined waveforms that come round again: within each `period` from `origin`, `waves[i]` holds from `starts[i]`.

    The inner waveforms are sampled at absolute times, so each should repeat evenly within its own share.
    """

    def __init__(self, period: float, origin: float, starts: Sequence[float], waves: Sequence[Waveform]) -> None:
        self.period, self.origin = period, origin
        self.starts, self.waves = np.array(starts, dtype=np.float64), tuple(waves)

    def samples(self, times: Array) -> Array:
        turns = (times - self.origin) / self.period
        phases = (turns - np.floor(turns)) * self.period
        place = np.maximum(np.searchsorted(self.starts, phases, side="right") - 1, 0)
        volts = np.empty(times.shape)
        for index, wave in enumerate(self.waves):
            inside = place == index
            if inside.any():
                volts[inside] = wave.samples(times[inside])
        return volts

    def extremes(self, edges: Array) -> Extremes:
        first, last = np.floor((edges[[0, -1]] - self.origin) / self.period).astype(np.int64)
        turns = self.origin + np.arange(first, last + 1) * self.period
        joints = (turns[:, None] + self.starts).ravel()
        return pieced_extremes(edges, joints[1:], self.waves * int(last - first + 1))

    def crossing(self, level: float, rising: bool, start: float, stop: float) -> float | None:
        turn = np.floor((start - self.origin) / self.period)
        bounds = [*self.starts.tolist(), self.period]
        for again in range(3):
            base = self.origin + (turn + again) * self.period
            for wave, low, high in zip(self.waves, bounds[:-1], bounds[1:], strict=True):
                begin, end = max(start, base + low), min(stop, base + high)
                if begin < end:
                    found = wave.crossing(level, rising, begin, end)
                    if found is not None:
                        return found
        return None


class Scaled:
    """A waveform times a gain that follows straight lines between the points (`times`, `gains`), as logic follows its
    rail.

    Before the first point and after the last one the gain stays what it is there.
    """

    def __init__(self, inner: Waveform, times: Array, gains: Array) -> None:
        self.inner, self.times, self.gains = inner, times, gains

    def samples(self, times: Array) -> Array:
        if not times.size:
            return np.empty(times.shape)
        low, high = float(times.min()), float(times.max())
        inside = self.gains[(self.times >= low) & (self.times <= high)]
        ends = np.interp([low, high], self.times, self.gains)
        seen = np.concatenate((inside, ends))
        volts = self.inner.samples(times)
        if float(np.ptp(seen)) < 1e-4:
            volts *= float(seen.mean())
        else:
            volts *= np.interp(times, self.times, self.gains)
        return volts

    def extremes(self, edges: Array) -> Extremes:
        low, high = self.inner.extremes(edges)
        gains = np.interp(edges, self.times, self.gains)
        return low * np.minimum(gains[:-1], gains[1:]), high * np.maximum(gains[:-1], gains[1:])

    def crossing(self, level: float, rising: bool, start: float, stop: float) -> float | None:
        for begin, end, steady in self._pieces(start, stop):
            gain = float(np.interp((begin + end) / 2.0, self.times, self.gains))
            if not steady:
                found = search(self, level, rising, begin, end)
            elif gain > 0.02:
                found = self.inner.crossing(level / gain, rising, begin, end)
            else:
                found = None
            if found is not None:
                return found
        return None

    def _pieces(self, start: float, stop: float) -> list[tuple[float, float, bool]]:
        """The window cut where the gain begins or ceases to move, each piece with whether the gain is steady in it."""
        inner = self.times[(self.times > start) & (self.times < stop)]
        bounds = np.unique(np.concatenate(([start], inner, [stop])))
        gains = np.interp(bounds, self.times, self.gains)
        pieces: list[tuple[float, float, bool]] = []
        for low, high, before, after in zip(bounds[:-1], bounds[1:], gains[:-1], gains[1:], strict=True):
            steady = abs(float(after - before)) < 0.01 * max(float(after), float(before), 0.1)
            if pieces and pieces[-1][2] == steady and steady is False:
                pieces[-1] = (pieces[-1][0], float(high), steady)
            else:
                pieces.append((float(low), float(high), steady))
        return pieces


def pieced_extremes(edges: Array, joints: Array, waves: Sequence[Waveform]) -> Extremes:
    """Extremes of waveforms one after another, `waves[i]` up to `joints[i]`: each piece by itself, then put
    together."""
    inside = joints[(joints > edges[0]) & (joints < edges[-1])]
    first = int(np.searchsorted(joints, edges[0], side="right"))
    if not inside.size:
        return waves[first].extremes(edges)
    fine = np.unique(np.concatenate((edges, inside)))
    bounds = [0, *np.searchsorted(fine, inside).tolist(), fine.size - 1]
    lows, highs = [], []
    for number, (begin, end) in enumerate(pairwise(bounds)):
        low, high = waves[first + number].extremes(fine[begin : end + 1])
        lows.append(low)
        highs.append(high)
    starts = np.searchsorted(fine, edges[:-1])
    return np.minimum.reduceat(np.concatenate(lows), starts), np.maximum.reduceat(np.concatenate(highs), starts)


def sampled_extremes(wave: Waveform, edges: Array, count: int = 8) -> Extremes:
    """Extremes of a smooth waveform, from `count` samples in each interval."""
    shares = np.arange(count) / (count - 1.0)
    volts = wave.samples((edges[:-1, None] + np.diff(edges)[:, None] * shares).ravel()).reshape(-1, count)
    return volts.min(axis=1), volts.max(axis=1)


def steps_over(before: Waveform, after: Waveform, joint: float, level: float, rising: bool) -> bool:
    """Whether the volts pass `level` in the step from one waveform to the next at time `joint`."""
    old = float(before.samples(np.array([joint - JUST_BEFORE]))[0])
    new = float(after.samples(np.array([joint]))[0])
    return old < level <= new if rising else old > level >= new


def search(wave: Waveform, level: float, rising: bool, start: float, stop: float) -> float | None:
    """First crossing of a waveform that has no closed form: sampled 4096 times a stretch, then halved to 10 ps."""
    if stop <= start:
        return None
    times = np.linspace(start, stop, CHUNK)
    volts = wave.samples(times)
    passed = (volts[:-1] < level) & (volts[1:] >= level) if rising else (volts[:-1] > level) & (volts[1:] <= level)
    where = np.flatnonzero(passed)
    if not where.size:
        return None
    low, high = float(times[where[0]]), float(times[where[0] + 1])
    while high - low > EXACT + 4e-16 * abs(high):
        middle = (low + high) / 2.0
        value = float(wave.samples(np.array([middle]))[0])
        if middle in (low, high):
            break
        if (value >= level) if rising else (value <= level):
            high = middle
        else:
            low = middle
    return high
