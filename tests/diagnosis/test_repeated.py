"""Cold, warm and once more: for which suspects, at which line, and what an answer means."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from autobench.diagnosis.alphabets import Observable
from autobench.diagnosis.candidates import candidates
from autobench.diagnosis.check import Check
from autobench.diagnosis.checks import possible
from autobench.diagnosis.cpu import CRASHED
from autobench.diagnosis.diagnosis import LEAST_NAMED, diagnose
from autobench.diagnosis.evidence import observations
from autobench.diagnosis.means import BY_HAND, Means
from autobench.diagnosis.next_check import leading, outcomes_of
from autobench.diagnosis.ranking import Predictions, Ranking, rank
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict

Taken = Callable[..., list[Reading]]


def flickering(taken: Taken) -> list[Reading]:
    """A good board whose current is a little low and whose reset came again, as with a joint that comes and goes."""
    found = []
    for each in taken("fixed-3"):
        if each.quantity == "reset width":
            found.append(replace(each, state="moving", verdict=Verdict.OUTSIDE))
        elif each.quantity == "current":
            value = 0.93 * 0.5 * ((each.low or 0.0) + (each.high or 0.0))
            found.append(replace(each, value=value, verdict=Verdict.OUTSIDE, low=1.01 * value))
        else:
            found.append(each)
    return found


@pytest.fixture
def ranking(taken: Taken, predicted: dict[str, Predictions]) -> Ranking:
    """What such a board leaves."""
    return rank(predicted["fixed-3"], observations(predicted["fixed-3"].board, flickering(taken)))


def checks(ranking: Ranking, kind: str, means: Means = BY_HAND) -> dict[str, Check]:
    """The checks of a kind by what they are of."""
    found = [check for check in possible(ranking, leading(ranking), frozenset(), means) if check.kind == kind]
    return {check.observables[0].name: check for check in found}


def test_a_joint_is_cooled_with_the_far_end_of_its_rail_in_view(ranking: Ranking) -> None:
    """Each part that may have the joint by itself, with the power off while it is cooled; and the same place is looked
    at several times with nothing done. What sets the supply by what it reads is not repeated."""
    cools, agains = checks(ranking, "cool"), checks(ranking, "again")
    rail = ranking.predictions.board.rails["+5V"]
    assert {"J1", "SW1"} <= cools.keys()
    for part in ("J1", "SW1"):
        assert cools[part].what.startswith(f"power off, cool {part} alone")
        assert (cools[part].net, cools[part].point) == ("+5V", rail.places[-1].point)
    assert agains["+5V"].point == rail.places[-1].point
    assert agains["+5V"].minutes < min(each.minutes for each in cools.values())
    assert agains["+5V"].risk < min(each.risk for each in cools.values())


def test_without_hands_nothing_is_cooled_and_without_power_nothing_repeated(ranking: Ranking) -> None:
    """The same look again wants no hand where relays lead there."""
    point = ranking.predictions.board.rails["+5V"].places[-1].point
    assert checks(ranking, "cool", Means(hand=False)) == {}
    assert checks(ranking, "again", Means(hand=False)) == {}
    assert "+5V" in checks(ranking, "again", Means(fixture=frozenset({point}), hand=False))
    for kind in ("cool", "again"):
        assert checks(ranking, kind, replace(BY_HAND, powered=False)) == {}


def least(ranking: Ranking, observable: Observable, category: int, fault: str, part: str) -> float:
    """The least chance of a category under a candidate."""
    table = outcomes_of(ranking, Check("", (observable,), "", None, 1.0, 0.0))
    known = ranking.predictions
    own = [number for number, each in enumerate(known.candidates) if (each.fault, each.part) == (fault, part)]
    return float(table[np.isin(known.owner, own), category].min())


def test_what_follows_the_temperature_of_a_part_is_in_that_part(ranking: Ranking) -> None:
    """A joint and a memory chip follow their own part, most other faults none; what comes and goes may seem to."""
    follows = 0
    own = least(ranking, Observable("cool", "J1"), follows, "cracked-joint", "J1")
    assert own > 2.0 * least(ranking, Observable("cool", "J1"), follows, "cracked-joint", "SW1")
    assert least(ranking, Observable("cool", "U12"), follows, "ram-marginal", "U12") > 0.5
    assert least(ranking, Observable("cool", "U12"), follows, "ram-dead", "U12") < 0.05
    assert least(ranking, Observable("again", "+5V"), 1, "cracked-joint", "J1") > 0.7
    assert least(ranking, Observable("again", "+5V"), 1, "cpu-dead", "U1") < 0.05


def test_answers_tell_the_joints_apart(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """Alike by every reading of the round, until one of them is cooled."""
    readings = flickering(taken)
    cooled = Reading(
        step="cool SW1", stage="bus", net="+5V", point="SW1", quantity="cool", value=None, unit="", uncertainty=None,
        low=None, high=None, limit_from="for information", verdict=Verdict.WITHIN, state="follows", required=False,
        reason="+5V is outside its limits, and within its limits with SW1 cold",
    )  # fmt: skip
    first = diagnose(predicted["fixed-3"], [*readings, cooled]).suspects[0]
    assert (first.part, first.fault) == ("SW1", "cracked-joint")
    assert any("with SW1 cold" in words for words in first.for_)
    other = diagnose(predicted["fixed-3"], [*readings, replace(cooled, state="as before")]).suspects[0]
    assert (other.part, other.fault) == ("J1", "cracked-joint")


def test_a_select_of_the_memory_spoils_the_program(predicted: dict[str, Predictions]) -> None:
    """One that never comes, stuck, open or cut off, leaves a program that starts and comes to grief in its memory; the
    select of the ROM leaves no program at all."""
    found = candidates(predicted["fixed-3"].board)
    for fault in ("gate-output-stuck", "gate-output-open", "track-open"):
        ends = {
            net: {way.later for each in found if (each.fault, each.part, each.net) == (fault, "U6", net)
                  for way in each.effects}
            for net in ("RAMCS", "ROMCS")
        }  # fmt: skip
        assert CRASHED in ends["RAMCS"], fault
        assert CRASHED not in ends["ROMCS"], fault


def test_those_who_come_next_are_named_beside_a_sure_leader(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """The two likeliest after it come before what was cleared, likeliest first."""
    found = diagnose(predicted["fixed-3"], taken("fixed-3", "video-chip-dead"))
    assert found.told_apart
    chances = [each.probability for each in found.suspects[:LEAST_NAMED]]
    assert len(chances) == LEAST_NAMED
    assert chances == sorted(chances, reverse=True)
    assert found.group == ()
