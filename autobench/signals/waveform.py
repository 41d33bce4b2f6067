"""All that can be said of a waveform at once, each pass over the samples made once. It judges nothing."""

from __future__ import annotations

from dataclasses import dataclass

from autobench.signals.activity import Activity, find_activity
from autobench.signals.edges import Edges, count_glitches, timing_edges
from autobench.signals.families import Family
from autobench.signals.frequency import Period, edge_clarity, find_period
from autobench.signals.histogram import count_samples
from autobench.signals.levels import Levels, find_levels
from autobench.signals.trace import Trace
from autobench.signals.transitions import Transitions, find_transitions


@dataclass(frozen=True, eq=False)
class Waveform:
    """A characterised trace.

    `period` is `None` without edges, and for peak-detected samples, which have no times; `activity` is what a receiver
    on the line would see, `None` where none was named.
    """

    levels: Levels
    edges: Edges
    rising: Transitions
    falling: Transitions
    period: Period | None
    duty: float
    runts: int
    glitches: int
    activity: Activity | None = None


def characterise(
    trace: Trace,
    time_base: float = 0.0,
    hysteresis: float = 0.2,
    shortest: float | None = None,
    receiver: Family | None = None,
) -> Waveform:
    """Levels, edges, transitions, period, duty, runts and glitches of a trace of any content.

    `time_base` is the relative half-width of the instrument's clock, `hysteresis` a share of the amplitude, `shortest`
    the shortest pulse in seconds that is no glitch; `receiver` is the logic family that listens, for its view of it.
    """
    histogram = count_samples(trace)
    levels = find_levels(trace, histogram)
    edges = timing_edges(trace, levels, hysteresis)
    rising = find_transitions(trace, levels, edges)
    falling = find_transitions(trace, levels, edges, falling=True)
    clarity = edge_clarity(trace, levels.noise, rising, falling)
    seen_before = None if trace.peak_detect else histogram
    return Waveform(
        levels=levels,
        edges=edges,
        rising=rising,
        falling=falling,
        period=None if trace.peak_detect else find_period(edges, clarity, time_base),
        duty=edges.duty(),
        runts=edges.runts,
        glitches=count_glitches(edges, shortest),
        activity=None if receiver is None else find_activity(trace, receiver, seen_before),
    )
