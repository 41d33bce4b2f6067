"""One more point of a net: what was read of it before, breaks between two points, outputs that nobody asks for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from autobench.diagnosis.alphabets import Observable, alphabets
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.check import Check
from autobench.diagnosis.checks import scans
from autobench.diagnosis.diagnosis import diagnose
from autobench.diagnosis.effects import Effect
from autobench.diagnosis.evidence import Observation, observations
from autobench.diagnosis.extra_evidence import at_leg, joined
from autobench.diagnosis.parts import Output, Part
from autobench.diagnosis.ranking import Predictions, floored
from autobench.diagnosis.resting import level_at_rest
from autobench.diagnosis.simulation import settle
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict

Taken = Callable[..., list[Reading]]


def look(net: str, point: str, state: str, volts: float | None = None) -> list[Reading]:
    """A look beyond the round, with its level where the line is still."""
    rate = Reading(
        step=f"look {net} at {point}", stage="bus", net=net, point=point, quantity="rate",
        value=480e3 if state == "moving" else 0.0, unit="Hz", uncertainty=1.0, low=None, high=None,
        limit_from="for information", verdict=Verdict.WITHIN, state=state, required=False,
    )  # fmt: skip
    level = replace(rate, quantity="level", value=volts, unit="V", state=None)
    return [rate] if volts is None else [rate, level]


def of(found: tuple[Observation, ...], observable: Observable) -> Observation:
    """The observation of an observable."""
    return next(each for each in found if each.observable == observable)


def chance(predictions: Predictions, seen: Observation, fault: str, part: str | None, net: str | None) -> float:
    """Least chance of what was seen among the ways of one candidate."""
    numbers = [
        number
        for number, each in enumerate(predictions.candidates)
        if (each.fault, each.part, each.net) == (fault, part, net)
    ]
    column = alphabets()[seen.observable.kind].category_numbers[seen.category]
    ways = [row for row, owner in enumerate(predictions.owner) if owner in numbers]
    return float(predictions.chances(seen.observable, seen.known)[ways, column].min())


def test_the_same_again_says_nothing_but_a_difference_says_where(
    taken: Taken, predicted: dict[str, Predictions]
) -> None:
    """D3 was read moving at the CPU. Moving at the ROM's own leg is what every fault foretells whose break does not lie
    between the two; still there, it is all but sure that one does (one leg against its net)."""
    predictions = predicted["fixed-3"]
    point = "U3.15"
    readings = taken("fixed-3", "bus-contention", 0)
    between, elsewhere = ("track-open", "U3", "D3"), ("rom-bits-lost", "U3", None)
    alike = of(observations(predictions.board, [*readings, *look("D3", point, "moving")]), at_leg("U3", "D3"))
    assert alike.known == ("U1", "moving")
    assert chance(predictions, alike, *elsewhere) > 0.4
    apart = of(observations(predictions.board, [*readings, *look("D3", point, "high", 4.9)]), at_leg("U3", "D3"))
    assert chance(predictions, apart, *between) > 100 * chance(predictions, apart, *elsewhere)


def test_points_are_joined_unless_a_track_breaks_between_them(models: dict[str, BoardModel]) -> None:
    """In a socket the probe touches the board's side on both."""
    track = settle(models["fixed-3"], Effect(cut=(("U1", "A3"),)))
    assert not joined(track, "A3", "U1", "U3")
    assert joined(track, "A3", "U3", "U9")
    assert joined(track, "A3", "U1", "U1")
    contact = settle(models["fixed-3"], Effect(cut=(("U1", "A3"),), in_socket=True))
    assert joined(contact, "A3", "U1", "U3")


def test_a_leg_and_its_socket_pin_are_one_where_the_track_is_broken(predicted: dict[str, Predictions]) -> None:
    """A track breaks beyond the pin, so the comparison accuses the contact alone."""
    predictions = predicted["fixed-3"]
    observable = Observable("contact", "U1 A3")
    tokens = alphabets()["contact"].tokens
    rows = predictions.rows(observable)
    for row, owner in enumerate(predictions.owner):
        candidate = predictions.candidates[owner]
        if (candidate.part, candidate.net) == ("U1", "A3"):
            assert tokens[rows[row]] == ("apart" if candidate.fault == "socket-contact" else "joined")


@pytest.mark.parametrize(("volts", "category"), [(1.48, "floating"), (0.9, "half-level")])
def test_between_the_levels_the_volts_decide(
    volts: float, category: str, taken: Taken, predicted: dict[str, Predictions]
) -> None:
    """1.3 to 1.6 V is an open net seen from the load side; 0.5 to 1.0 V are two outputs that fight (trade's levels)."""
    board = predicted["fixed-3"].board
    found = observations(board, [*taken("fixed-3", "cpu-dead", 0), *look("A3", "U3.7", "half-level", volts)])
    assert of(found, at_leg("U3", "A3")).category == category


CS = Output("CS", "decode", needs=(("ASK", "low"), ("A15", "low")))
OTHER = Output("OTHER", "decode", needs=(("ASK", "low"), ("CS", "high")))
GATE = Part("U9", "gates", outputs=(CS, OTHER))


@pytest.mark.parametrize(
    ("read", "net", "level"),
    [
        ({"ASK": "high"}, "CS", "high"),  # nobody asks
        ({"ASK": "high"}, "OTHER", "high"),
        ({"ASK": "moving", "A15": "high"}, "CS", "high"),
        ({"ASK": "moving", "A15": "low"}, "CS", None),
        ({"ASK": "moving", "A15": "low"}, "OTHER", "high"),  # whenever it is asked, CS answers
        ({"ASK": "low", "A15": "low"}, "CS", "low"),
        ({"ASK": "low", "A15": "floating"}, "CS", "high"),  # an open input acts as a high
        ({}, "CS", None),
    ],
)
def test_what_inputs_leave_an_output_at(
    read: dict[str, str], net: str, level: str | None, models: dict[str, BoardModel]
) -> None:
    """Truth tables worked out by hand."""
    board = replace(models["fixed-3"], parts={"U9": GATE})
    assert level_at_rest(board, read, "U9", net) == level


def test_a_select_nobody_asks_for_is_no_evidence(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """With MEMREQ still and high the selects rest; that is not held against the decoder."""
    board = predicted["fixed-3"].board
    readings = [
        replace(each, state="high", value=0.0, verdict=Verdict.OUTSIDE)
        if each.net in ("MEMREQ", "ROMCS", "RAMCS") and each.quantity == "rate" else each
        for each in taken("fixed-3", "cpu-dead", 0)
    ]  # fmt: skip
    found = {each.observable for each in observations(board, readings)}
    assert Observable("line", "MEMREQ") in found
    assert not {Observable("line", "ROMCS"), Observable("line", "RAMCS")} & found


def test_buses_are_looked_at_where_they_are_driven_and_at_one_part(models: dict[str, BoardModel]) -> None:
    """All data lines at the legs of one chip: where one differs from its net, a track or contact is open between."""
    legs = [(part, f"D{bit}") for part in ("U3", "U8") for bit in range(8)]
    single = [Check("look", (at_leg(part, net),), "", f"{part}.{net}", 1.0, 0.0, part, net) for part, net in legs]
    found = [
        ({point.partition(".")[0] for _, point in check.legs}, len(check.legs))
        for check in scans(models["fixed-3"], single, frozenset())
    ]
    assert found == [({"U3"}, 8), ({"U8"}, 8)]


def test_a_diagnosis_with_a_look_names_the_broken_track(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """A15 floats at the decoder and is driven at the CPU: its track."""
    readings = taken("fixed-3", "rom-not-driving", 0)
    before = diagnose(predicted["fixed-3"], readings).suspects
    looks = look("A15", "U6.2", "half-level", 1.45)
    after = diagnose(predicted["fixed-3"], [*readings, *looks]).suspects
    chances = [sum(each.probability for each in found if each.net == "A15") for found in (before, after)]
    assert chances[1] > 5 * chances[0]


def standing(board: BoardModel, still: int) -> list[Reading]:
    """So many lines that the ROM should drive and that stay low."""
    lines = [driver.line for driver in board.bus_drivers if driver.part == "U3"][:still]
    return [
        Reading(
            step=f"driving U3 {line}", stage="bus", net=line, point="U1.14", quantity="driven", value=0.0, unit="%",
            uncertainty=None, low=1.0, high=99.0, limit_from="board file", verdict=Verdict.OUTSIDE, state="low",
        )
        for line in lines
    ]  # fmt: skip


def driving_chance(token: str, category: str) -> float:
    """How often a line is read so, by what is there."""
    alphabet = alphabets()["driving"]
    return float(alphabet.table[alphabet.token_numbers[token], alphabet.category_numbers[category]])


@pytest.mark.parametrize(("still", "category"), [(2, "low"), (3, "low in step")])
def test_several_lines_of_a_part_that_stand_still_accuse_none_alone(
    still: int, category: str, predicted: dict[str, Predictions]
) -> None:
    """A short loop leaves many lines of a chip at one level; a bad output is one line (common practice)."""
    board = predicted["fixed-3"].board
    assert [each.category for each in observations(board, standing(board, still))] == [category] * still
    ratio = driving_chance("stuck low alone", category) / driving_chance("in a loop", category)
    assert (ratio < 2.0) == (still == 3)


@pytest.mark.parametrize("still", [3, 8])
def test_lines_in_step_are_one_proof(still: int, predicted: dict[str, Predictions]) -> None:
    """A loop that reads one place for ever may find nothing but zeros there: however many lines, they say it once."""
    board = predicted["fixed-3"].board
    found = observations(board, standing(board, still))
    told = np.log([[driving_chance(token, "low in step") for token in ("stuck low", "in a loop")]] * still)
    dead, looping = floored(told, found)
    assert 0.0 < dead - looping < 4.0
