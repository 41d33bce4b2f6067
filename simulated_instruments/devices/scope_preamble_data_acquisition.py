"""Running a simulated oscilloscope: from arming to a stop, when which trigger comes and which acquisition is complete.

A `Sweep` is one stretch of running with one setup. Nothing is sampled here: an acquisition is only its window of time,
and windows that nobody asks about are never looked for.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from simulated_instruments.devices.scope_preamble_data_converter import Acquisition
from simulated_instruments.devices.scope_preamble_data_setup import Setup
from simulated_instruments.devices.scope_preamble_data_trigger import EdgeTrigger

AUTOMATIC_WAIT = 0.1  # s without a trigger until one is forced, or the length of the record if that is more
WIDER = 8  # each step back in time looks through a window so many times as wide


class Sweep:
    """Armed at `started`, stopped at `ended`; `single` ends by itself. All times are those of the shared clock.

    A trigger counts once the part of the record before it has been filled.
    """

    def __init__(
        self, setup: Setup, started: float, single: bool, trigger: EdgeTrigger, keys: Callable[[], dict[int, str]]
    ) -> None:
        stretch = trigger.converter.stretch
        self.setup, self.started, self.single, self.ended = setup, started, single, math.inf
        self.after = max(0.0, setup.origin + setup.span) * stretch  # s from a trigger to the end of its record
        self.record = max(0.0, -setup.origin) * stretch + self.after
        self.filled = started + max(0.0, -setup.origin) * stretch
        self._trigger, self._keys = trigger, keys
        self._count = setup.averages if setup.kind == "AVER" else 1
        self._triggers: list[float] = []  # of a single acquisition, as far as found
        self._forced: list[float] = []
        self._sought = self.filled  # up to here there is nothing new to find
        self._last: Acquisition | None = None
        self._last_until = -math.inf

    def completed(self, now: float) -> Acquisition | None:
        """The latest acquisition that is complete by `now` or by the stop, if there is one."""
        until = min(now, self.ended)
        if self.single:
            self._seek(until)
            if self._last is None and self._ready(until):
                self._last = self._acquired(self._triggers, bool(self._forced))
            return self._last if self._ready(until) else None
        if until > self._last_until:
            self._last_until = until
            self._last = self._latest(until - self.after) or self._last
        return self._last

    def force(self, now: float) -> None:
        """A trigger now, or as soon as the part before it is filled."""
        self.completed(now)
        if not self.single:
            self._forced.append(max(now, self.filled))
        elif len(self._triggers) < self._count:
            self._add(max(now, self._sought))
            self._forced.append(self._triggers[-1])

    def state(self, time: float) -> str:
        """`RUN` while the record fills, then `WAIT`, `TD` or `AUTO`; `STOP` when it has ended."""
        if time >= self.ended:
            return "STOP"
        if time < self.filled:
            return "RUN"
        acquired = self.completed(time)
        if self.single:
            if acquired is not None:
                return "STOP"
            return "TD" if self._triggers and self._triggers[0] <= time else "WAIT"
        if acquired is None:
            return "WAIT"
        if self.setup.sweep == "AUTO":
            return "AUTO" if acquired.forced else "TD"
        quiet = time - acquired.triggers[-1] - self.after
        return "TD" if quiet <= max(AUTOMATIC_WAIT, 2 * self.record) else "WAIT"

    def _ready(self, until: float) -> bool:
        return len(self._triggers) == self._count and until >= self._triggers[-1] + self.after

    def _acquired(self, triggers: list[float], forced: bool) -> Acquisition:
        return Acquisition(self.setup, tuple(triggers), forced, self._keys())

    def _add(self, trigger: float) -> None:
        """One more trigger of a single acquisition; the next one can come after its record and the hold-off."""
        self._triggers.append(trigger)
        self._sought = trigger + max(self.record, self.setup.trigger.holdoff)

    def _seek(self, until: float) -> None:
        """Find the triggers of a single acquisition up to `until`."""
        while len(self._triggers) < self._count and self._sought < until:
            found = self._trigger.first(self.setup, self._sought, until)
            if found is None:
                self._sought = until
            else:
                self._add(found)

    def _latest(self, until: float) -> Acquisition | None:
        """An acquisition while running freely whose trigger is not later than `until`; the latest that is near."""
        if until < self.filled:
            return None
        forced = [time for time in self._forced if time <= until]
        automatic = self.setup.sweep == "AUTO"
        wait = max(AUTOMATIC_WAIT, self.record)
        found = self._near(until, wait) if automatic else self._back(until)
        if found is None and forced:
            self._forced = [time for time in self._forced if time > until]
            return self._acquired([forced[-1]], True)
        if found is not None:
            return self._acquired(self._gathered(found, until), False)
        if automatic and until - self.filled >= wait:
            gap = max(self.record, self.setup.trigger.holdoff)
            times = [until - place * gap for place in range(self._count)]
            return self._acquired([time for time in times if time >= self.filled], True)
        return None

    def _near(self, until: float, wait: float) -> float | None:
        """The first trigger in the time that an automatic sweep would have waited for it."""
        return self._trigger.first(self.setup, max(self.filled, until - wait * self._count), until)

    def _back(self, until: float) -> float | None:
        """A trigger not earlier than the place sought up to, near `until` if there is one near."""
        stop, width = until, (2 * self.record + self.setup.trigger.holdoff) * self._count
        while stop > self._sought:
            start = max(self._sought, stop - width)
            found = self._trigger.first(self.setup, start, stop)
            if found is not None:
                self._sought = until
                return found
            stop, width = start, width * WIDER
        self._sought = max(self._sought, until)
        return None

    def _gathered(self, first: float, until: float) -> list[float]:
        """The triggers that are averaged: `first` and those after it, as many as there are up to `until`."""
        triggers, gap = [first], max(self.record, self.setup.trigger.holdoff)
        while len(triggers) < self._count:
            found = self._trigger.first(self.setup, triggers[-1] + gap, until)
            if found is None:
                break
            triggers.append(found)
        return triggers
