"""Video sync from a composite signal or a separate sync line: is there sync, at which rate, is there a picture in it.

It reports widths, rates and amplitudes and knows no standard's limits; those are in the board file.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from autobench.quantity import Estimate
from autobench.signals.edges import find_edges
from autobench.signals.line_fit import fit_line
from autobench.signals.picture import has_picture
from autobench.signals.sync import Pulses, SyncLevels, composite_levels, separate_levels
from autobench.signals.trace import Trace

Times = NDArray[np.float64]
# A pulse this many times the width of a line's sync is a broad one, and one below the other share an equalising one.
BROAD, EQUALISING = 2.0, 0.75
# Leading edges further than this share of a line from their place belong to no line (half lines, glitches).
OFF_PLACE = 0.1
# Sync into 75 Ω is 0.286 V or 0.3 V; open it doubles, with a second 75 Ω it falls to two thirds (V, from … to).
TERMINATIONS = {"terminated": (0.25, 0.40), "unterminated": (0.50, 0.80), "terminated twice": (0.16, 0.24)}


class Content(StrEnum):
    """What the signal carries."""

    NO_SYNC = "no sync"
    SYNC_ONLY = "sync without picture"
    PICTURE = "picture"


@dataclass(frozen=True)
class Video:
    """What was found; `None` where the trace cannot tell.

    Rates in Hz; widths in seconds, medians; `lines_a_field` in whole and half lines, `interlaced` where half a line
    remains; `sync_amplitude` in volts from sync tip to blanking (for a separate line: its swing). `termination` is one
    of `terminated`, `unterminated`, `terminated twice`, `unclear`, and `None` for a separate line. The content of a
    separate line is at most `sync without picture`: it carries no picture.
    """

    content: Content
    line_rate: Estimate | None = None
    field_rate: Estimate | None = None
    line_sync_width: float | None = None
    broad_width: float | None = None
    equalising_width: float | None = None
    lines_a_field: float | None = None
    interlaced: bool | None = None
    sync_amplitude: float | None = None
    termination: str | None = None


NO_SYNC = Video(Content.NO_SYNC)


def find_video(trace: Trace, separate: bool = False, time_base: float = 0.0) -> Video:
    """Sync, rates and content of a trace of any content, composite unless `separate`.

    A composite signal has its sync at the bottom; a separate line may have either polarity. `time_base` is the relative
    half-width of the instrument's clock.
    """
    levels = separate_levels(trace) if separate else composite_levels(trace)
    if levels is None:
        return NO_SYNC
    pulses = find_pulses(trace, levels)
    if pulses is None:
        return NO_SYNC
    lines = fit_lines(pulses, trace.interval, time_base)
    if lines is None:
        return NO_SYNC
    line_rate, line = lines
    usual = line_width(pulses, line)
    widths = pulses.widths
    broad, short = widths > BROAD * usual, widths < EQUALISING * usual
    fields = find_fields(pulses.starts[broad], line, trace.interval, time_base)
    amplitude = levels.inactive - levels.tip
    picture = not separate and has_picture(trace, levels, pulses, line)
    return Video(
        content=Content.PICTURE if picture else Content.SYNC_ONLY,
        line_rate=line_rate,
        field_rate=fields[0] if fields else None,
        line_sync_width=usual,
        broad_width=float(np.median(widths[broad])) if broad.any() else None,
        equalising_width=float(np.median(widths[short])) if np.count_nonzero(short) >= 2 else None,
        lines_a_field=fields[1] if fields else None,
        interlaced=fields[1] % 1.0 == 0.5 if fields else None,
        sync_amplitude=abs(amplitude),
        termination=None if separate else termination(amplitude),
    )


def find_pulses(trace: Trace, levels: SyncLevels) -> Pulses | None:
    """Sync pulses between the levels, whichever way they point; `None` with fewer than three."""
    low, high = sorted((levels.tip, levels.inactive))
    band = 0.15 * (high - low)
    middle = 0.5 * (low + high)
    edges = find_edges(trace, middle - band, middle, middle + band)
    down = levels.tip < levels.inactive
    starts, ends = (edges.falling, edges.rising) if down else (edges.rising, edges.falling)
    ends = ends[np.searchsorted(ends, starts[0]) :] if starts.size else ends
    count = min(starts.size, ends.size)
    return Pulses(starts[:count], ends[:count] - starts[:count]) if count >= 3 else None


def line_width(pulses: Pulses, line: float) -> float:
    """Width of a line's sync: the median of the pulses that begin one whole line before the next."""
    apart = np.diff(pulses.starts)
    whole = np.flatnonzero(np.abs(apart / line - 1.0) < OFF_PLACE)
    return float(np.median(pulses.widths[whole])) if whole.size else float(np.median(pulses.widths))


def fit_lines(pulses: Pulses, interval: float, time_base: float) -> tuple[Estimate, float] | None:
    """Line rate and line period by least squares over the leading edges that keep step.

    Edges between (equalising and serration pulses at twice the rate) are left out by their distance from a whole line.
    `None` where fewer than three edges keep step: then it is no sync.
    """
    line = float(np.median(np.diff(pulses.starts)))
    if not line > 0.0:
        return None
    for _ in range(3):
        numbers, whole = in_step(pulses.starts, line)
        if np.count_nonzero(whole) < max(3, starts_kept(pulses)):
            return None
        fit = fit_line(numbers[whole], pulses.starts[whole])
        line = fit.slope
        if not 0.0 <= fit.scatter <= OFF_PLACE * line:
            return None
    grain = interval / math.sqrt(6.0) / float(numbers[whole][-1] - numbers[whole][0])
    relative = math.hypot(fit.slope_uncertainty / line, grain / line, time_base / math.sqrt(3.0))
    return Estimate(1.0 / line, "Hz", relative / line, how=f"{np.count_nonzero(whole)} line syncs"), line


def in_step(starts: Times, line: float) -> tuple[Times, NDArray[np.bool_]]:
    """Number of each leading edge in lines (halves between), and which of them stand at whole lines.

    Numbered from edge to edge, so that a small error of the first guess does not add up over a long trace.
    """
    steps = np.diff(starts) / line
    rounded = np.round(2.0 * steps) / 2.0
    numbers = np.concatenate([[0.0], np.cumsum(rounded)])
    off = np.concatenate([[0.0], np.abs(steps - rounded)])
    if np.count_nonzero(numbers % 1.0) > numbers.size / 2:  # the trace began at a half line
        numbers = numbers + 0.5
    placed = np.concatenate([[True], rounded > 0.0]) & (off < OFF_PLACE)
    return numbers, (numbers % 1.0 == 0.0) & placed


def starts_kept(pulses: Pulses) -> int:
    """Fewest edges in step that count as sync: two fifths of all (in a short trace the field sync takes the rest)."""
    return math.ceil(0.4 * pulses.starts.size)


def find_fields(broad: Times, line: float, interval: float, time_base: float) -> tuple[Estimate, float] | None:
    """Field rate and lines a field from the first broad pulse of each field; `None` with fewer than two fields."""
    if broad.size < 2:
        return None
    first = np.concatenate([[True], np.diff(broad) > 10.0 * line])
    starts = broad[first]
    if starts.size < 2:
        return None
    period = float(starts[-1] - starts[0]) / (starts.size - 1)
    scatter = float(np.std(np.diff(starts))) if starts.size > 2 else 0.0
    ends = math.hypot(interval / math.sqrt(6.0), scatter) / (starts.size - 1)
    relative = math.hypot(ends / period, time_base / math.sqrt(3.0))
    rate = Estimate(1.0 / period, "Hz", relative / period, how=f"{starts.size} fields")
    return rate, round(2.0 * period / line) / 2.0


def termination(amplitude: float) -> str:
    """How a 75 Ω source is terminated, by its sync amplitude in volts; `unclear` between the cases."""
    for name, (low, high) in TERMINATIONS.items():
        if low <= amplitude <= high:
            return name
    return "unclear"
