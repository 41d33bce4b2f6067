"""No content of a trace makes any measurement raise, warn or claim what is not there."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray

from autobench.signals.activity import find_activity, rate_ratio
from autobench.signals.families import NAMES, family
from autobench.signals.gates import ground_gate, line_gate
from autobench.signals.levels import find_levels
from autobench.signals.likeness import compare_lines
from autobench.signals.ringing import edge_ringing, ground_lead_gate, rail_ringing
from autobench.signals.ripple import find_ripple
from autobench.signals.sine_fit import fit_sine
from autobench.signals.startup import find_reset, find_rise, order_of_events
from autobench.signals.trace import Trace
from autobench.signals.video import find_video
from autobench.signals.waveform import characterise

CONTENTS: dict[str, NDArray[Any]] = {
    "empty": np.zeros(0),
    "empty codes": np.zeros(0, np.uint8),
    "one sample": np.ones(1),
    "one code": np.ones(1, np.uint8),
    "two samples": np.array([0.0, 5.0]),
    "three codes": np.array([0, 255, 0], np.uint8),
    "constant": np.full(1000, 2.5),
    "constant code": np.full(1001, 77, np.uint8),
    "no numbers": np.full(1000, math.nan),
    "half no numbers": np.where(np.arange(1000) % 2, math.nan, 3.0),
    "infinite": np.full(1000, math.inf),
    "both infinities": np.where(np.arange(1000) % 2, -math.inf, math.inf),
    "infinite peaks": np.where(np.arange(1000) % 10 == 0, math.inf, 1.0),
    "clipped high": np.full(1000, 255, np.uint8),
    "clipped low": np.zeros(1000, np.uint8),
    "clipped both": np.where(np.arange(1000) % 10 < 5, 0, 255).astype(np.uint8),
    "alternating": (np.arange(1000) % 2 * 200).astype(np.uint8),
    "huge": np.where(np.arange(1000) % 10 < 5, -1e308, 1e308),
    "tiny": np.where(np.arange(1000) % 10 < 5, 0.0, 1e-308),
    "spike": np.where(np.arange(1000) == 500, 200, 10).astype(np.uint8),
    "ramp": np.linspace(0, 5, 1000),
    "noise": np.random.default_rng(1).normal(0, 1, 1000),
    "all codes": np.random.default_rng(1).integers(0, 256, 1000).astype(np.uint8),
    "single precision": np.linspace(0, 5, 999).astype(np.float32),
}


def measure_all(trace: Trace) -> None:
    """Every measurement of the room on one trace."""
    characterise(trace, time_base=25e-6)
    for name in NAMES:
        activity = find_activity(trace, family(name))
        rate_ratio(activity, activity)
    find_ripple(trace)
    fit_sine(trace)
    find_video(trace)
    find_video(trace, separate=True)
    find_reset(trace, trace, 4.5, family("LS"))
    for nominal in (5.0, -5.0):
        find_rise(trace, nominal)
    ground_lead_gate(rail_ringing(trace), 0.1)
    edge_ringing(trace, find_levels(trace))
    compare_lines(trace, trace, (family("LS"), family("HC")))
    line_gate(trace, find_activity(trace, family("LS")), family("LS"), 5.0)
    ground_gate(trace, mains=1e4)
    find_reset(trace, trace, 4.5, family("LS"), active_low=False)
    order_of_events({"rise": (trace, 2.0, True), "fall": (trace, 2.0, False)})


@pytest.mark.parametrize("name", CONTENTS)
@pytest.mark.parametrize("peak_detect", [False, True])
def test_no_content_raises(name: str, peak_detect: bool) -> None:
    """Whatever a trace holds, every measurement comes back, and warnings are errors here."""
    measure_all(Trace(CONTENTS[name], 1e-6, step=0.02, peak_detect=peak_detect))


@pytest.mark.parametrize("name", ["constant", "constant code", "no numbers", "infinite", "clipped high", "clipped low"])
def test_nothing_moves_in_still_traces(name: str) -> None:
    """A trace without change shows no edges, no period and no sync."""
    trace = Trace(CONTENTS[name], 1e-6, step=0.02)
    found = characterise(trace)
    assert (found.edges.count, found.period, found.runts) == (0, None, 0)
    assert find_video(trace).line_rate is None
    assert find_activity(trace, family("LS")).pulses == 0


@settings(deadline=None, max_examples=60)
@given(arrays(np.float64, st.integers(0, 300), elements=st.floats(allow_nan=True, allow_infinity=True, width=64)))
def test_any_volts(volts: np.ndarray) -> None:
    """Random numbers of any size never raise."""
    measure_all(Trace(volts, 1e-6))


@settings(deadline=None, max_examples=60)
@given(arrays(np.uint8, st.integers(0, 300)))
def test_any_codes(codes: np.ndarray) -> None:
    """Random codes never raise, and edges alternate."""
    trace = Trace(codes, 1e-6, step=0.02)
    measure_all(trace)
    edges = characterise(trace).edges
    assert abs(edges.rising.size - edges.falling.size) <= 1
    assert (edges.high_widths() > 0).all()
    assert (edges.low_widths() > 0).all()
