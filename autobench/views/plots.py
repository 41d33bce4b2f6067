"""Traces as pictures: one SVG each, with levels, limits and edges drawn. It judges nothing and writes no file.

A trace of millions of samples becomes a few hundred columns of lowest and highest, so that no pulse is lost and a
report stays small. The plotting library is imported only when something is drawn.
"""

from __future__ import annotations

import hashlib
import io
import itertools
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from autobench.quantity import show
from autobench.signals.edges import Edges, timing_edges
from autobench.signals.levels import Levels, find_levels
from autobench.signals.trace import Trace
from autobench.views.wording import harmless

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Volts = NDArray[np.float64]

MOST_COLUMNS = 500
LEAST_COLUMNS = 60
COLUMNS_OF_A_REPORT = 24_000  # all traces together; a column costs some 40 bytes
MOST_EDGES = 24  # more than these are shown as a closer look at the first of them
PULSES_SHOWN = 8
WIDTH = 7.2  # inches
STILL_HEIGHT, HEIGHT, TALL = 1.6, 2.1, 3.0  # inches: nothing moves, one view, with a closer look
LEAST_SWING = 0.4  # V; less is noise, which peak detection makes look like two levels
LABEL_HEIGHT = 0.16  # inches from one label at the right side to the next
FINER = re.compile(r"(\.\d\d)\d+")  # decimals of a path beyond a hundredth of a point
TIME_UNITS = ((1.0, "s"), (1e-3, "ms"), (1e-6, "µs"), (1e-9, "ns"))
INK, BAND, LEVEL, LIMIT, EDGE = "#1a1a1a", "#a6a6a6", "#1f4e8c", "#a4161a", "#5b2a86"


@dataclass(frozen=True)
class Mark:
    """A limit to draw across a trace: volts, and the words beside it."""

    volts: float
    words: str


@dataclass(frozen=True)
class Plot:
    """A drawn trace: the SVG element, what is to be seen in words, and those with the title for who cannot see it."""

    svg: str
    words: str
    seen: str


@dataclass(frozen=True)
class Drawing:
    """What is to be drawn, computed once: volts of all samples, levels, edges."""

    trace: Trace
    volts: Volts
    levels: Levels
    edges: Edges
    marks: tuple[Mark, ...]
    columns: int

    @property
    def moving(self) -> bool:
        """Whether there is more to see than a level."""
        return self.edges.count > 0 and self.levels.amplitude >= LEAST_SWING

    @property
    def crowded(self) -> bool:
        """Whether single edges can be told apart only in a closer look."""
        return self.moving and not self.trace.peak_detect and self.edges.count > MOST_EDGES

    @property
    def height(self) -> float:
        """Inches for the picture."""
        return TALL if self.crowded else HEIGHT if self.moving else STILL_HEIGHT


def columns_for(count: int) -> int:
    """Columns each of `count` traces may have, so that all together stay small."""
    return max(LEAST_COLUMNS, min(MOST_COLUMNS, COLUMNS_OF_A_REPORT // max(count, 1)))


def trace_plot(trace: Trace, title: str, marks: Sequence[Mark] = (), columns: int = MOST_COLUMNS) -> Plot:
    """A trace with its levels, limits and edges. `title` names it in words; any content is drawn, none raises."""
    levels = find_levels(trace)
    drawing = Drawing(trace, finite(trace.in_volts()), levels, timing_edges(trace, levels), tuple(marks), columns)
    seen = trace_words(drawing)
    words = f"{title}: {seen}"
    return Plot(as_element(draw(drawing), words), words, seen)


def finite(volts: Volts) -> Volts:
    """Volts with what is no number (overload, gaps) as NaN, which is drawn as a gap."""
    return np.where(np.isfinite(volts), volts, np.nan)


def trace_words(drawing: Drawing) -> str:
    """What is to be seen, in words."""
    trace, levels = drawing.trace, drawing.levels
    if levels.count == 0:
        return "no numbers in the trace"
    over = f"over {show(trace.duration, 's', 3)}"
    if not drawing.moving:
        return f"stands at {show(levels.mean, 'V', 3)} {over}, between {span_words(levels)}"
    edges = "" if trace.peak_detect else f", {drawing.edges.count} edges"
    return f"moves between {show(levels.low, 'V', 3)} and {show(levels.high, 'V', 3)} {over}{edges}"


def span_words(levels: Levels) -> str:
    """Lowest and highest, in words."""
    return f"{show(levels.lowest, 'V', 3)} and {show(levels.highest, 'V', 3)}"


def draw(drawing: Drawing) -> str:
    """The picture as SVG text of the plotting library."""
    import matplotlib as library  # late: only a report needs it
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with library.rc_context({"svg.fonttype": "none", "svg.hashsalt": "autobench", "font.size": 9.0}):
        figure = Figure(figsize=(WIDTH, drawing.height))
        FigureCanvasSVG(figure)
        rows = figure.subplots(
            2 if drawing.crowded else 1, 1, squeeze=False, height_ratios=[2, 3][: 1 + drawing.crowded]
        )
        figure.subplots_adjust(left=0.08, right=0.77, top=0.96, bottom=0.38 / drawing.height, hspace=0.42)
        start, end = drawing.trace.start, drawing.trace.start + drawing.trace.duration
        panel(rows[0][0], drawing, start, end, detailed=not drawing.crowded)
        if drawing.crowded:
            panel(rows[1][0], drawing, *close_look(drawing.edges), detailed=True)
        stream = io.StringIO()
        figure.savefig(stream, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    return stream.getvalue()


def close_look(edges: Edges) -> tuple[float, float]:
    """From just before the first edge to just after some pulses."""
    times = np.sort(np.concatenate([edges.rising, edges.falling]))
    first, last = float(times[0]), float(times[min(times.size - 1, 2 * PULSES_SHOWN)])
    margin = 0.05 * (last - first)
    return first - margin, last + margin


def panel(axes: Axes, drawing: Drawing, start: float, end: float, *, detailed: bool) -> None:
    """One view of the trace from `start` to `end` seconds; the detailed one carries the labels and the edges."""
    size, unit = time_unit(max(abs(start), abs(end)) if end > start else 1.0)
    low, high = volt_range(drawing)
    times, volts = outline(drawing, start, end)
    # Where pulses run together into a band, a lighter one leaves the levels and limits across it to be seen.
    single = detailed and not (drawing.moving and drawing.trace.peak_detect and drawing.edges.count > MOST_EDGES)
    axes.plot(times / size, volts, color=INK if single else BAND, linewidth=0.8)
    lines = [(mark.volts, mark.words, LIMIT, "--") for mark in drawing.marks]
    lines += [(volts, words, LEVEL, ":") for volts, words in level_lines(drawing)]
    for volts_at, _, colour, style in lines:
        axes.axhline(volts_at, color=colour, linestyle=style, linewidth=1.1)
    if detailed:
        gap = LABEL_HEIGHT / (axes.get_position().height * drawing.height)
        places = spread_labels([(line[0] - low) / (high - low) for line in lines], gap)
        for (_, words, colour, _), place in zip(lines, places, strict=True):
            axes.text(1.015, place, words, color=colour, transform=axes.transAxes, va="center", fontsize=8.5)
        if drawing.moving and not drawing.trace.peak_detect:
            edge_marks(axes, drawing.edges, start, end, size)
    axes.set_xlim(start / size, (end if end > start else start + 1.0) / size)
    axes.set_ylim(low, high)
    axes.set_ylabel("V", rotation=0)
    axes.yaxis.set_label_coords(-0.085, 0.5)  # clear of every tick's number, and the same for all pictures
    axes.set_xlabel(f"time in {unit}", labelpad=1.0, fontsize=8.5)
    axes.locator_params(axis="x", nbins=7)
    axes.locator_params(axis="y", nbins=5 if detailed else 3)
    axes.grid(color="#cccccc", linewidth=0.5)
    axes.spines[["top", "right"]].set_visible(False)


def time_unit(longest: float) -> tuple[float, str]:
    """The unit in which `longest` seconds is a number above one, as (seconds of one, name)."""
    for size, name in TIME_UNITS:
        if longest >= size:
            return size, name
    return TIME_UNITS[-1]


def volt_range(drawing: Drawing) -> tuple[float, float]:
    """Lowest and highest volts shown: all samples, and where there are limits those and 0 V: noise stays small."""
    numbers = drawing.volts[~np.isnan(drawing.volts)]
    low, high = (float(numbers.min()), float(numbers.max())) if numbers.size else (0.0, 1.0)
    if drawing.marks:
        places = [0.0, *(mark.volts for mark in drawing.marks)]
        low, high = min(low, *places), max(high, *places)
    margin = 0.08 * max(high - low, 0.02)
    return low - margin, high + margin


def level_lines(drawing: Drawing) -> list[tuple[float, str]]:
    """The state levels with their words."""
    levels = drawing.levels
    if levels.count == 0:
        return []
    if not drawing.moving and drawing.marks:
        return [(levels.mean, f"mean {show(levels.mean, 'V', 3)}")]
    if not drawing.moving:
        shown = (("highest", levels.highest), ("lowest", levels.lowest))
        return [(volts, f"{word} {show(volts, 'V', 3)}") for word, volts in shown]
    return [(levels.high, f"high {show(levels.high, 'V', 3)}"), (levels.low, f"low {show(levels.low, 'V', 3)}")]


def spread_labels(places: Sequence[float], gap: float) -> list[float]:
    """Places from 0 to 1, moved `gap` apart where two labels would lie on each other; the order stays."""
    order = sorted(range(len(places)), key=lambda number: places[number])
    moved = list(places)
    for lower, upper in itertools.pairwise(order):
        moved[upper] = max(moved[upper], moved[lower] + gap)
    above = max(moved, default=0.0) - 1.0
    if above > 0.0:  # push down from the top again
        limit = 1.0
        for number in reversed(order):
            moved[number] = min(moved[number], limit)
            limit = moved[number] - gap
    return moved


def edge_marks(axes: Axes, edges: Edges, start: float, end: float, size: float) -> None:
    """A triangle at each edge, pointing the way it goes."""
    for times, shape in ((edges.rising, "^"), (edges.falling, "v")):
        inside = times[(times >= start) & (times <= end)]
        if 0 < inside.size <= 2 * MOST_EDGES:
            middle = np.full(inside.size, edges.middle)
            axes.plot(inside / size, middle, shape, color=EDGE, markersize=4.5, linestyle="none")


def outline(drawing: Drawing, start: float, end: float) -> tuple[Volts, Volts]:
    """Times and volts of the samples from `start` to `end`, as lowest and highest of each column where they are many.

    Peak-detected samples come as extremes in turn and are drawn so.
    """
    trace = drawing.trace
    first = max(0, math.floor((start - trace.start) / trace.interval))
    last = min(drawing.volts.size, math.ceil((end - trace.start) / trace.interval) + 1)
    volts = drawing.volts[first:last]
    if volts.size <= 2 * drawing.columns:
        return trace.times(np.arange(first, first + volts.size, dtype=np.float64)), volts
    bounds = np.linspace(0, volts.size, drawing.columns + 1).astype(np.int64)[:-1]
    lowest, highest = np.fmin.reduceat(volts, bounds), np.fmax.reduceat(volts, bounds)
    pairs = np.column_stack([lowest, highest])
    pairs[1::2] = pairs[1::2, ::-1]  # up in one column, down in the next: a quiet trace stays a line
    places = np.repeat(first + bounds.astype(np.float64), 2)
    places[1::2] += volts.size / drawing.columns / 2.0
    return trace.times(places), pairs.ravel()


def as_element(svg: str, words: str) -> str:
    """The plotting library's file as an element of a page: no prologue, ids of its own, and a title."""
    start = svg.index("<svg")
    opening = re.match(r"<svg[^>]*>", svg[start:])
    assert opening is not None  # the library writes one
    box = re.search(r'viewBox="[^"]*"', opening[0])
    body = svg[start + opening.end() :]
    body = re.sub(r"<metadata>.*?</metadata>|<style[^>]*>.*?</style>|<!--.*?-->", "", body, flags=re.DOTALL)
    body = re.sub(r"\n\s*", " ", body)
    body = re.sub(r' d="[^"]*"', lambda path: FINER.sub(r"\1", path[0]), body)
    mark = f"t{hashlib.sha256((words + body).encode()).hexdigest()[:10]}-"
    body = re.sub(r'id="([^"]*)"', rf'id="{mark}\1"', body)
    body = re.sub(r"(href=\"|url\()#", rf"\1#{mark}", body)
    from markupsafe import escape  # late, as everything of a report

    words = harmless(words)
    shape = box[0] if box is not None else ""
    return f'<svg class="trace" role="img" {shape} aria-label="{escape(words)}"><title>{escape(words)}</title>{body}'
