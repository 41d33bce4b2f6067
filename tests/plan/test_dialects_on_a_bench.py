"""What a dialect cannot do is said of the bench file that would need it, before anything is opened."""

from __future__ import annotations

import pytest

from autobench.documents.bench import Bench
from autobench.documents.driver import Driver
from autobench.documents.gathered import read_bench_file
from autobench.plan import bench_fit
from autobench.quantity import Span
from autobench.run.interlock import PROBE_VOLTS
from tests.drivers.meetings import driver_named


def complained(changes: dict[str, Driver]) -> list[str]:
    """What is said of the shipped bench with other drivers for some of its instruments."""
    bench, drivers = read_bench_file("simulated")
    return words(bench, {**drivers, **changes})


def words(bench: Bench, drivers: dict[str, Driver]) -> list[str]:
    """The complaints about a bench."""
    return [f"{complaint.route}: {complaint.text}" for complaint in bench_fit.bench_complaints(bench, drivers)]


def test_a_scanner_cannot_route_both_inputs_of_a_meter() -> None:
    """It opens one channel by closing the next, without a word: half of every route would be open."""
    found = complained({"relays": driver_named("w-3")})
    said = "the meter needs 2 relays closed at once, but 'w-3' keeps only 1 closed"
    assert found[0] == f"('routes', 'slots'): {said}"


def test_a_supply_that_begins_at_a_volt_cannot_show_the_polarity() -> None:
    """Many of the dialect PS-6 do: it is said beforehand, and not in the middle of a round."""
    driver = driver_named("ps-6")
    assert driver.outputs is not None
    assert not any("cannot be set below" in said for said in complained({"supply": driver}))
    beginning = driver.outputs.model_copy(update={"volts": Span(0.8, 18.0, "V")})
    found = complained({"supply": driver.model_copy(update={"outputs": beginning})})
    assert any("('feeds', '+5V', 'supply'): 'ps-6' cannot be set below 800.0 mV" in said for said in found)


def test_the_probes_volts_are_those_of_the_interlock() -> None:
    """Two layers, one number."""
    assert pytest.approx(PROBE_VOLTS) == bench_fit.PROBE_VOLTS
