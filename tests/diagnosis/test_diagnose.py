"""Whole diagnoses of rounds on two board types: the plain faults first, the circle broken, honesty where alike."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace

import pytest

from autobench.diagnosis.diagnosis import LEAST_NAMED, MOST_SUSPECTS, SURE, diagnose
from autobench.diagnosis.ranking import Predictions
from autobench.diagnosis.result import Diagnosis
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from tests.diagnosis.reported_faults import FAULTS

Taken = Callable[..., list[Reading]]
SEEDS = range(6)

# What the round must put first, by the fault that the specimen has.
PLAIN = [
    ("fixed-3", "master-clock-dead", ("X1",)),
    ("fixed-3", "divider-dead", ("U5",)),
    ("fixed-3", "reset-stuck", ("U7",)),
    ("fixed-3", "cpu-dead", ("U1",)),
    ("fixed-3", "fetch-strobe-dead", ("U1", "FETCH")),
    ("fixed-3", "rom-not-driving", ("U3",)),
    ("fixed-3", "video-chip-dead", ("U2",)),
    ("fixed-3", "sync-output-dead", ("Q1",)),
    ("programmed-3", "master-clock-dead", ("X1",)),
    ("programmed-3", "divider-dead", ("U2",)),
    ("programmed-3", "reset-stuck", ("U7",)),
    ("programmed-3", "cpu-dead", ("U1",)),
    ("programmed-3", "fetch-strobe-dead", ("U1", "FETCH")),
    ("programmed-3", "rom-not-driving", ("U3",)),
    ("programmed-3", "decoder-dead", ("U6",)),
    ("programmed-3", "video-controller-dead", ("U5",)),
]


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(("board", "fault", "place"), PLAIN)
def test_plain_faults_come_first(
    board: str, fault: str, place: tuple[str, ...], seed: int, taken: Taken, predicted: dict[str, Predictions]
) -> None:
    """A plain fault is the first suspect after the round, by name and by part."""
    first = diagnose(predicted[board], taken(board, fault, seed)).suspects[0]
    assert first.fault == fault
    assert tuple(word for word in (first.part, first.net) if word) == place
    assert first.probability > 0.5


@pytest.mark.parametrize("fault", ["cpu-dead", "rom-not-driving", "decoder-dead", "video-controller-dead"])
def test_the_circle_is_broken_by_an_observation(fault: str, taken: Taken, predicted: dict[str, Predictions]) -> None:
    """CPU, ROM, decoder and controller are told apart, and the reasons quote the observation that did it."""
    words = {
        "cpu-dead": "the CPU itself does nothing",
        "rom-not-driving": "is selected and does not answer",
        "decoder-dead": "U6 decodes nothing",
        "video-controller-dead": "CPU, ROM, decoder and the write path are good, and yet",
    }
    for seed in SEEDS:
        found = diagnose(predicted["programmed-3"], taken("programmed-3", fault, seed))
        assert found.told_apart
        assert found.group == ()
        assert words[fault] in found.suspects[0].for_[0]
        assert found.suspects[0].for_[0].startswith(("FETCH at ", "ROMCS at ", "CRTCCS at "))


def test_a_halted_cpu_accuses_what_makes_its_interrupt(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """A machine frozen in a halt because the frame interrupt is missing is not blamed on the CPU."""
    for board, fault, part in (("fixed-3", "video-chip-dead", "U2"), ("programmed-3", "video-controller-dead", "U5")):
        found = diagnose(predicted[board], taken(board, fault, 1))
        assert (found.suspects[0].part, found.suspects[0].fault) == (part, fault)
        assert found.told_apart
        assert "the CPU is good and waits for an interrupt" in " ".join(found.suspects[0].for_)


def test_all_ones_loop_clears_the_cpu(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """Two writes on each fetch prove the CPU; the ratio stands in the words, and no doubt is left of the CPU."""
    found = diagnose(predicted["programmed-3"], taken("programmed-3", "rom-not-driving", 1))
    assert "WR : FETCH = 2.000" in " ".join(found.suspects[0].for_)  # RST 38h: one fetch, two writes (data sheet)
    assert sum(each.probability for each in found.suspects if each.part == "U1") < 0.05


@pytest.mark.parametrize("board", ["fixed-3", "programmed-3"])
@pytest.mark.parametrize("seed", SEEDS)
def test_good_boards_have_no_suspects(board: str, seed: int, taken: Taken, predicted: dict[str, Predictions]) -> None:
    """A round without a reading outside its limits names nobody and asks for nothing."""
    assert diagnose(predicted[board], taken(board, None, seed)) == Diagnosis()


def test_short_is_named_by_its_net(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """With the ohms gate shut the rail is named, no capacitor is picked out, and the next check needs no power."""
    found = diagnose(predicted["fixed-3"], taken("fixed-3", "decoupler-short"))
    first = found.suspects[0]
    assert (first.part, first.net, first.fault) == (None, "+5V", "decoupler-short")
    assert found.next_check is not None
    assert "millivolts" in found.next_check.what


def test_a_short_of_a_rail_without_known_capacitors(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """A rail whose capacitors the board file does not list can be shorted by one all the same."""
    readings = [
        replace(each, value=0.2, verdict=Verdict.OUTSIDE) if each.step == "ohms +12V" else each
        for each in taken("programmed-3")
        if each.stage == "ohms"
    ]
    first = diagnose(predicted["programmed-3"], readings).suspects[0]
    assert (first.part, first.net, first.fault) == (None, "+12V", "decoupler-short")


def test_contacts_of_the_inlet_are_a_group(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """Plug and switch explain the same readings: both are named, and the check between them comes next."""
    found = diagnose(predicted["fixed-3"], taken("fixed-3", "inlet-open"))
    assert not found.told_apart
    assert set(found.group) == {"J1", "SW1"}
    assert found.next_check is not None
    assert "volts across" in found.next_check.what
    assert found.next_check.why in (
        "it tells J1 from SW1 (a fuse, switch or inlet contact is open)",
        "it tells SW1 from J1 (a fuse, switch or inlet contact is open)",
    )


@pytest.mark.parametrize("seed", SEEDS)
def test_shorted_data_line_leads(seed: int, taken: Taken, predicted: dict[str, Predictions]) -> None:
    """One line down among moving ones is named by its net."""
    first = diagnose(predicted["fixed-3"], taken("fixed-3", "data-line-short", seed)).suspects[0]
    assert (first.net, first.fault) == ("D3", "data-line-short")


@pytest.mark.parametrize("seed", SEEDS)
def test_fighting_outputs_lead_their_group(seed: int, taken: Taken, predicted: dict[str, Predictions]) -> None:
    """Contention is told from other ways of going astray by little: its buffer leads, or stands in the group."""
    found = diagnose(predicted["fixed-3"], taken("fixed-3", "bus-contention", seed))
    assert "U8" in (found.group or (found.suspects[0].part,))


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("board", ["fixed-3", "programmed-3"])
def test_a_group_has_two_members_or_none(
    board: str, seed: int, taken: Taken, predicted: dict[str, Predictions]
) -> None:
    """Whatever is diagnosed, a group names at least two places, the first suspect's among them."""
    missing = {"fixed-3": "video-controller-dead", "programmed-3": "video-chip-dead"}[board]
    for fault in (fault for fault in FAULTS if fault != missing):
        found = diagnose(predicted[board], taken(board, fault, seed))
        first = found.suspects[0]
        assert len(found.group) != 1
        assert not found.group or found.group[0] in (first.part, first.net)
        assert not found.told_apart or first.probability >= SURE


def test_void_and_conditional_readings_accuse_nobody(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """What would convict the CPU says nothing once it is void, skipped or conditional."""
    readings = taken("fixed-3", "cpu-dead")
    for changed in ({"verdict": Verdict.VOID}, {"verdict": Verdict.SKIPPED}, {"conditional": True}):
        spoilt = [replace(each, **changed) if each.stage in ("cpu", "bus") else each for each in readings]
        assert diagnose(predicted["fixed-3"], [each for each in spoilt if each.quantity != "current"]) == Diagnosis()


def test_what_nothing_explains_is_something_else(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """Readings that contradict every fault known lead to *something else*, said in words."""
    chance = random.Random(3)
    odd = []
    for reading in taken("fixed-3"):
        if (reading.quantity == "rate" and chance.random() < 0.5) or reading.quantity in ("field rate", "duty"):
            state = chance.choice(["slow", "half-level", "burst"])
            reading = replace(reading, verdict=Verdict.OUTSIDE, value=3.0, state=state)
        odd.append(reading)
    found = diagnose(predicted["fixed-3"], odd)
    assert found.suspects[0].fault == "something else"
    assert "no fault known here" in found.suspects[0].for_[0]
    assert not found.told_apart


def test_a_reading_nobody_models_leads_to_something_else(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """A step of a user's own that is outside its limits is no reason to accuse a part."""
    own = replace(taken("fixed-3")[0], step="my own", quantity="temperature", verdict=Verdict.OUTSIDE)
    found = diagnose(predicted["fixed-3"], [*taken("fixed-3")[1:], own])
    assert found.suspects[0].fault == "something else"


@pytest.mark.parametrize(("board", "fault", "place"), PLAIN)
def test_shape_of_a_diagnosis(
    board: str, fault: str, place: tuple[str, ...], taken: Taken, predicted: dict[str, Predictions]
) -> None:
    """At most ten suspects, likeliest of the named first, each with reasons; cleared ones say what cleared them."""
    found = diagnose(predicted[board], taken(board, fault))
    assert 0 < len(found.suspects) <= MOST_SUSPECTS
    assert all(suspect.for_ for suspect in found.suspects)
    likely = [suspect.probability for suspect in found.suspects if suspect.probability >= 0.01]
    assert likely == sorted(likely, reverse=True)
    assert sum(likely) <= 1.0 + 1e-9
    # Beyond those that are worth naming and the two that come next, every one is told with what clears it.
    assert all(suspect.against for suspect in found.suspects[max(len(likely), LEAST_NAMED) :])
    assert found.told_apart == (found.group == ())


def test_two_faults_are_both_named(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """Two independent faults that no single one explains share the first two places."""
    readings = taken("fixed-3", "sync-output-dead")
    fetch = {(each.step, each.quantity): each for each in taken("fixed-3", "fetch-strobe-dead")}
    both = [fetch.get((each.step, each.quantity), each) if each.stage == "cpu" else each for each in readings]
    both = [each for each in both if each.quantity != "ratio" or each.stage != "cpu"]
    found = diagnose(predicted["fixed-3"], both)
    assert {suspect.fault for suspect in found.suspects[:2]} == {"sync-output-dead", "fetch-strobe-dead"}
