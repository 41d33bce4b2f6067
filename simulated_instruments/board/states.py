"""What the parts of a board are doing at a time: powered or not, in reset or running. It solves no network.

Everything follows from when each part got its rail: `powered_since` is the only memory, the rest is a pure function of
it and the time. Parts behave by their `kind`; a new behaviour is a new line in `BEHAVIOUR`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from simulated_instruments.board.assembly import Assembly, drawing
from simulated_instruments.board.loads import Array

# A chip begins to work at WORKS_FROM of its nominal rail and stops below STOPS_BELOW (common practice for TTL and NMOS,
# whose data sheets promise nothing below 95 %). The two lie wider apart than a limited supply's rail moves when the
# chips stop, so that a board which gets too little current sits still instead of hunting.
WORKS_FROM = 0.70
STOPS_BELOW = 0.50
# Die and board warm by this much, with the rail at WARM_AT of nominal, and draw that much less for it.
WARM_BY = 25.0  # °C
WARM_AT = 0.95
WARM_IN = 180.0  # s
PER_DEGREE = -0.0015
RESET_KINDS = ("reset timer", "reset supervisor")


@dataclass(frozen=True)
class BoardState:
    """The board at `time`: volts across each part's supply pins, since when each part is powered (None: it is not),
    since when the oscillator runs, reset is released, the CPU runs and the start-up software is through."""

    time: float
    rail: Mapping[str, float]
    powered_since: Mapping[str, float | None]
    clock_since: float | None
    released_since: float | None
    running_since: float | None
    ready_since: float | None

    def powered(self, part: str) -> bool:
        """Whether `part` has enough on its rail to work."""
        return self.powered_since.get(part) is not None


def cpu(part: str, state: BoardState) -> str:
    """The CPU idles in reset and without a clock."""
    if not state.powered(part):
        return "off"
    return "run" if state.running_since is not None else "reset"


def dram(part: str, state: BoardState) -> str:
    """Memory is refreshed once the CPU runs, and worked in full when the start-up software has cleared it."""
    if not state.powered(part) or state.running_since is None:
        return "standby"
    return "active" if state.ready_since is not None else "refreshed"


def video(part: str, state: BoardState) -> str:
    """The video chip runs by the oscillator alone."""
    return "run" if state.powered(part) and state.clock_since is not None else "no clock"


def buffer(part: str, state: BoardState) -> str:
    """A data buffer has work while the CPU runs; one that is enabled against others then fights them."""
    return "run" if state.powered(part) and state.running_since is not None else "idle"


BEHAVIOUR: Mapping[str, Callable[[str, BoardState], str]] = {
    "cpu": cpu,
    "dram": dram,
    "ram": dram,
    "video": video,
    "video controller": video,
    "gate array": video,
    "data buffer": buffer,
}


@dataclass(frozen=True)
class Epoch:
    """From `start` on, until the next one: the parts that work, and when clock, reset release, CPU and software come
    (or came); None for what does not come."""

    start: float
    powered: frozenset[str]
    clock: float | None
    released: float | None
    running: float | None
    ready: float | None


class PartStates:
    """Keeps `powered_since` and the warmth of one specimen, and gives the factor on each part's current.

    Arrays have one element a drawing part, in the order of `drawing(circuit)`.
    """

    def __init__(self, assembly: Assembly) -> None:
        self.assembly = assembly
        self.parts = drawing(assembly.circuit)
        rails = assembly.circuit.rails
        self._nominal = np.array([abs(rails[part.rail or ""].nominal) for part in self.parts])
        self._powered: list[float | None] = [None] * len(self.parts)
        self._by_kind = {part.kind: place for place, part in reversed(list(enumerate(self.parts)))}
        self._milestones: tuple[float | None, ...] = (None, None, None, None)
        self._is_powered = np.zeros(len(self.parts), dtype=bool)
        self._warmth = 0.0
        self._warm_target = 0.0
        self._warm_at = 0.0
        self._states: dict[str, str] = {}
        self._factors = np.ones(len(self.parts))
        self.epochs: list[Epoch] = [Epoch(-math.inf, frozenset(), None, None, None, None)]
        self._refresh(0.0)

    def at(self, time: float, across: Array) -> BoardState:
        """The state at `time` with `across` volts on the parts."""
        since = {part.name: moment for part, moment in zip(self.parts, self._powered, strict=True)}
        rail = {part.name: float(volts) for part, volts in zip(self.parts, across, strict=True)}
        moments = [moment if moment is not None and moment <= time else None for moment in self._milestones]
        return BoardState(time, rail, since, *moments)

    def _plan(self) -> None:
        """From the rails so far: when the oscillator stands, reset ends, the CPU runs, the software is through."""
        clock = self._after("oscillator", self.assembly.oscillator)
        resetting = next((kind for kind in RESET_KINDS if kind in self._by_kind), RESET_KINDS[0])
        released = self._after(resetting, self.assembly.reset)
        # A CPU that its reset does not reach begins as soon as it has a clock.
        reset = clock if self.assembly.condition.unreset else released
        running = latest(clock, reset, self._after("cpu", self.assembly.processor))
        ready = None if running is None else running + self.assembly.software
        self._milestones = (clock, released, running, ready)

    def _after(self, kind: str, delay: float) -> float | None:
        begin = self._powered[self._by_kind[kind]] if kind in self._by_kind else None
        return None if begin is None else begin + delay

    def next_change(self, time: float) -> float:
        """The next time after `time` at which something happens without the rails changing; `inf` if nothing will."""
        return min((moment for moment in self._milestones if moment is not None and moment > time), default=math.inf)

    def state_of(self, part: str) -> str:
        """The state `part` is in, `on` for parts without any."""
        return self._states.get(part, "on")

    def factors(self, time: float) -> Array:
        """Factor on each part's current at `time`, warmth included."""
        return self._factors * (1.0 + PER_DEGREE * self.warmth(time))

    def warmth(self, time: float) -> float:
        """How much warmer (°C) than when it was cold."""
        cooled = math.exp(-(time - self._warm_at) / WARM_IN)
        return self._warm_target + (self._warmth - self._warm_target) * cooled

    def passed(self, begin: float, end: float, before: Array, after: Array) -> bool:
        """Time passed from `begin` to `end` while the parts' volts went from `before` to `after`; True if a part
        changed its state."""
        self._warmth = self.warmth(end)
        self._warm_target = (
            WARM_BY * float(np.mean(np.square(after / (WARM_AT * self._nominal)))) if after.size else 0.0
        )
        self._warm_at = end
        rails_changed = self._watch_rails(begin, end, before, after)
        if rails_changed:
            self._plan()
            names = (part.name for part, works in zip(self.parts, self._is_powered, strict=True) if works)
            self.epochs.append(Epoch(end, frozenset(names), *self._milestones))
        milestone = any(moment is not None and begin < moment <= end for moment in self._milestones)
        return (rails_changed or milestone) and self._refresh(end)

    def _watch_rails(self, begin: float, end: float, before: Array, after: Array) -> bool:
        """Note which parts got or lost their rail; True if any did."""
        share_now = after / self._nominal
        works = share_now >= np.where(self._is_powered, STOPS_BELOW, WORKS_FROM)
        if bool((works == self._is_powered).all()):
            return False
        for place in np.flatnonzero(works != self._is_powered).tolist():
            if self._is_powered[place]:
                self._powered[place] = None
                continue
            threshold, climb = WORKS_FROM * self._nominal[place], float(after[place] - before[place])
            share = float(threshold - before[place]) / climb if climb > 0.0 else 1.0
            self._powered[place] = begin + min(1.0, max(0.0, share)) * (end - begin)
        self._is_powered = works
        return True

    def _refresh(self, time: float) -> bool:
        now = self.at(time, self._nominal)
        states = {part.name: BEHAVIOUR[part.kind](part.name, now) for part in self.parts if part.kind in BEHAVIOUR}
        changed = states != self._states
        if changed:
            self._states = states
            table = self.assembly.states
            self._factors = np.array([table[part.name].get(states.get(part.name, "on"), 1.0) for part in self.parts])
        return changed


def latest(*moments: float | None) -> float | None:
    """The latest of the moments, None if one has not come."""
    known = [moment for moment in moments if moment is not None]
    return max(known) if len(known) == len(moments) else None
