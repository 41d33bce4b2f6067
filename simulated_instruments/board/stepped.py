"""Waveforms of driven nets: a list of edges that repeats, each edge an exponential toward the level of its driver.

It knows levels and time constants, no part. One shape serves all that a net can do: a driver's edge (nanoseconds), a
pull-up charging a line (microseconds), and the slow drift of a bus that nobody drives.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from simulated_instruments.board.waveform import Array, Extremes

Codes = NDArray[np.int64]

# From 10 % to 90 % an exponential takes ln 9 time constants.
TEN_TO_NINETY = float(np.log(9.0))
# How often the volts at the edges are carried round before they are taken as periodic; a driven stretch forgets.
ROUNDS = 8
AT_ONCE = 8192  # samples; fewer are not worth a table of where edges are
MANY = 4  # samples an edge; with fewer the edges are not worth looking up
FEW = 64  # samples; fewer are looked up one by one
GONE = 45.0  # time constants; of a step of some volts nothing is left then that a double beside its target could hold
LOOKED_THROUGH = 256  # stretches that are looked through at first for a crossing
MOST_BUCKETS = 1 << 19
WORTH = 6  # edges in one bucket beyond which searching is quicker


class Stepped:
    """Volts v(t) = target + (v₀ − target)·exp(−(t − edge)/τ) after each edge, repeating with `period`.

    `edges` (s, ascending, within [0, period)), `targets` (V) and `constants` (τ, s) have one element an edge; `origin`
    is an absolute time at which a period begins. v₀ is what the stretch before has come to, so the volts are
    continuous.
    """

    def __init__(self, edges: Array, targets: Array, constants: Array, period: float, origin: float) -> None:
        self.edges, self.targets, self.period, self.origin = edges, targets, period, origin
        self.rates: Array = 1.0 / constants
        self._kept = self._left_over()
        begin = turned(targets)
        for _ in range(ROUNDS):
            again = turned(targets + (begin - targets) * self._kept)
            settled = float(np.abs(again - begin).max()) < 1e-6
            begin = again
            if settled:
                break
        self.steps: Array = begin - targets
        self._buckets: Buckets | None = None

    def _left_over(self) -> Array:
        """The share of each step that is left at the end of its stretch."""
        lengths = np.diff(np.append(self.edges, self.edges[0] + self.period))
        left: Array = np.exp(-np.minimum(lengths * self.rates, 700.0))
        return left

    def samples(self, times: Array) -> Array:
        if times.size <= AT_ONCE:
            return self._samples(times)
        volts = np.empty(times.shape)
        for begin in range(0, times.size, AT_ONCE):
            volts[begin : begin + AT_ONCE] = self._samples(times[begin : begin + AT_ONCE])
        return volts

    def _samples(self, times: Array) -> Array:
        """Samples of so few times that all arrays stay in the processor's cache."""
        phases = (times - self.origin) / self.period
        turns = np.floor(phases)
        phases -= turns
        phases *= self.period
        if self.edges.size > 4 and phases.size > FEW and turns[0] == turns[-1]:
            first, last = np.searchsorted(self.edges, phases[[0, -1]], side="right").tolist()
            if (last - first) * MANY < phases.size and bool((phases[1:] >= phases[:-1]).all()):
                return self._run(phases, first, last)
        place = self._places(phases)
        return self._volts(phases, place, self.targets[place])

    def _volts(self, phases: Array, place: NDArray[np.intp], targets: Array) -> Array:
        """`targets`, with what is left of the steps at the edges `place` added."""
        phases = phases - self.edges[place]
        phases += self.period * (phases < 0.0)
        phases *= -self.rates[place]
        # Single precision: seven digits of a step of a few volts, in a fifth of the time.
        left = np.exp(np.maximum(phases, -60.0).astype(np.float32))
        targets += left * self.steps[place]
        return targets

    def _run(self, phases: Array, first: int, last: int) -> Array:
        """Samples of phases that only rise: the few edges among them (from `first` to before `last`) are looked up, not
        the many phases, and only what comes soon after an edge differs from its target."""
        numbers = np.arange(first - 1, last)
        begins = np.zeros(numbers.size + 1, dtype=np.intp)
        begins[1:-1], begins[-1] = phases.searchsorted(self.edges[first:last]), phases.size
        volts = np.repeat(self.targets[numbers], np.diff(begins))
        still = self.edges[numbers] + GONE / self.rates[numbers]
        still[0] -= self.period if first == 0 else 0.0  # the last edge of the period before
        lengths = np.maximum(np.minimum(phases.searchsorted(still), begins[1:]) - begins[:-1], 0)
        ends = np.cumsum(lengths)
        if 2 * int(ends[-1]) > phases.size:
            return self._volts(phases, np.repeat(numbers, np.diff(begins)), volts)
        near = np.arange(int(ends[-1])) + np.repeat(begins[:-1] - ends + lengths, lengths)
        volts[near] = self._volts(phases[near], np.repeat(numbers, lengths), volts[near])
        return volts

    def _places(self, phases: Array) -> NDArray[np.intp]:
        """The stretch each phase lies in; −1, the last stretch of the period before, ahead of the first edge."""
        if self.edges.size <= 4:
            place = np.full(phases.shape, -1, dtype=np.intp)
            for edge in self.edges:
                place += phases >= edge
            return place
        if phases.size < AT_ONCE:
            return np.searchsorted(self.edges, phases, side="right") - 1
        if self._buckets is None:
            self._buckets = Buckets(self.edges, self.period)
        return self._buckets.places(phases)

    def extremes(self, edges: Array) -> Extremes:
        """Between edges of its own each stretch only rises or only falls, so the ends and those edges are enough."""
        count = self.edges.size
        turns = np.floor((edges - self.origin) / self.period)
        phases = edges - self.origin - turns * self.period
        numbers = turns.astype(np.int64) * count + np.searchsorted(self.edges, phases, side="right")
        whole = np.diff(numbers) >= count
        first = numbers[:-1] % count
        pairs = np.stack((first, first + np.where(whole, 0, np.diff(numbers))), axis=1).ravel()
        corners = self.targets + self.steps
        twice = np.concatenate((corners, corners, corners[:1]))
        ends = self.samples(edges)
        low, high = np.minimum(ends[:-1], ends[1:]), np.maximum(ends[:-1], ends[1:])
        some = pairs[1::2] > pairs[::2]
        low = np.where(some, np.minimum(low, np.minimum.reduceat(twice, pairs)[::2]), low)
        high = np.where(some, np.maximum(high, np.maximum.reduceat(twice, pairs)[::2]), high)
        return np.where(whole, corners.min(), low), np.where(whole, corners.max(), high)

    def crossing(self, level: float, rising: bool, start: float, stop: float) -> float | None:
        turn = float(np.floor((start - self.origin) / self.period))
        phase = start - self.origin - turn * self.period
        count, width = self.edges.size, LOOKED_THROUGH
        place = int(np.searchsorted(self.edges, phase, side="right")) - 1
        end = place + count + 1  # the stretch that `phase` lies in comes round again
        while place < end:
            numbers = np.arange(place, min(place + width, end))
            rounds, numbers = np.divmod(numbers, count)
            found, crossed = self._phases_of(level, rising, numbers)
            rounds = rounds[found] + (crossed >= self.period)
            crossed = np.where(crossed >= self.period, crossed - self.period, crossed)
            later = np.flatnonzero((rounds > 0) | ((rounds == 0) & (crossed >= phase)))
            if later.size:
                one = int(later[0])
                time = self.origin + (turn + float(rounds[one])) * self.period + float(crossed[one])
                return max(time, start) if time <= stop else None
            place, width = place + width, 4 * width
        return None

    def _phases_of(self, level: float, rising: bool, numbers: NDArray[np.intp]) -> tuple[NDArray[np.intp], Array]:
        """Which of the stretches `numbers` the volts pass `level` in, and the phases at which they do, those of the
        last stretch beyond the period: t = τ·ln((v₀ − target)/(level − target))."""
        targets, steps, kept = self.targets[numbers], self.steps[numbers], self._kept[numbers]
        begin, end = targets + steps, targets + steps * kept
        passed = (begin < level) & (end >= level) if rising else (begin > level) & (end <= level)
        where = np.flatnonzero(passed)
        left = np.minimum((level - targets[where]) / steps[where], 1.0)
        after = -np.log(np.maximum(left, kept[where])) / self.rates[numbers[where]]
        return where, self.edges[numbers[where]] + after


class Buckets:
    """Finds the edge before each of many phases: the period is cut into equal buckets, and each knows where to begin.

    As quick as one look-up however many edges there are, where a binary search takes ten times as long.
    """

    def __init__(self, edges: Array, period: float) -> None:
        gaps = np.diff(edges)
        count = int(np.clip(period / max(float(gaps.min()), period * 1e-9), 16, MOST_BUCKETS))
        self.edges, self.scale = edges, count / period
        within = np.bincount((edges * self.scale).astype(np.int64), minlength=count + 1)
        # How many edges lie in the buckets before; rounding may put a phase into the bucket after the last one.
        self.before: NDArray[np.intp] = np.cumsum(within) - within
        self.most = int(within.max())
        self.ahead: Array = np.append(edges, np.inf)

    def places(self, phases: Array) -> NDArray[np.intp]:
        """Index of the last edge at or before each phase, −1 if there is none."""
        if self.most > WORTH:
            return np.searchsorted(self.edges, phases, side="right") - 1
        passed = self.before[(phases * self.scale).astype(np.int64)]
        for _ in range(self.most):
            passed += phases >= self.ahead[passed]
        passed -= 1
        return passed


def turned(values: Array) -> Array:
    """`values` one place later, the last one first."""
    return np.concatenate((values[-1:], values[:-1]))


def without_repeats(edges: Array, codes: Codes) -> tuple[Array, Codes]:
    """`edges` (ascending) and what holds after each, without those that change nothing; at least one edge stays."""
    last_of_equal = edges[1:] > edges[:-1]
    if not last_of_equal.all():
        last_of_equal = np.append(last_of_equal, True)
        edges, codes = edges[last_of_equal], codes[last_of_equal]
    changes = np.empty(codes.size, dtype=np.bool_)
    changes[0] = codes[0] != codes[-1]
    np.not_equal(codes[1:], codes[:-1], out=changes[1:])
    if not changes.any():
        return edges[:1], codes[:1]
    return edges[changes], codes[changes]


def clock(frequency: float, origin: float, low: float, high: float, fall: float, rise: float, duty: float) -> Stepped:
    """A square wave of `frequency` (Hz), high for the share `duty` from `origin` on; `fall` and `rise` are 10 to 90
    %."""
    period = 1.0 / frequency
    return Stepped(
        np.array([0.0, duty * period]),
        np.array([high, low]),
        np.array([rise, fall]) / TEN_TO_NINETY,
        period,
        origin,
    )
