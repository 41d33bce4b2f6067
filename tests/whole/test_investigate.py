"""`investigate` as a user sees it: checks beyond the round, hands on a dead board only, the right part named."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from autobench import app, session
from autobench.__main__ import main
from autobench.diagnosis.means import Means
from autobench.diagnosis.result import Diagnosis, NextCheck, Suspect
from autobench.events import CheckChosen, Diagnosed, Event, Investigated, PowerChanged, Prompted

HANDS = ("reseat", "swap", "lift", "put back")
SHORT = ("cpu",)  # stages of a round that is quick, for what does not hang on the rest
CIRCLE = {
    "rom-not-driving": ("U3", ("ROMCS at U3.20",)),
    "cpu-dead": ("U1", ("FETCH at U1.27", "the CPU itself does nothing")),
    "decoder-dead": ("U6", ("U6 decodes nothing",)),
    "video-controller-dead": ("U5", ("CRTCCS at U5.25",)),
}


def request(board: str, *faults: str, seed: int = 0, **more: Any) -> app.CheckRequest:
    """One investigation on the simulated bench, kept nowhere."""
    simulation = app.Simulation(faults=faults, seed=seed)
    return app.CheckRequest(board=board, records="sqlite://", simulation=simulation, **more)


def investigated(asked: app.CheckRequest) -> tuple[app.RunState, list[Event]]:
    """The run, and everything that happened in it."""
    events: list[Event] = []
    return app.investigate(asked, [events.append]), events


def test_a_bad_contact_is_found_with_hands_on_a_dead_board_only() -> None:
    """A contact of the ROM's socket: the leading chips are reseated, each with every output proved off, and the one
    that cures the board is named. The simulator itself refuses hands on a live board."""
    state, events = investigated(request("pellin-600", "socket-contact@U3", seed=1))
    outputs: dict[str, str] = {}
    hands = 0
    for event in events:
        if isinstance(event, PowerChanged):
            outputs[event.rail] = event.state
        if isinstance(event, Prompted) and event.kind in HANDS:
            hands += 1
            assert set(outputs.values()) == {"settled"}, event.words
    assert hands
    assert state.diagnosis.suspects[0].part == "U3"
    assert state.diagnosis.told_apart
    assert state.ended is not None
    assert state.ended.verdict == "faulty"  # it came faulty: what is cured afterwards does not change that
    after = [reading for reading in state.readings if "reseated" in reading.step and reading.quantity != "reseat"]
    assert after
    assert all(reading.conditional for reading in after)  # they speak of another board
    assert [event.how for event in events if isinstance(event, Investigated)] == ["told apart"]


def test_unattended_nobody_is_asked_for_anything() -> None:
    """Only what the fixture reaches by itself is looked at; it ends with words, and everything off."""
    asked = request("tarnbeck-8", "ram-dead@U14", seed=0, unattended=True, only=SHORT)
    state, events = investigated(asked)
    assert not [event for event in events if isinstance(event, Prompted)]
    kinds = {event.check.kind for event in events if isinstance(event, CheckChosen)}
    assert kinds <= {"look", "scan", "again", "between", "ohms"}
    assert state.investigated is not None
    assert all(changed.state in ("settled", "checked") for _, changed in state.outputs)


def test_what_the_round_found_keeps_no_hand_from_a_further_look(monkeypatch: pytest.MonkeyPatch) -> None:
    """In a round nobody is asked for forty points once something is wrong; a further look is wanted because it is."""
    wanted = NextCheck("look at A15 at U6.2", "U6.2", 1.0, "", "look", "U6", "A15", name=("line", "U6 A15"))
    suspect = Suspect("U1", None, "cpu-dead", 0.5, (), ())

    def diagnose(predictions: object, readings: object, means: Means) -> Diagnosis:
        return Diagnosis((suspect,), told_apart=False, next_check=None if wanted.name in means.tried else wanted)

    monkeypatch.setattr(session, "diagnose", diagnose)
    state, _ = investigated(request("tarnbeck-8", "cpu-dead@U1", only=SHORT))
    assert any(reading.verdict == "outside" and reading.stage == "cpu" for reading in state.readings)
    (look, *_) = [reading for reading in state.readings if reading.step == wanted.what.replace("look at", "look")]
    assert look.verdict == "within", look.reason
    assert look.state is not None


def test_no_minutes_are_no_checks(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--minutes 0` says that the time is over before anything more is done, in the document too."""
    words = ["investigate", "pellin-600", "--fault", "socket-contact@U3", "--seed", "1", "--minutes", "0"]
    code = main([*words, "--only", "cpu", "--json", "--records", str(tmp_path / "r.sqlite")])
    out, _ = capsys.readouterr()
    found = json.loads(out)
    assert code == 1
    assert found["investigation"]["checks"] == []
    assert found["investigation"]["ended"] in ("out of time", "told apart")
    if not found["told_apart"]:
        assert "the time is over" in found["investigation"]["words"]


def test_a_board_that_nothing_speaks_against_is_left_alone() -> None:
    """There is nothing to tell apart."""
    state, events = investigated(request("tarnbeck-8", only=("power",)))
    assert not [event for event in events if isinstance(event, CheckChosen)]
    assert state.investigated is not None
    assert state.investigated.how == "nothing accused"


@pytest.mark.long
@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize("fault", list(CIRCLE))
def test_the_circle_is_broken(fault: str, seed: int) -> None:
    """CPU, ROM, decoder and controller of `pellin-600` are told apart, and the reasons quote what broke the circle."""
    state, _ = investigated(request("pellin-600", fault, seed=seed))
    part, quoted = CIRCLE[fault]
    first = state.diagnosis.suspects[0]
    assert (first.part, first.fault) == (part, fault)
    assert state.diagnosis.told_apart
    assert any(words in " ".join(first.for_) for words in quoted)


def early(events: list[Event]) -> Diagnosis:
    """The diagnosis after the round alone."""
    return next(event.diagnosis for event in events if isinstance(event, Diagnosed))


def chance(found: Diagnosis, part: str) -> float:
    """The chance of everything at a part."""
    return sum(suspect.probability for suspect in found.suspects if suspect.part == part)


@pytest.mark.long
@pytest.mark.parametrize("fault", ["ram-shorted@U17", "socket-contact@U1", "inlet-open@SW1", "cpu-pin-dead"])
def test_checks_make_the_true_part_likelier(fault: str) -> None:
    """What is asked for tells: after the checks the true part has at least the chance it had after the round."""
    state, events = investigated(request("tarnbeck-8", fault, seed=1))
    part = fault.partition("@")[2] or "U1"
    assert chance(state.diagnosis, part) >= chance(early(events), part) - 0.02
    assert state.diagnosis.suspects[0].part == part


@pytest.mark.long
@pytest.mark.parametrize("line", ["A3", "D3"])
def test_lines_that_touch_are_found_with_the_power_off(line: str) -> None:
    """Which of two dozen neighbours touch no reading of the round tells, since the CPU stopped at once: ohms do, with
    every output proved off, and the reasons quote them."""
    state, events = investigated(request("wexcombe-2", f"lines-bridged@{line}", seed=4))
    first = state.diagnosis.suspects[0]
    assert (first.net, first.fault) == (line, "lines-bridged")
    ohms = [reading for reading in state.readings if reading.quantity == "between"]
    touching = [reading for reading in ohms if reading.state == "joined"]
    assert [reading.net for reading in touching] == [line]
    assert (touching[0].value or 0.0) < 10.0
    assert any(touching[0].point in words for words in first.for_ if touching[0].point)
    assert "between" in [event.check.kind for event in events if isinstance(event, CheckChosen)]


@pytest.mark.long
@pytest.mark.parametrize("part", ["J1", "SW1"])
def test_a_joint_is_told_from_its_neighbour_by_cold(part: str) -> None:
    """By the round both are as likely; the one that conducts while it is cold is named."""
    state, events = investigated(request("tarnbeck-8", f"cracked-joint@{part}", seed=0))
    first = state.diagnosis.suspects[0]
    assert (first.part, first.fault) == (part, "cracked-joint")
    assert "cool" in [event.check.kind for event in events if isinstance(event, CheckChosen)]


@pytest.mark.long
def test_a_line_that_comes_and_goes_keeps_nobody_holding_a_probe_for_ever() -> None:
    """A reset that comes again shows nothing for a tenth of a second now and then: a tip on it has not slipped."""
    state, events = investigated(request("orrin-tk", "reset-looping@U7", seed=9))
    assert state.ended is not None
    assert state.ended.verdict == "faulty"
    assert sum(isinstance(event, Prompted) for event in events) < 40
