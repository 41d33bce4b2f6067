"""Pictures of traces: small, whole, with levels, limits and edges, whatever the trace holds."""

from __future__ import annotations

import itertools
import re
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from autobench.signals.edges import timing_edges
from autobench.signals.levels import find_levels
from autobench.signals.trace import Trace
from autobench.views.plots import (
    BAND,
    INK,
    Drawing,
    Mark,
    columns_for,
    finite,
    outline,
    spread_labels,
    time_unit,
    trace_plot,
)

MOST_BYTES = 2_000_000


def drawing_of(trace: Trace, columns: int) -> Drawing:
    """A trace as it is drawn."""
    levels = find_levels(trace)
    return Drawing(trace, finite(trace.in_volts()), levels, timing_edges(trace, levels), (), columns)


def noise(samples: int) -> Trace:
    """Samples that use the whole screen, the worst there is for the size of a picture."""
    return Trace(np.random.default_rng(7).integers(0, 256, samples).astype(np.uint8), 1e-8, step=0.02)


def test_one_sample_among_a_million_is_drawn() -> None:
    """Columns keep their lowest and highest sample, so a glitch of one sample is never lost."""
    samples = np.full(1_000_000, 100, np.uint8)
    samples[654_321] = 251
    samples[123_456] = 3
    trace = Trace(samples, 1e-8, step=0.02)
    times, volts = outline(drawing_of(trace, 300), 0.0, trace.duration)
    assert volts.size == 600
    assert volts.max() == pytest.approx(trace.volts(251))
    assert volts.min() == pytest.approx(trace.volts(3))
    assert abs(times[np.argmax(volts)] - 654_321e-8) <= trace.duration / 300
    assert np.all(np.diff(times) >= 0)


def test_few_samples_are_drawn_as_they_are() -> None:
    """Nothing is gathered where there is room for each sample."""
    trace = noise(200)
    times, volts = outline(drawing_of(trace, 300), 0.0, trace.duration)
    assert np.array_equal(volts, trace.in_volts())
    assert times[1] - times[0] == pytest.approx(1e-8)


@pytest.mark.parametrize("count", [1, 36, 100])
def test_a_report_full_of_traces_stays_small(count: int) -> None:
    """Pictures of the worst content, so many at once, stay below two megabytes together."""
    plot = trace_plot(noise(100_000), "noise", (Mark(2.0, "limit: at least 2.00 V"),), columns_for(count))
    assert count * len(plot.svg) < MOST_BYTES


def test_levels_limits_and_edges_are_drawn() -> None:
    """A square wave shows both levels, the limit with its words, and a mark at each edge, up and down."""
    volts = np.where(np.arange(1000) // 100 % 2, 4.2, 0.2) + np.random.default_rng(3).normal(0, 0.01, 1000)
    plot = trace_plot(Trace(volts, 1e-6), "CPUCLK", (Mark(2.0, "limit: at least 2.00 V"),))
    assert "high 4.20 V" in plot.svg
    assert "low 200 mV" in plot.svg
    assert "limit: at least 2.00 V" in plot.svg
    assert "time in µs" in plot.svg
    edges = [re.findall(r"<use ", group) for group in re.findall(r"<g clip-path[^>]*>(.*?)</g>", plot.svg)]
    assert sorted(len(marks) for marks in edges if marks) == [4, 5]  # ten half periods have nine edges between them
    assert plot.words == "CPUCLK: moves between 200 mV and 4.20 V over 999 µs, 9 edges"


def test_many_edges_get_a_closer_look() -> None:
    """Where single edges cannot be seen there is a second view of the first pulses."""
    volts = np.where(np.arange(20_000) // 10 % 2, 4.0, 0.0) + np.random.default_rng(3).normal(0, 0.01, 20_000)
    plot = trace_plot(Trace(volts, 1e-8), "CLK15")
    assert plot.svg.count("time in ") == 2


def test_pulses_that_run_together_leave_the_limits_to_be_seen() -> None:
    """A peak-detected trace full of pulses is a light band; one that changes once keeps its dark line."""
    many = np.tile(np.array([0.2, 4.0]), 500) + np.random.default_rng(3).normal(0, 0.02, 1000)
    once = np.repeat(np.array([0.2, 4.0]), 500) + np.random.default_rng(3).normal(0, 0.02, 1000)
    for samples, seen, absent in ((many, BAND, INK), (once, INK, BAND)):
        svg = trace_plot(Trace(samples, 1e-5, peak_detect=True), "WR", (Mark(2.0, "limit"),)).svg
        assert seen in svg
        assert absent not in svg


def test_noise_of_peak_detection_does_not_move() -> None:
    """Extremes in turn look like two levels; a few tenths of a volt apart they are one line that stands still."""
    samples = np.tile(np.array([4.7, 4.9]), 500)
    plot = trace_plot(Trace(samples, 1e-6, peak_detect=True), "WAIT", (Mark(2.0, "counts as high above 2.0 V"),))
    assert "stands at 4.80 V" in plot.words
    assert "mean 4.80 V" in plot.svg


@pytest.mark.parametrize(
    "samples",
    [
        np.zeros(0),
        np.array([3.3]),
        np.full(500, np.nan),
        np.full(500, np.inf),
        np.where(np.arange(5000) % 3, 1.0, np.inf),
        np.full(500, 5.0),
        np.zeros(500, np.uint8),
    ],
    ids=["none", "one", "no numbers", "overload", "gaps", "constant", "codes"],
)
def test_any_content_is_drawn(samples: NDArray[Any]) -> None:
    """No content fails or warns; the picture is there and has words."""
    plot = trace_plot(Trace(samples, 1e-6), "net", (Mark(2.0, "limit"),))
    assert plot.svg.startswith("<svg")
    assert plot.svg.rstrip().endswith("</svg>")
    assert plot.words.startswith("net: ")


def test_ids_of_two_pictures_differ() -> None:
    """Pictures stand on one page, so no id may come twice, and every reference finds its own."""
    plots = [trace_plot(noise(500), name) for name in ("one", "two")]
    ids = [set(re.findall(r'\bid="([^"]+)"', plot.svg)) for plot in plots]
    assert ids[0].isdisjoint(ids[1])
    for plot, own in zip(plots, ids, strict=True):
        used = set(re.findall(r'href="#([^"]+)"|url\(#([^)]+)\)', plot.svg))
        assert {first or second for first, second in used} <= own


def test_labels_do_not_lie_on_each_other() -> None:
    """Labels keep their order and their gap, and stay within the picture where there is room."""
    places = spread_labels([0.5, 0.52, 0.98, 0.99, 0.1], 0.1)
    ordered = sorted(places)
    assert all(after - before >= 0.1 - 1e-9 for before, after in itertools.pairwise(ordered))
    assert max(places) <= 1.0
    assert places[0] < places[1] < places[2] < places[3]


@pytest.mark.parametrize(("longest", "unit"), [(1.2, "s"), (0.06, "ms"), (60e-6, "µs"), (500e-9, "ns"), (1e-12, "ns")])
def test_the_time_axis_is_in_sensible_units(longest: float, unit: str) -> None:
    """The largest unit in which the axis reaches one."""
    assert time_unit(longest)[1] == unit
