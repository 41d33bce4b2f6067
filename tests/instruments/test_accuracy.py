"""From data-sheet limits to standard uncertainties, against published worked examples."""

from __future__ import annotations

import math

import pytest

from autobench.documents.driver_sections import Trust
from autobench.instruments.accuracy import components, estimate, half_width
from autobench.judgement.uncertainty import Budget


def trust(**parts: str) -> Trust:
    """A statement of accuracy as it stands in a driver file."""
    return Trust.model_validate({key.replace("_", " "): text for key, text in parts.items()})


def test_voltmeter_specification_of_the_guide() -> None:
    """14 ppm of reading and 2 ppm of range at 0.928571 V give a = 15 µV and u = 8.7 µV."""
    stated = trust(of_reading="14 ppm", of_range="2 ppm")
    assert half_width(stated, 0.928571, 1.0) == pytest.approx(15e-6, abs=0.5e-6)  # GUM 4.3.7, example 2 (from memory)
    (part,) = components(stated, 0.928571, 1.0)
    assert part.standard == pytest.approx(8.7e-6, abs=0.05e-6)  # GUM 4.3.7, example 2 (from memory)


def test_voltmeter_specification_with_repeats_of_the_guide() -> None:
    """With a type A part of 12 µV the combined uncertainty is 15 µV."""
    samples = (0.928571 - 12e-6, 0.928571 + 12e-6)  # two samples h from their mean: s = h·√2, so s/√2 = h
    value, parts = estimate(samples, trust(of_reading="14 ppm", of_range="2 ppm"), "V", full_scale=1.0)
    assert value.value == pytest.approx(0.928571)
    assert value.uncertainty == pytest.approx(15e-6, abs=0.5e-6)  # GUM 5.1.5 (from memory): u_c = 15 µV
    assert [part.name for part in parts] == ["instrument accuracy", "repeats"]
    assert parts[1].degrees == 1


@pytest.mark.parametrize(
    ("stated", "reading", "full_scale", "limit", "standard"),
    [
        # computed: 0.0035 % of 5 V + 0.0005 % of 10 V = 225 µV; a/√3
        (trust(of_reading="0.0035 %", of_range="0.0005 %"), 5.0, 10.0, 225e-6, 129.9e-6),
        # computed: 0.5 % of 5.00 V + 2 digits of 10 mV = 45 mV; a/√3
        (trust(of_reading="0.5 %", plus="20 mV"), 5.0, 0.0, 45e-3, 25.98e-3),
        # computed: 3 % of the full scale of 8 divisions of 1 V = 240 mV; a/√3
        (trust(of_range="3 %"), 1.0, 8.0, 240e-3, 138.6e-3),
        # computed: 25 ppm of 1 MHz = 25 Hz; a/√3
        (trust(of_reading="25 ppm"), 1e6, 0.0, 25.0, 14.43),
        # computed: the sign of a reading does not make its limit negative; a/√3
        (trust(of_reading="0.5 %", plus="20 mV"), -5.0, 0.0, 45e-3, 25.98e-3),
    ],
)
def test_stated_limits_become_the_half_width_of_a_rectangle(
    stated: Trust, reading: float, full_scale: float, limit: float, standard: float
) -> None:
    """% of reading, % of range and the fixed part add up to a, and u = a/√3."""
    (part,) = components(stated, reading, full_scale)
    assert part.value == pytest.approx(limit, rel=1e-6)
    assert part.standard == pytest.approx(standard, rel=1e-3)


def test_a_display_step_counts_as_a_cause_of_its_own() -> None:
    """10 mV of resolution alone give 2.887 mV."""
    (part,) = components(trust(resolution="10 mV"), 5.0)
    assert part.standard == pytest.approx(2.887e-3, rel=1e-3)  # GUM F.2.2.1: d/√12


def test_accuracy_and_resolution_combine_as_root_of_squares() -> None:
    """One sample brings the two type B parts and no degrees of freedom to worry about."""
    value, parts = estimate((5.0,), trust(of_reading="0.5 %", resolution="10 mV"), "V", how="meter")
    assert value.uncertainty == pytest.approx(math.hypot(25e-3 / math.sqrt(3), 10e-3 / math.sqrt(12)))  # GUM 5.1.2
    assert value.degrees == math.inf
    assert value.uncertainty == pytest.approx(Budget(parts).standard)


def test_scatter_replaces_the_resolution_it_already_holds() -> None:
    """Samples that scatter by more than half a step already show the step, so it is not counted twice."""
    stated = trust(of_reading="0.1 %", resolution="1 mV")
    quiet = estimate((5.0, 5.0, 5.0), stated, "V")[1]
    noisy = estimate((5.0, 5.002, 4.998), stated, "V")[1]
    assert [part.name for part in quiet] == ["instrument accuracy", "resolution", "repeats"]
    assert [part.name for part in noisy] == ["instrument accuracy", "repeats"]
    assert noisy[1].standard == pytest.approx(0.002 / math.sqrt(3))  # GUM 4.2.3: s/√n


@pytest.mark.parametrize("samples", [(), (math.inf,), (5.0, math.nan)])
def test_no_estimate_is_made_of_what_is_no_number(samples: tuple[float, ...]) -> None:
    """An overload or a missing number never becomes a value."""
    with pytest.raises(ValueError, match="finite"):
        estimate(samples, trust(plus="1 mV"), "V")
