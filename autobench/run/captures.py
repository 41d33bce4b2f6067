"""Captures of points with the scope through the fixture's relays, each taken once while the power stays as it is.

Steps that look at lines captured together share one capture: their ratios are exact, and the round is shorter. It
judges nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from autobench.instruments.scope import Capture, Scope, ScopeInput, Setup, Trigger
from autobench.judgement.uncertainty import Component
from autobench.plan.scope_steps import Sight, StartSight
from autobench.quantity import show
from autobench.run.route import Route
from autobench.signals.trace import Trace

# Share of samples at the converter's ends from which a trace is useless for levels (common practice: 1 %).
CLIPPED = 0.01
FILL_MARGIN = 0.05  # s; a scope may begin to fill a little after it was told to
LONG_LOOK = 2.4  # s; shows two edges of a line that moves once a second
LONG_LOOK_RATE = 25e3  # Sa/s of peak-detected extremes

# Told of every trace that is taken: which points together, net, point, trace, and whether it is the start capture.
OnTrace = Callable[[str, str, str, Trace, bool], None]


@dataclass(frozen=True)
class Seen:
    """One net of a capture. `void` says why nothing may be concluded from it, or None."""

    trace: Trace
    void: str | None
    components: tuple[Component, ...]


class Captures:
    """One scope behind the fixture's relays."""

    def __init__(
        self, scope: Scope, route: Route, wait: Callable[[float], None], on_trace: OnTrace | None = None
    ) -> None:
        self.scope = scope
        self._route = route
        self._wait = wait
        self._on_trace = on_trace
        self._taken: dict[Sight, Capture] = {}
        self._start: tuple[StartSight, Capture | None] | None = None
        self.released_at: float | None = None  # the reset release on the start capture's own time base, once known

    def prepare(self) -> None:
        """Scope into its known state."""
        self.scope.prepare()

    def forget(self) -> None:
        """The power has changed: what was captured before says nothing about now. The start capture is kept."""
        self._taken.clear()

    def look(self, sight: Sight, net: str) -> Seen:
        """`net` in the capture of `sight`, which is taken now if it has not been since the power changed."""
        if sight not in self._taken:
            self._route.take(point.relay for point in sight.points)
            patience = 1.0 + 2.0 * sight.seconds
            self._taken[sight] = self.scope.capture(setup_of(sight), self._wait, patience)
            self._tell(sight, self._taken[sight])
        return self._seen(sight, self._taken[sight], net)

    def long_look(self, sight: Sight, net: str) -> Seen:
        """The same points over seconds, peak-detected: no pulse is missed, and what moves once a second shows."""
        return self.look(replace(sight, seconds=LONG_LOOK, rate=LONG_LOOK_RATE, peak=True), net)

    def arm_start(self, start: StartSight, also: tuple[int, ...]) -> None:
        """Arm the capture that the power-on itself will trigger; relays in `also` stay closed with it."""
        self._route.take({*also, *(point.relay for point in start.sight.points)})
        trigger = Trigger(start.sight.channel(start.rail), start.level, rising=start.level > 0)
        self.scope.arm(replace(setup_of(start.sight), trigger=trigger, before=start.before))
        # A trigger that comes before the part ahead of it is filled is ignored.
        self._wait(start.before * start.sight.seconds + FILL_MARGIN)
        self._start = (start, None)

    def collect_start(self) -> None:
        """Wait for the start capture and keep it. One that never triggered is kept as such."""
        if self._start is None:
            return
        start, _ = self._start
        waited = 0.0
        while not self.scope.ready() and waited < 2.0 * start.sight.seconds:
            self._wait(0.05)
            waited += 0.05
        if not self.scope.ready():
            self.scope.force()
            self._wait(start.sight.seconds)
        capture = self.scope.fetch()
        self._start = (start, capture)
        self._tell(start.sight, capture, started=True)

    def started(self, net: str) -> Seen | None:
        """`net` in the start capture, or None where there was none or it was not in it."""
        if self._start is None:
            return None
        start, capture = self._start
        if capture is None or not any(point.net == net for point in start.sight.points):
            return None
        return self._seen(start.sight, capture, net)

    def time_base(self) -> Component:
        """Relative accuracy of the scope's time base, as a component."""
        return self.scope.time_components()

    def _tell(self, sight: Sight, capture: Capture, started: bool = False) -> None:
        """Every trace of a capture to whoever keeps them."""
        if self._on_trace is None:
            return
        words = f"from before power-on: {sight_words(sight)}" if started else sight_words(sight)
        for point in sight.points:
            trace = capture.traces.get(point.channel)
            if trace is not None and trace.samples.size:
                self._on_trace(words, point.net, point.point, trace, started)

    def _seen(self, sight: Sight, capture: Capture, net: str) -> Seen:
        point = next(point for point in sight.points if point.net == net)
        trace = capture.traces[point.channel]
        setup = setup_of(sight)
        source = next(item for item in setup.inputs if item.channel == point.channel)
        return Seen(trace, void_reason(capture, trace), self.scope.volts_components(source))


def void_reason(capture: Capture, trace: Trace) -> str | None:
    """Why a capture says nothing about this point, in words a technician can act on; None where it does."""
    if capture.reason is not None:
        return capture.reason
    if trace.samples.size < 2:
        return "the scope sent no samples"
    if trace.clipped is not None:
        low, high = trace.clipped
        share = float(((trace.samples <= low) | (trace.samples >= high)).mean())
        if share > CLIPPED:
            return f"{100 * share:.0f} % of the samples are beyond the screen: the range is too small for this signal"
    return None


def sight_words(sight: Sight) -> str:
    """Which points are captured together and how, in words: `FETCH, RD: 2.400 ms at 37.50 MSa/s or more`."""
    nets = ", ".join(point.net for point in sight.points)
    extremes = ", extremes of each interval" if sight.peak else ""
    filtered = ", 20 MHz filter" if sight.bandwidth_limit else ""
    return f"{nets}: {show(sight.seconds, 's')} at {show(sight.rate, 'Sa/s')} or more{extremes}{filtered}"


def setup_of(sight: Sight) -> Setup:
    """What the scope is told for a sight: free-running, no trigger."""
    return Setup(
        inputs=tuple(ScopeInput(point.channel, point.low, point.high) for point in sight.points),
        seconds=sight.seconds,
        points=math.ceil(sight.seconds * sight.rate),
        trigger=None,
        before=0.0,
        peak=sight.peak,
        bandwidth_limit=sight.bandwidth_limit,
    )
