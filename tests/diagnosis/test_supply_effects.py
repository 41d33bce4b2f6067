"""Faults of the supply as they show: ripple through the shared ground, joints that open now and then, shorts behind a
converter."""

from __future__ import annotations

from pathlib import Path

import pytest

from autobench.diagnosis import cpu
from autobench.diagnosis.alphabets import Observable
from autobench.diagnosis.board_model import BoardModel, board_model
from autobench.diagnosis.effects import Effect, RailTrouble
from autobench.diagnosis.fault_effects import effects_of
from autobench.diagnosis.prediction import predicted
from autobench.diagnosis.rests import Rests
from autobench.diagnosis.simulation import settle
from autobench.diagnosis.translation import translate
from autobench.documents.board import Board
from autobench.documents.places import find_board
from autobench.documents.reading import read
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict


def model(board: str) -> BoardModel:
    """A demonstration board with what is usually fitted."""
    read_board = read(Path(find_board(board)), Board)
    return board_model(read_board, read_board.resolve_options({}))


@pytest.fixture(scope="module")
def converting() -> BoardModel:
    """A board with a regulator and a converter."""
    return model("orrin-tk")


def token(board: BoardModel, effect: Effect, kind: str, name: str) -> str:
    """What one reading would be."""
    return predicted(settle(board, effect))[Observable(kind, name)]


def test_ripple_of_the_heavy_rail_comes_through_the_shared_ground() -> None:
    """The load of +5 V lifts the ground that all rails share; the few milliamps of the other do not (common practice:
    ground rise, trade's rule of two pins of one chip)."""
    board = model("wexcombe-2")
    heavy, light = (Effect(rail=RailTrouble(rail, "ripple", "C1")) for rail in ("+5V", "+12V"))
    assert token(board, heavy, "ripple", "+5V") == "high"
    assert token(board, heavy, "ripple", "+12V") == "coupled"
    assert token(board, light, "ripple", "+12V") == "high"
    assert token(board, light, "ripple", "+5V") == "ok"


def test_a_loose_joint_shows_behind_it_now_and_then(converting: BoardModel) -> None:
    """Catalogue of the trade, F46: current and rails step, the board starts anew; before the joint all is well."""
    ways = effects_of(converting, "cracked-joint", "J1", "V9")
    assert len(ways) > 1
    assert all(way.rail == RailTrouble("V9", "loose", "J1") for way in ways)
    assert token(converting, ways[0], "rail", "V9 inlet") == "ok"
    assert token(converting, ways[0], "rail", "V9 switch") == "flickering"
    assert token(converting, ways[0], "rail", "+5V far") == "flickering"  # made from it
    assert token(converting, ways[0], "line", "MEMREQ") == "interrupted"
    assert token(converting, ways[0], "reset", "RESET") == "interrupted"


def test_a_converter_limits_on_a_short_or_shuts_down(converting: BoardModel) -> None:
    """Either it gives all it can, or nothing at all, and then the board draws what it draws without that rail."""
    currents = set()
    for way in effects_of(converting, "decoupler-short", None, "+12V"):
        settled = settle(converting, way)
        currents.add(float(predicted(settled)[Observable("current", "V9")]))
        assert predicted(settled)[Observable("ohms", "+12V")] == "short"
    assert min(currents) < 0.8
    assert max(currents) > 1.2


@pytest.mark.parametrize(("fault", "part"), [("decoupler-short", None), ("chip-supply-short", "U8")])
def test_behind_a_regulator_a_short_takes_its_limit_or_less(
    fault: str, part: str | None, converting: BoardModel
) -> None:
    """A linear regulator gives amps until it folds back (data sheets of three-legged regulators, from memory); what
    feeds it is hardly burdened."""
    hard = [way for way in effects_of(converting, fault, part, "+5V") if way.rail and way.rail.kind == "short"]
    ratios = [float(token(converting, way, "current", "V9")) for way in hard]
    assert min(ratios) < 0.9
    assert max(ratios) > 1.3
    assert token(converting, hard[0], "rail", "V9 inlet") == "burdened"
    assert token(converting, hard[0], "rail", "+5V cpu") == "collapsed"


def test_too_much_current_may_end_the_power(converting: BoardModel) -> None:
    """A regulator that passes its input on draws 1.3 to 1.8 times nominal (catalogue of the trade, F06): the supply may
    be switched off for it."""
    ways = effects_of(converting, "regulator-high", "VR1", None)
    assert {token(converting, way, "trip", "V9") for way in ways} >= {"perhaps"}
    assert token(converting, Effect(), "trip", "V9") == "none"


@pytest.mark.parametrize(("volts", "category"), [(4.93, "ok"), (4.2, "low"), (0.63, "collapsed"), (0.05, "zero")])
def test_how_far_a_rail_is_down(volts: float, category: str, converting: BoardModel) -> None:
    """A regulator that gives too little gives 3 to 4.6 V (F05); below half it is a short or not there (F01, F02)."""
    reading = Reading(
        step="rail +5V cpu", stage="rails", net="+5V", point="U1.11", quantity="voltage", value=volts, unit="V",
        uncertainty=0.001, low=4.78, high=5.2, limit_from="board file",
        verdict=Verdict.WITHIN if volts > 4.78 else Verdict.OUTSIDE,
    )  # fmt: skip
    assert translate(converting, reading) == (Observable("rail", "+5V cpu"), ((category, 1.0),))


def test_a_chip_the_wrong_way_round_draws_a_multiple(converting: BoardModel) -> None:
    """Catalogue of the trade, F47: the current is often 1.3 times nominal or more."""
    ways = effects_of(converting, "repair-damage", "U1", None)
    rests = Rests(converting)
    ratios = [float(predicted(rests.at_rest(way))[Observable("current", "V9")]) for way in ways]
    assert max(ratios) > 1.3
    assert min(ratios) > 1.0
    memory = effects_of(converting, "repair-damage", "U14", None)
    assert {way.later for way in memory} == {cpu.CRASHED, cpu.RUNNING, cpu.HALTED}  # the start-up runs from the ROM
