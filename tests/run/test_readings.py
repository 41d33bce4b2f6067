"""Readings by the step's rule, and repeated while they cannot be called."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from autobench.judgement.reading import Reading
from autobench.judgement.uncertainty import Component
from autobench.judgement.verdict import Verdict
from autobench.plan.limits import Limits
from autobench.plan.steps import PlannedStep, WaitJob
from autobench.quantity import Span
from autobench.run.readings import judged, patiently
from simulated_instruments.bench import SimulatedBench

LIMITS = Limits(Span(4.75, 5.25, "V"), "test")


def step(rule: str = "95 %", patience: float = 0.0) -> PlannedStep:
    return PlannedStep("rail", "rails", WaitJob(0.0), "", 0.0, rule=rule, patience=patience)


def volts(value: float, random: float, fixed: float, planned: PlannedStep) -> Reading:
    """A reading with a part that repeats average away and one that they do not, standard uncertainties in V."""
    parts = (Component("repeats", random, "normal"), Component("accuracy", fixed * math.sqrt(3), "rectangular"))
    return judged(planned, "+5V", "U1.1", "voltage", value, "V", parts, LIMITS)


@pytest.fixture
def bench() -> SimulatedBench:
    return SimulatedBench.open("tarnbeck-8", seed=1)


@pytest.mark.parametrize(
    ("rule", "verdict"),
    [("simple", Verdict.WITHIN), ("w = 0.83 U", Verdict.WITHIN), ("w = U", Verdict.MARGINAL), ("95 %", Verdict.WITHIN)],
)
def test_the_rule_of_the_step_decides_and_is_stored(rule: str, verdict: Verdict) -> None:
    """1.8 standard uncertainties inside its limit a reading passes 0.83 U and 95 % (1.65 u), not w = U (2 u)."""
    reading = volts(4.75 + 1.8 * 0.01, 0.01, 0.0, step(rule))  # ILAC-G8:09/2019, table 1
    assert (reading.verdict, reading.rule) == (verdict, rule)


def test_k_follows_a_dominant_rectangle() -> None:
    """Where the instrument's limit of error dominates, U is 1.65 u: a value 1.8 u inside passes w = U."""
    planned = step("w = U")
    inside = volts(4.75 + 1.8 * 0.01, 0.0001, 0.01, planned)
    assert inside.verdict is Verdict.WITHIN  # EA-4/02 S9: k = 0.95 √3 = 1.65
    nearer = volts(4.75 + 1.5 * 0.01, 0.0001, 0.01, planned)
    assert nearer.verdict is Verdict.MARGINAL
    assert nearer.reason is not None
    assert "(k = 1.65)" in nearer.reason


def taking(bench: SimulatedBench, planned: PlannedStep, fixed: float, seconds: float) -> Callable[[int], Reading]:
    """A measurement whose scatter halves each time, and which takes `seconds`."""

    def take(turn: int) -> Reading:
        bench.clock.sleep(seconds)
        return volts(4.76, 0.04 / 2**turn, fixed, planned)

    return take


def test_patience_makes_a_reading_certain(bench: SimulatedBench) -> None:
    """10 mV inside the limit the scatter of 40 mV is averaged until 95 % are reached, and no longer."""
    planned = step(patience=60.0)
    reading = patiently(taking(bench, planned, 0.0, 1.0), planned, bench.clock)
    assert reading.verdict is Verdict.WITHIN
    assert reading.uncertainty == pytest.approx(0.005)  # 40 mV halved three times: 10 mV are 2 u; before, 1 u


def test_patience_ends(bench: SimulatedBench) -> None:
    """Once the stated time is over the reading is reported as it is, with how long it was tried."""
    planned = step(patience=2.0)
    reading = patiently(taking(bench, planned, 0.0, 1.5), planned, bench.clock)
    assert reading.verdict is Verdict.MARGINAL
    assert reading.reason is not None
    assert reading.reason.endswith("even after 3.0 s of repeating")


def test_patience_does_not_help_against_the_instrument(bench: SimulatedBench) -> None:
    """What the instrument's accuracy leaves open is not averaged away: it stops long before the time is over."""
    planned = step(patience=1e6)
    began = bench.clock.now()
    reading = patiently(taking(bench, planned, 0.02, 1.0), planned, bench.clock)
    assert reading.verdict is Verdict.MARGINAL
    assert bench.clock.now() - began < 10.0


def test_without_patience_nothing_is_repeated(bench: SimulatedBench) -> None:
    """One look, and its verdict stands."""
    planned = step()
    began = bench.clock.now()
    assert patiently(taking(bench, planned, 0.0, 1.0), planned, bench.clock).verdict is Verdict.MARGINAL
    assert bench.clock.now() - began == pytest.approx(1.0)
