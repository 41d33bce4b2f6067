"""What is wrong with a scope's probe, found before anything it shows is believed: its ground clip, its factor.

One look a channel and power state, since neither shows in a short record: hum moves a whole line as if its levels were
wrong, and a divider that is not the one reckoned with only clips. It judges no board and knows no limits.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from autobench.instruments.scope import Capture
from autobench.plan.scope_steps import ScopePoint, Sight
from autobench.quantity import show
from autobench.signals.gates import MOST_CLIPPED, ground_gate
from autobench.signals.trace import Trace

# Three periods of the mains, by the extremes of intervals that a few pulses of anything fast fall into.
HUM_SECONDS, HUM_RATE = 60e-3, 25e3
MAINS = (50.0, 60.0)  # Hz
HUM_ROOM = 1.2  # V beyond what is expected of the point, so that the hum itself is on the screen
FACTOR = 10.0


class ProbeCheck:
    """What is known of each channel's probe since the power last changed. `take` captures a sight."""

    def __init__(self, take: Callable[[Sight], Capture]) -> None:
        self._take = take
        self._wrong: dict[int, str | None] = {}

    def forget(self) -> None:
        """The power has changed, or somebody was at the board: clips may be off."""
        self._wrong.clear()

    def knows(self, sight: Sight) -> bool:
        """Whether every channel of a sight was looked at."""
        return all(point.channel in self._wrong for point in sight.points)

    def look(self, sight: Sight) -> None:
        """Look at every channel of a sight that was not looked at yet; the probes are at its points."""
        new = [point for point in sight.points if point.channel not in self._wrong]
        if not new:
            return
        capture = self._take(hum_sight(sight))
        if capture.reason is not None:
            return  # what keeps the scope from looking at all is said by the capture itself
        wrong = {point.channel: loose_ground(capture.traces[point.channel]) for point in new}
        beyond = [point for point in new if wrong[point.channel] is None and clipped(capture.traces[point.channel])]
        if beyond:
            wide = self._take(wide_sight(sight))
            if wide.reason is None:
                wrong |= {point.channel: wrong_factor(point, wide.traces[point.channel]) for point in beyond}
        self._wrong |= wrong

    def wrong(self, channel: int) -> str | None:
        """What is wrong with the probe of a channel, in words to act on; None where nothing is known to be."""
        return self._wrong.get(channel)


def hum_sight(sight: Sight) -> Sight:
    """The same points over some periods of the mains, with room for hum."""
    points = tuple(replace(point, low=point.low - HUM_ROOM, high=point.high + HUM_ROOM) for point in sight.points)
    return Sight(points, HUM_SECONDS, HUM_RATE, peak=True)


def wide_sight(sight: Sight) -> Sight:
    """The same points with ten times the volts on the screen."""
    points = tuple(
        replace(point, low=FACTOR * min(point.low, 0.0), high=FACTOR * max(point.high, 0.0)) for point in sight.points
    )
    return Sight(points, HUM_SECONDS, HUM_RATE, peak=True)


def loose_ground(trace: Trace) -> str | None:
    """Hum on all of a line, whichever mains it is from."""
    return next((found for mains in MAINS if (found := ground_gate(trace, mains)) is not None), None)


def clipped(trace: Trace) -> bool:
    """Whether the trace leaves the screen."""
    if trace.clipped is None or not trace.samples.size:
        return False
    low, high = trace.clipped
    return bool(((trace.samples <= low) | (trace.samples >= high)).mean() > MOST_CLIPPED)


def wrong_factor(point: ScopePoint, trace: Trace) -> str | None:
    """Volts that fit what is expected of the point once they are divided by ten, and do not as they are."""
    if clipped(trace):
        return None
    low, high = (trace.volts(float(end)) for end in (trace.samples.min(), trace.samples.max()))
    room = HUM_ROOM / 2.0
    if high <= point.high + HUM_ROOM or not point.low - room <= low / FACTOR <= high / FACTOR <= point.high + room:
        return None
    return (
        f"{show(high, 'V', 3)} at {point.point} is ten times what can be there: the switch on the probe and the probe "
        f"factor set in the scope do not agree; set both to x10"
    )
