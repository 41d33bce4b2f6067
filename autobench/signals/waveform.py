"""All that can be said of a two-level waveform at once, each pass over the samples made once. It judges nothing."""

from __future__ import annotations

from dataclasses import dataclass

from autobench.signals.edges import Edges, count_glitches, count_runts, timing_edges
from autobench.signals.frequency import Period, edge_clarity, find_period
from autobench.signals.levels import Levels, find_levels
from autobench.signals.trace import Trace
from autobench.signals.transitions import Transitions, find_transitions


@dataclass(frozen=True, eq=False)
class Waveform:
    """A characterised trace; `period` is `None` without edges, and for peak-detected samples, which have no times."""

    levels: Levels
    edges: Edges
    rising: Transitions
    falling: Transitions
    period: Period | None
    duty: float
    runts: int
    glitches: int


def characterise(
    trace: Trace, time_base: float = 0.0, hysteresis: float = 0.2, shortest: float | None = None
) -> Waveform:
    """Levels, edges, transitions, period, duty, runts and glitches of a trace of any content.

    `time_base` is the relative half-width of the instrument's clock, `hysteresis` a share of the amplitude, `shortest`
    the shortest pulse in seconds that is no glitch.
    """
    levels = find_levels(trace)
    edges = timing_edges(trace, levels, hysteresis)
    rising = find_transitions(trace, levels, edges)
    falling = find_transitions(trace, levels, edges, falling=True)
    clarity = edge_clarity(trace, levels.noise, rising, falling)
    return Waveform(
        levels=levels,
        edges=edges,
        rising=rising,
        falling=falling,
        period=None if trace.peak_detect else find_period(edges, clarity, time_base),
        duty=edges.duty(),
        runts=count_runts(trace, levels, edges),
        glitches=count_glitches(edges, shortest),
    )
