"""The interlock's table, by its own rules."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from autobench.errors import InterlockRefusedError
from autobench.plan.steps import Envelope
from autobench.run.interlock import ALLOWED, INJECTION, LIVE, PROBE, Interlock

EVENTS = sorted({event for _, event in ALLOWED})
STATES = sorted({state for state, _ in ALLOWED} | set(ALLOWED.values()))


def fresh() -> Interlock:
    return Interlock("+5V", Envelope(volts=5.25, amps=1.5, trip=5.5))


@pytest.mark.parametrize("state", STATES)
def test_off_is_allowed_from_every_state(state: str) -> None:
    """Whatever happened before, OFF may be sent."""
    assert (state, "off") in ALLOWED


def test_full_power_only_after_proof_ohms_polarity_and_read_back() -> None:
    """The shortest way to a full ON passes every gate once."""
    interlock = fresh()
    for event in (
        "off",
        "proved off",
        "ohms passed",
        "set low",
        "on",
        "polarity right",
        "off",
        "proved off",
        "set",
        "on",
    ):
        interlock.happened(event)
    assert interlock.state == "on"


@given(st.lists(st.sampled_from(EVENTS), max_size=60))
def test_no_random_order_of_events_reaches_on_without_its_conditions(events: list[str]) -> None:
    """Whatever order things happen in, `on` was preceded by a proof of off, passed ohms, right polarity and a set."""
    interlock, happened = fresh(), []
    for event in events:
        if interlock.allows(event):
            interlock.happened(event)
            happened.append(event)
            if interlock.state == "on":
                for needed in ("proved off", "ohms passed", "polarity right", "set"):
                    assert needed in happened
                assert "ohms refused" not in happened
                assert "polarity wrong" not in happened
        else:
            with pytest.raises(InterlockRefusedError):
                interlock.happened(event)


def reached_from(first: str) -> set[str]:
    """Every state that any order of events leads to, but for an alarm's way."""
    reached, frontier = {first}, [first]
    while frontier:
        state = frontier.pop()
        for (source, event), target in ALLOWED.items():
            if source == state and event != "not off" and target not in reached:
                reached.add(target)
                frontier.append(target)
    return reached


def test_a_refused_ohms_gate_has_no_way_on() -> None:
    """From `refused`, no sequence of events leads to any live state but through an alarm."""
    assert not reached_from("refused") & (LIVE - {"alarm"})


def test_a_near_short_leads_to_an_injection_only() -> None:
    """An override, once for each: never to the probe's or the full ON."""
    assert reached_from("near-short") & LIVE == {"injecting", "tripped"}
    interlock = fresh()
    for event in ("off", "proved off", "ohms low"):
        interlock.happened(event)
    for event in ("set lowest", "on", "set", "set low"):
        with pytest.raises(InterlockRefusedError, match="near-short"):
            interlock.require(event)
    for event in ("overridden", "set lowest", "on", "off", "proved off"):
        interlock.happened(event)
    with pytest.raises(InterlockRefusedError, match="near-short"):
        interlock.require("set lowest")  # a second injection wants a second reason


def test_an_injection_stays_at_half_a_volt() -> None:
    """At most 0.5 V and 0.5 A, even where the envelope would allow more."""
    fresh().require_inside(0.5, 0.5, 5.5, INJECTION)
    for volts, amps in ((0.51, 0.5), (0.5, 0.51)):
        with pytest.raises(InterlockRefusedError):
            fresh().require_inside(volts, amps, 5.5, INJECTION)


@pytest.mark.parametrize(
    ("volts", "amps", "trip"),
    [(5.26, 1.0, 5.5), (5.0, 1.51, 5.5), (5.0, 1.0, 5.6), (-6.0, 1.0, 5.5), (float("nan"), 1.0, 5.5)],
)
def test_nothing_beyond_the_envelope(volts: float, amps: float, trip: float) -> None:
    """Volts, current limit and trip beyond the envelope are refused, and so is what is no number."""
    with pytest.raises(InterlockRefusedError):
        fresh().require_inside(volts, amps, trip)


def test_the_probe_stays_below_a_junction() -> None:
    """The polarity probe may not exceed 0.3 V and 50 mA even where the envelope would allow more."""
    interlock = fresh()
    interlock.require_inside(0.3, 0.05, 5.5, PROBE)
    with pytest.raises(InterlockRefusedError):
        interlock.require_inside(0.31, 0.05, 5.5, PROBE)
    with pytest.raises(InterlockRefusedError):
        interlock.require_inside(0.3, 0.06, 5.5, PROBE)


def test_after_a_trip_there_is_no_second_on() -> None:
    """A tripped output goes off and stays off for the rest of the run."""
    interlock = fresh()
    interlock.state = "on"
    for event in ("trip", "off", "proved off"):
        interlock.happened(event)
    with pytest.raises(InterlockRefusedError, match="tripped in this run"):
        interlock.require("on")
    with pytest.raises(InterlockRefusedError):
        interlock.require("set")
