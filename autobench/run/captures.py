"""Captures of points with the scope, through relays or by hand, each taken once while the power stays as it is.

Steps that look at lines captured together share one capture: their ratios are exact, and the round is shorter. A point
that shows nothing but 0 V is only believed where the meter shows a contact and a low there, or, where no meter gets to
it, where the same input shows less with its relay open. It judges nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from functools import partial

from autobench.instruments.scope import Capture, Scope, ScopeInput, Setup, Trigger
from autobench.judgement.uncertainty import Component
from autobench.plan.scope_steps import ScopePoint, Sight, StartSight
from autobench.quantity import show
from autobench.run.contact import LOGIC_LOW, NoContactError, is_flat
from autobench.run.errands import RELAYS, SCOPE, Errand, Errands
from autobench.run.held_probes import HeldProbes
from autobench.run.probe_check import ProbeCheck
from autobench.run.route import Route
from autobench.run.touch import Touch
from autobench.signals.trace import Trace

# Share of samples at the converter's ends from which a trace is useless for levels (common practice: 1 %).
CLIPPED = 0.01
FILL_MARGIN = 0.05  # s; a scope may begin to fill a little after it was told to
LONG_LOOK = 2.4  # s; shows two edges of a line that moves once a second
LONG_LOOK_RATE = 25e3  # Sa/s of peak-detected extremes

FAST_LOOK, FAST_LOOK_RATE = 20e-6, 1e9  # s and Sa/s; ground leads ring at some tens of megahertz
RING_ROOM = 0.3  # V beyond what is expected

# V; a driven TTL low (0.15 V to 0.45 V, common practice) stands this far above the same input with nothing on it, which
# is about two steps of the converter.
ABOVE_AIR = 0.08

AHEAD = 16  # captures taken before anybody asked for them: as many as keep the scope at work, no more than memory bears

# Told of every trace that is taken: which points together, net, point, trace, and whether it is the start capture.
OnTrace = Callable[[str, str, str, Trace, bool], None]


@dataclass(frozen=True)
class Seen:
    """One net of a capture. `void` says why nothing may be concluded from it, or None."""

    trace: Trace
    void: str | None
    components: tuple[Component, ...]


@dataclass(frozen=True)
class Taken:
    """A capture, and the parts of a level's uncertainty by channel as the scope stood for it."""

    capture: Capture
    components: dict[int, tuple[Component, ...]]


class Captures:
    """One scope, and what gets its probes to the points; `touch` shows that a point at 0 V is touched at all.

    Where `errands` go to other threads the scope takes what is wanted next while the last capture is looked at, and the
    relays move on while it sends its samples.
    """

    def __init__(
        self,
        scope: Scope,
        route: Route | None,
        wait: Callable[[float], None],
        on_trace: OnTrace | None = None,
        *,
        touch: Touch | None = None,
        probes: HeldProbes | None = None,
        errands: Errands | None = None,
    ) -> None:
        self.scope = scope
        self._route = route
        self._wait = wait
        self._on_trace = on_trace
        self._touch = touch
        self._probes = probes
        self._errands = errands or Errands(scope.dialect.clock)
        self._check = ProbeCheck(self._captured)
        self._flat: dict[ScopePoint, str | None] = {}  # points at 0 V, with why that says nothing, or None
        self._taken: dict[Sight, Taken] = {}
        self._fast: dict[Sight, Capture] = {}
        self._coming: dict[Sight, Errand[Taken]] = {}  # given, in this order, and not asked for yet
        self._wanted: list[Sight] = []  # not given yet
        self._move: Errand[None] | None = None  # of the relays, ahead of the next capture
        self._start: tuple[StartSight, Taken | None] | None = None
        self.released_at: float | None = None  # the reset release on the start capture's own time base, once known

    def prepare(self) -> None:
        """Scope into its known state."""
        self.scope.prepare()

    def forget(self) -> None:
        """The power has changed: what was captured before says nothing about now. The start capture is kept."""
        self._wanted = []
        for errand in self._coming.values():
            self._errands.drop(errand)
        self._coming.clear()
        self._taken.clear()
        self._fast.clear()
        self._flat.clear()
        self._check.forget()
        if self._probes is not None:
            self._probes.forget()

    def look(self, sight: Sight, net: str) -> Seen:
        """`net` in the capture of `sight`, which is taken now if it has not been since the power changed."""
        if sight not in self._taken:
            errand = self._coming.pop(sight, None)
            if errand is None or errand.broken:
                errand = self._errands.give(SCOPE, lambda: self._take(sight), urgent=True)
            self._go_ahead()
            self._taken[sight] = self._errands.outcome(errand)
        return self._seen(sight, self._taken[sight], net)

    def ahead(self, sights: Iterable[Sight]) -> None:
        """What will be looked at next, in this order, under the power as it is: taken while there is time for it."""
        if not self._errands.beside:
            return
        wanted = dict.fromkeys(sights)
        for sight in [each for each in self._coming if each not in wanted]:
            self._coming.pop(sight).break_off()  # the step it was for was left out
        self._wanted = [sight for sight in wanted if sight not in self._taken and sight not in self._coming]
        self._go_ahead()

    def _go_ahead(self) -> None:
        """Give the scope what is wanted next, unless enough is waiting to be looked at."""
        while self._wanted and len(self._coming) < AHEAD:
            sight = self._wanted.pop(0)
            self._coming[sight] = self._errands.give(SCOPE, partial(self._take, sight))

    def _take(self, sight: Sight) -> Taken:
        """The capture of a sight, told of, with the probes of its channels looked at."""
        taken = self._with_levels(sight, self._captured(sight))
        self._tell(sight, taken.capture)
        self._check.look(sight)
        return taken

    def _with_levels(self, sight: Sight, capture: Capture) -> Taken:
        """A capture with what its levels are worth, while the scope still stands as it did."""
        entries = setup_of(sight).inputs
        return Taken(capture, {entry.channel: self.scope.volts_components(entry) for entry in entries})

    def _captured(self, sight: Sight) -> Capture:
        """Every probe to its point, and the capture. Raises `NoContactError` where a hand's probe shows none."""
        patience = 1.0 + 2.0 * sight.seconds

        def take() -> Capture:
            self.scope.acquire(setup_of(sight), self._wait, patience)
            return self.scope.fetch()

        if self._probes is not None and sight.by_hand:
            self._reach(sight)
            return self._probes.captured(sight, take)
        move, self._move = self._move, None
        if move is not None and not move.broken:
            self._errands.outcome(move)
        with self._held():
            self._reach(sight)
            self.scope.acquire(setup_of(sight), self._wait, patience)
        if self._check.knows(sight):
            self._move_on(sight)
        return self.scope.fetch()

    def _move_on(self, sight: Sight) -> None:
        """The relays on to what comes after `sight`: its record is complete and does not feel them any more."""
        coming = list(self._coming.items())  # at once: whoever looks at captures takes them out meanwhile
        after = next((each for each, errand in coming if each != sight and not errand.done.is_set()), None)
        if after is not None:
            self._move = self._errands.give(RELAYS, lambda: self._reach(after))

    def _held(self) -> AbstractContextManager[None]:
        """No contact moves while the scope looks."""
        return nullcontext() if self._route is None else self._route.held()

    def _reach(self, sight: Sight, also: tuple[int, ...] = ()) -> None:
        """The relays of a sight closed."""
        relays = {*also, *(point.relay for point in sight.points if not point.by_hand)}
        if self._route is not None and sight.by_hand:
            self._route.let_go()  # a tip in the hand may share its input with relays
        if self._route is not None and relays:
            self._route.take(relays)

    def long_look(self, sight: Sight, net: str) -> Seen:
        """The same points over seconds, peak-detected: no pulse is missed, and what moves once a second shows."""
        return self.look(replace(sight, seconds=LONG_LOOK, rate=LONG_LOOK_RATE, peak=True), net)

    def fast_look(self, sight: Sight, net: str) -> Trace:
        """The same points for a moment, as fast as may be and without the filter: what rings shows."""
        points = tuple(replace(point, low=point.low - RING_ROOM, high=point.high + RING_ROOM) for point in sight.points)
        fast = replace(sight, points=points, seconds=FAST_LOOK, rate=FAST_LOOK_RATE, peak=False, bandwidth_limit=False)
        if fast not in self._fast:
            self._fast[fast] = self._errands.done_by(SCOPE, lambda: self._captured(fast))
        return self._fast[fast].traces[fast.channel(net)]

    def arm_start(self, start: StartSight, also: tuple[int, ...]) -> None:
        """Arm the capture that the power-on itself will trigger; relays in `also` stay closed with it."""
        self._reach(start.sight, also)
        if self._probes is not None:
            self._probes.clip(start.sight)
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
        # Hundreds of thousands of samples of a board that has just come on: the watch must not wait for them.
        taken = self._errands.done_by(SCOPE, lambda: self._with_levels(start.sight, self.scope.fetch()))
        self._start = (start, taken)
        self._tell(start.sight, taken.capture, started=True)

    def started(self, net: str) -> Seen | None:
        """`net` in the start capture, or None where there was none or it was not in it."""
        if self._start is None:
            return None
        start, taken = self._start
        if taken is None or not any(point.net == net for point in start.sight.points):
            return None
        if not start.sight.by_hand:
            self._errands.done_by(SCOPE, lambda: self._check.look(start.sight))
        return self._seen(start.sight, taken, net)

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

    def _seen(self, sight: Sight, taken: Taken, net: str) -> Seen:
        point = next(point for point in sight.points if point.net == net)
        trace = taken.capture.traces[point.channel]
        void = (
            self._check.wrong(point.channel)
            or void_reason(taken.capture, trace)
            or self._flat_reason(sight, point, trace)
        )
        return Seen(trace, void, taken.components[point.channel])

    def _flat_reason(self, sight: Sight, point: ScopePoint, trace: Trace) -> str | None:
        """Why a point that shows nothing but 0 V says nothing, or None where another look shows a low there too."""
        if not is_flat(trace) or self._touch is None:
            return None
        if point not in self._flat:
            try:
                out_of_reach = point.beside is not None and not self._touch.reaches(point.beside)
                low = out_of_reach and self._off_the_air(sight, point, trace)
                self._flat[point] = None if low else self._not_low(point)
            except NoContactError as error:
                self._flat[point] = str(error)
        return self._flat[point]

    def _off_the_air(self, sight: Sight, point: ScopePoint, trace: Trace) -> bool:
        """Whether a relay makes a difference to a flat trace: with it open the input shows its own offset error alone,
        and a driven low stands above that."""
        if self._route is None or point.by_hand or sight.by_hand:
            return False
        air = self._errands.done_by(SCOPE, lambda: self._in_the_air(sight))
        alone = air.traces.get(point.channel)
        if alone is None or void_reason(air, alone) is not None:
            return False
        return trace.volts(float(trace.samples.mean())) - alone.volts(float(alone.samples.mean())) > ABOVE_AIR

    def _in_the_air(self, sight: Sight) -> Capture:
        """A capture with every relay open, and the sight's closed again afterwards."""
        with self._held():
            if self._route is not None:
                self._route.let_go()
            air = self.scope.capture(setup_of(sight), self._wait, 1.0 + 2.0 * sight.seconds)
            self._reach(sight)
        return air

    def _not_low(self, point: ScopePoint) -> str | None:
        """The same, by asking the meter; raises `NoContactError`."""
        if point.by_hand:
            if self._probes is not None:
                self._probes.prove_low(point)
            return None
        if self._touch is None or point.beside is None:
            return None
        volts = self._touch.contact(point.beside)
        if abs(volts) < LOGIC_LOW:
            return None
        return f"the meter sees {show(volts, 'V', 3)} at {point.point}: the scope's way there is open"


def void_reason(capture: Capture, trace: Trace) -> str | None:
    """Why a capture says nothing about this point, in words a technician can act on; None where it does."""
    if capture.reason is not None:
        return capture.reason
    if trace.samples.size < 2:
        return "the scope sent no samples"
    share = trace.clipped_share
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
