"""The interlock's table, by its own rules."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from autobench.errors import InterlockRefusedError
from autobench.plan.steps import Envelope
from autobench.run.interlock import ALLOWED, LIVE, Interlock

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


def test_a_refused_ohms_gate_has_no_way_on() -> None:
    """From `refused`, no sequence of events leads to any live state but through an alarm."""
    reached, frontier = {"refused"}, ["refused"]
    while frontier:
        state = frontier.pop()
        for (source, event), target in ALLOWED.items():
            if source == state and event != "not off" and target not in reached:
                reached.add(target)
                frontier.append(target)
    assert not reached & (LIVE - {"alarm"})


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
    interlock.require_inside(0.3, 0.05, 5.5, probe=True)
    with pytest.raises(InterlockRefusedError):
        interlock.require_inside(0.31, 0.05, 5.5, probe=True)
    with pytest.raises(InterlockRefusedError):
        interlock.require_inside(0.3, 0.06, 5.5, probe=True)


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
