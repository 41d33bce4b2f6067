"""The network in time: implicit steps on a grid that depends on the circuit alone, never on who asks or when.

Between two grid points every answer is interpolated, and a step that is not over yet is only pencilled in: asking
more often changes nothing. A change from outside (a relay, a setting) closes the step at its own time and starts a
new grid there. It knows no parts; `Loads` tells it what the chips do.

Method: two-stage singly diagonally implicit Runge-Kutta of order two, γ = 1 − 1/√2, L-stable and stiffly accurate
(R. Alexander, SIAM J. Numer. Anal. 14 (1977) 1006), so nodes without a capacitor come out right at once.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from simulated_instruments.board.loads import Array
from simulated_instruments.board.network import Network

GAMMA = 1.0 - 1.0 / math.sqrt(2.0)
FIRST = 20e-6  # s, first step after a change
LONGEST = 5.0  # s
SHORTEST = 1e-6  # s, taken whatever the error estimate says
GROWTH = 3.0
RETREAT = 0.2  # share of a step that is tried where the whole one has no solution that can be found
FINE = 5e-4  # V, error a step may make …
RELATIVE = 5e-3  # … plus this share of the highest voltage; the estimate is of first order, the result of second
KINK = 30.0  # so much finer where a source goes into or out of its limit, which bends every curve
FREEZE = 1e-7  # s: so short that capacitors stand still while the other nodes jump to where they belong
KEPT = 60.0  # s of past grid kept: a scope hands out its record long after it was taken


class Loads(Protocol):
    """What the chips do in time."""

    def scales(self, time: float) -> Array:
        """Factor on every load's current at `time`."""

    def next_change(self, time: float) -> float:
        """When a part next changes its state by itself (after `time`), `inf` if never."""

    def passed(self, begin: Moment, end: Moment) -> bool:
        """The time from `begin` to `end` is over; True if a part changed its state at the end of it."""


@dataclass(frozen=True)
class Moment:
    """Node volts (the reference last), how fast they change (V/s), currents and modes of the sources at one time."""

    time: float
    volts: Array
    rate: Array
    amps: Array
    modes: tuple[str, ...]


class Transient:
    """Volts and source currents of a network at any time up to a little ahead of the last one asked for."""

    def __init__(self, network: Network, loads: Loads, start: float) -> None:
        self.network, self.loads = network, loads
        self.solved = 0  # steps solved so far, to watch the cost
        still = np.zeros(network.size + 1)
        nothing = Moment(start, still, still, np.zeros(len(network.sources)), self._modes())
        self.history: deque[Moment] = deque([nothing])
        self._ahead: tuple[Moment, float] | None = None
        self._step = FIRST
        self._known: tuple[Moment, Moment, tuple[Moment, float] | None] | None = None  # an answer, and from what

    @property
    def last(self) -> Moment:
        """The newest grid point that is certain."""
        return self.history[-1]

    def at(self, time: float) -> Moment:
        """Volts and currents at `time`, which must not lie before the last change."""
        known = self._known
        if known is not None and known[0].time == time and known[1] is self.last and known[2] is self._ahead:
            return known[0]  # a clock that stands still: many ask for the same moment
        self._advance(time)
        last = self.last
        if time <= last.time:
            return last
        ahead, _ = self._pencilled()
        size = ahead.time - last.time
        share = (time - last.time) / size
        # The parabola through both ends that has the right slope at the far one, as exact as the method itself.
        rise, bend = ahead.volts - last.volts, size * ahead.rate - (ahead.volts - last.volts)
        volts = last.volts + share * (rise - bend) + share * share * bend
        rate = (rise - bend + 2.0 * share * bend) / size
        found = Moment(time, volts, rate, last.amps + share * (ahead.amps - last.amps), last.modes)
        self._known = found, last, self._ahead
        return found

    def cut(self, time: float) -> None:
        """Make `time` a grid point, because the circuit is about to change there; `restart` must follow."""
        moment = self.at(time)
        if moment.time > self.last.time:
            self._keep(moment)

    def restart(self) -> None:
        """The circuit has changed at the last grid point: let nodes without a capacitor jump, and step finely again."""
        last = self.last
        self.network.scale = self.loads.scales(last.time)
        volts = self.network.solve(last.time, last.volts, 1.0 / FREEZE, last.volts[: self.network.size])
        still = np.zeros(self.network.size + 1)
        self.history.append(Moment(last.time, volts, still, self.network.source_amps(last.time, volts), self._modes()))
        self._step, self._ahead = FIRST, None

    def average(self, plus: str, minus: str, start: float, stop: float) -> float:
        """Mean volts from node `plus` to `minus` over [start, stop]; `stop` not before the last change."""
        end = self.at(stop)
        high, low = self.network.index[plus], self.network.index[minus]
        moments = [end]
        for moment in reversed(self.history):
            moments.append(moment)
            if moment.time <= start:
                break
        moments.reverse()
        times = np.array([moment.time for moment in moments])
        volts = np.array([float(moment.volts[high] - moment.volts[low]) for moment in moments])
        if stop - start <= 0.0 or start >= stop:
            return float(volts[-1])
        inside = times > start
        first = np.interp(start, times, volts)
        times = np.concatenate(([start], times[inside]))
        volts = np.concatenate(([first], volts[inside]))
        return float(np.sum((volts[1:] + volts[:-1]) / 2.0 * np.diff(times)) / (stop - start))

    def _advance(self, time: float) -> None:
        while True:
            if time <= self.last.time:
                return
            ahead, step = self._pencilled()
            if ahead.time > time:
                return
            self._step = step
            self._keep(ahead)

    def _keep(self, moment: Moment) -> None:
        before = self.last
        self.history.append(moment)
        while len(self.history) > 2 and self.history[1].time < moment.time - KEPT:
            self.history.popleft()
        self._ahead = None
        if self.loads.passed(before, moment):
            self.restart()

    def _pencilled(self) -> tuple[Moment, float]:
        """The end of the step that begins at the last grid point, and the size of the step after it."""
        if self._ahead is None:
            last = self.last
            room = self.loads.next_change(last.time) - last.time
            size = self._step
            while True:
                whole = size < room
                taken = size if whole else room
                try:
                    moment, error, allowed = self._take(last, taken)
                except ArithmeticError:
                    # From too far away the iteration may go round in circles at a kink; from nearer it ends.
                    if taken <= SHORTEST:
                        raise
                    size = max(SHORTEST, RETREAT * taken)
                    continue
                factor = min(GROWTH, max(0.2, 0.9 * math.sqrt(allowed / max(error, 1e-15))))
                if error <= 2.0 * allowed or taken <= SHORTEST:
                    break
                size = max(SHORTEST, taken * min(factor, 0.5))
            self._ahead = moment, min(LONGEST, max(SHORTEST, taken * factor if whole else self._step))
        return self._ahead

    def _take(self, last: Moment, size: float) -> tuple[Moment, float, float]:
        """One step of `size` seconds: its end, the estimated error (V) and the error allowed (V)."""
        self.solved += 1
        network, count = self.network, self.network.size
        part = GAMMA * size
        begin, end = last.volts, last.time + size
        network.scale = self.loads.scales(last.time + part)
        first = network.solve(last.time + part, begin + part * last.rate, 1.0 / part, begin[:count])
        rate = (first - begin) / part
        held = begin + (1.0 - GAMMA) * size * rate
        network.scale = self.loads.scales(end)
        volts = network.solve(end, begin + size * rate, 1.0 / part, held[:count])
        error = float(np.abs(volts - begin - size * rate).max(initial=0.0))
        allowed = FINE + RELATIVE * float(np.abs(volts).max())
        modes = self._modes()
        if modes != last.modes:
            allowed /= KINK
        return Moment(end, volts, (volts - held) / part, network.source_amps(end, volts), modes), error, allowed

    def _modes(self) -> tuple[str, ...]:
        return tuple(source.mode for source in self.network.sources)
