"""Which scale, time base and memory a capture gets, and how far its volts and seconds can be trusted."""

from __future__ import annotations

import math

import pytest

from autobench.documents.driver import Driver
from autobench.documents.driver_samples import Samples
from autobench.documents.places import list_drivers
from autobench.documents.reading import read
from autobench.instruments.scope_setup import (
    Capture,
    ScopeInput,
    Setup,
    Trigger,
    depth,
    foreseen_interval,
    one_two_five,
    time_component,
    time_scale,
    vertical,
    volts_components,
)
from autobench.judgement.uncertainty import Budget

LOGIC = ScopeInput(1, 0.0, 5.0)


@pytest.fixture(scope="module")
def samples() -> Samples:
    """The ratings of the shipped scope driver."""
    found = read(dict(list_drivers())["o-1b"], Driver).samples
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("least", "step"),
    [(1.0, 1.0), (1.001, 2.0), (2.0000000000001, 2.0), (2.1, 5.0), (5.1, 10.0), (0.02, 0.02), (3e-9, 5e-9), (7e4, 1e5)],
)
def test_steps_are_one_two_and_five(least: float, step: float) -> None:
    """The next step of 1, 2, 5 up (common practice), whatever binary arithmetic left behind."""
    assert one_two_five(least) == step


@pytest.mark.parametrize(
    ("low", "high", "probe", "scale", "middle"),
    [
        (0.0, 5.0, 10.0, 1.0, 2.5),  # computed: 5.5 V on 8 divisions need 0.69 V each
        (0.2, 3.8, 10.0, 0.5, 2.0),  # computed: 3.96 V need 0.495 V
        (-12.5, 12.5, 10.0, 5.0, 0.0),  # computed: 27.5 V need 3.4 V
        (4.9, 5.1, 10.0, 0.05, 5.0),  # computed: 0.22 V need 27.5 mV
        (4.9, 5.1, 1.0, 0.05, 5.0),
        (-1e-5, 1e-5, 10.0, 0.01, 0.0),  # the smallest scale is 1 mV at the connector, ten times that at the tip
        (-1e-5, 1e-5, 1.0, 0.001, 0.0),
    ],
)
def test_the_smallest_scale_that_holds_what_is_expected(
    samples: Samples, low: float, high: float, probe: float, scale: float, middle: float
) -> None:
    """With a tenth to spare, and its middle in the middle of the screen."""
    found = vertical(samples, low, high, probe)
    assert found == pytest.approx((scale, middle))
    assert (high - low) * 1.1 <= found[0] * samples.divisions.vertical * (1 + 1e-9)


def test_volts_beyond_the_largest_scale_are_refused(samples: Samples) -> None:
    """Rather than clipping them unseen."""
    with pytest.raises(ValueError, match=r"1.000 kV do not fit the screen, which takes 727.3 V at the most"):
        vertical(samples, -500.0, 500.0, 10.0)  # computed: 8 divisions of 100 V, less a tenth to spare


@pytest.mark.parametrize(("seconds", "scale"), [(24e-6, 2e-6), (20e-6, 2e-6), (25e-6, 5e-6), (1.2, 0.1), (1e-9, 5e-9)])
def test_the_screen_lasts_at_least_the_record(samples: Samples, seconds: float, scale: float) -> None:
    """The smallest time per division whose twelve divisions are long enough, and never below the fastest."""
    assert time_scale(samples, seconds) == scale


def test_a_record_longer_than_the_slowest_time_base_is_refused(samples: Samples) -> None:
    """The words say how long it may be."""
    with pytest.raises(ValueError, match=r"a record of 1.000 ks is too long; 600.0 s at the most"):
        time_scale(samples, 1000.0)


def test_the_memory_is_the_next_deeper_one(samples: Samples) -> None:
    """Never fewer points than wanted; how deep it goes depends on how many channels are on."""
    first, second = samples.depths(1)[:2]
    assert depth(samples, first, 1) == first
    assert depth(samples, first + 1, 1) == second
    deepest = samples.depths(1)[-1]
    assert depth(samples, deepest, 1) == deepest
    with pytest.raises(ValueError, match=rf"{deepest} points a channel are too many for 4 channels; \d+ at the most"):
        depth(samples, deepest, 4)


def test_the_interval_can_be_foreseen(samples: Samples) -> None:
    """From time base and memory, but never faster than the ratings with that many channels."""
    slow = Setup((LOGIC,), 0.12, 1000)
    assert foreseen_interval(samples, slow) == pytest.approx(0.12 / depth(samples, 1000, 1))
    fast = Setup(tuple(ScopeInput(channel, 0.0, 5.0) for channel in (1, 2, 3)), 1e-6, 1000)
    assert foreseen_interval(samples, fast) == pytest.approx(4e-9)  # common practice: four channels share the converter


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: ScopeInput(1, 5.0, 0.0), "channel 1: 5.0 V to 0.0 V is no span"),
        (lambda: ScopeInput(1, 0.0, math.inf), "is no span"),
        (lambda: Setup((), 1.0, 1000), "at least one channel"),
        (lambda: Setup((LOGIC, LOGIC), 1.0, 1000), "each of them once"),
        (lambda: Setup((LOGIC,), 0.0, 1000), "a record of 1000 points in 0.0 s makes no sense"),
        (lambda: Setup((LOGIC,), math.nan, 1000), "makes no sense"),
        (lambda: Setup((LOGIC,), 1.0, 0), "a record of 0 points"),
        (lambda: Setup((LOGIC,), 1.0, 1000, before=1.1), "1.1 is no share of a record"),
        (lambda: Setup((LOGIC,), 1.0, 1000, Trigger(2, 1.4)), "the trigger is on channel 2, which is not captured"),
    ],
)
def test_a_setup_that_makes_no_sense_is_refused(make: object, words: str) -> None:
    """Before any instrument hears of it."""
    with pytest.raises(ValueError, match=words):
        make()  # type: ignore[operator]


def test_a_capture_without_samples_is_stale() -> None:
    """So that it can be told without looking at the words."""
    assert Capture({}, False, 1e-6, "no trigger").stale


def standards(samples: Samples, scale: float, probe: float, difference: bool = False) -> dict[str, float]:
    """Standard uncertainty of each component of a level of 2 V."""
    return {part.name: part.contribution for part in volts_components(samples, scale, probe, 2.0, difference)}


def test_volts_are_as_good_as_the_data_sheet_says(samples: Samples) -> None:
    """Gain and offset are rectangles and the converter's step is a resolution; a probe multiplies the fixed part."""
    found = standards(samples, 1.0, 10.0)
    assert found["gain"] == pytest.approx(0.160 / math.sqrt(3))  # GUM 4.3.7: 2 % of 8 divisions of 1 V
    assert found["offset"] == pytest.approx(0.120 / math.sqrt(3))  # GUM 4.3.7: a tenth of a division and 10 x 2 mV
    assert found["resolution"] == pytest.approx(0.04 / math.sqrt(12))  # GUM F.2.2.1: a step of 1/25 division
    assert standards(samples, 1.0, 1.0)["offset"] == pytest.approx(0.102 / math.sqrt(3))


def test_three_percent_of_full_scale_is_what_a_table_of_scopes_says(samples: Samples) -> None:
    """DC gain 3 % of full scale on 8 divisions of 1 V."""
    coarse = samples.model_copy(update={"trust": samples.trust.model_copy(update={"of_full_scale": 0.03})})
    assert standards(coarse, 1.0, 10.0)["gain"] == pytest.approx(0.1386, abs=5e-5)  # computed: 240 mV / √3


def test_an_amplitude_does_not_suffer_from_the_offset(samples: Samples) -> None:
    """The difference of two levels of one trace loses the offset and has the step twice."""
    found = standards(samples, 1.0, 10.0, difference=True)
    assert set(found) == {"gain", "resolution"}
    assert found["resolution"] == pytest.approx(0.04 / math.sqrt(6))  # computed: √2 x step / √12


def test_the_time_base_is_relative(samples: Samples) -> None:
    """25 ppm of 1 MHz."""
    assert Budget([time_component(samples, 1e6)]).standard == pytest.approx(14.43, abs=5e-3)  # computed: 25 Hz / √3
    assert time_component(samples, 1.0).value == pytest.approx(25e-6)
