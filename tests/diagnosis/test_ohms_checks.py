"""Ohms between neighbouring lines as a check: which pairs, from where, and what the reading says."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from autobench.diagnosis.alphabets import Observable
from autobench.diagnosis.check import Check
from autobench.diagnosis.checks import possible
from autobench.diagnosis.diagnosis import diagnose
from autobench.diagnosis.evidence import observations
from autobench.diagnosis.extra_evidence import between
from autobench.diagnosis.means import BY_HAND, Means
from autobench.diagnosis.next_check import leading, outcomes_of
from autobench.diagnosis.ranking import Predictions, Ranking, rank
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict

Taken = Callable[..., list[Reading]]


def ohms(one: str, other: str, value: float) -> Reading:
    """Ohms between two lines as the check leaves them."""
    joined = value < 50.0
    return Reading(
        step=f"ohms {one} to {other}", stage="bus", net=one, point="U1.1", quantity="between", value=value, unit="ohm",
        uncertainty=None, low=50.0, high=None, limit_from="common practice",
        verdict=Verdict.OUTSIDE if joined else Verdict.WITHIN, state="joined" if joined else "apart",
        reason=f"{value} from {one} to {other}", required=False,
    )  # fmt: skip


def astray(taken: Taken) -> list[Reading]:
    """A program that went astray, with nothing seen of what its neighbours do to each other."""
    return [each for each in taken("fixed-3", "bus-contention") if each.quantity not in ("likeness", "stay")]


@pytest.fixture
def ranking(taken: Taken, predicted: dict[str, Predictions]) -> Ranking:
    """What that leaves, on a board whose file tells where the CPU's address legs are."""
    known = predicted["fixed-3"]
    pins = {("U1", f"A{bit}"): f"U1.{bit + 1}" for bit in range(16)}
    predictions = replace(known, board=replace(known.board, pins=dict(known.board.pins) | pins))
    return rank(predictions, observations(predictions.board, astray(taken)))


def checks(ranking: Ranking, means: Means = BY_HAND, read: frozenset[Observable] = frozenset()) -> list[Check]:
    """The checks of ohms between lines."""
    return [check for check in possible(ranking, leading(ranking), read, means) if check.kind == "between"]


def test_every_pair_of_a_bus_is_measured_with_the_power_off_once(ranking: Ranking) -> None:
    """Pair by pair from one part, though no pair by itself is likely; power off is paid for once."""
    (walk,) = [check for check in checks(ranking) if len(check.observables) == 15]
    assert [each.name for each in walk.observables][:2] == ["A0 A1", "A1 A2"]
    assert "power off" in walk.what
    assert len(walk.legs) == 30
    one_part = {first.partition(".")[0] == second.partition(".")[0]
                for (_, first), (_, second) in zip(walk.legs[::2], walk.legs[1::2], strict=True)}  # fmt: skip
    assert one_part == {True}  # neighbours are probed where they lie side by side
    assert walk.minutes < 15 * 1.5


def test_without_hands_only_pairs_that_the_relays_of_the_meter_lead_to(ranking: Ranking) -> None:
    """Both points of a pair, or it is not measured at all; by relays it takes less time."""
    board = ranking.predictions.board
    routed = frozenset(board.pins["U1", net] for net in ("A0", "A1", "A2"))
    bare = Means(hand=False)
    assert checks(ranking, bare) == []
    (walk,) = [check for check in checks(ranking, replace(bare, meter=routed)) if len(check.observables) > 1]
    assert [each.name for each in walk.observables] == ["A0 A1", "A1 A2"]
    others = frozenset(between(f"A{bit}", f"A{bit + 1}") for bit in range(2, 15))
    (by_hand,) = [check for check in checks(ranking, read=others) if len(check.observables) == 2]
    assert walk.minutes < by_hand.minutes


def test_it_needs_no_power_and_no_pair_is_measured_twice(ranking: Ranking) -> None:
    """On a board that may not be powered it is as good as on any other."""
    assert checks(ranking, replace(BY_HAND, powered=False))
    left = checks(ranking, read=frozenset({between("A0", "A1")}))
    assert all(between("A0", "A1") not in check.observables for check in left)


def test_it_tells_a_bridge_from_everything_else(ranking: Ranking) -> None:
    """About an ohm is all but sure where these two lines touch, and far more anywhere else."""
    predictions = ranking.predictions
    bridged = np.array([each.fault == "lines-bridged" and each.net == "A3" for each in predictions.candidates])
    table = outcomes_of(ranking, Check("between", (between("A3", "A4"),), "", None, 1.0, 0.0))
    mine = bridged[predictions.owner]
    assert table[mine, 1].min() > 0.9
    others = np.delete(table[:, 1], [1, *np.flatnonzero(mine).tolist()])  # 1: something else, which may be anything
    assert others.max() < 0.02


def test_an_ohm_names_the_line_and_many_clear_it(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """Measured, a bridge leads with the ohms as its reason; apart, it is out of the question. What is no neighbour of
    the bridge says nothing of it."""
    readings = astray(taken)
    found = diagnose(predicted["fixed-3"], [*readings, ohms("A2", "A3", 36e3), ohms("A3", "A4", 1.2)])
    assert (found.suspects[0].net, found.suspects[0].fault) == ("A3", "lines-bridged")
    assert any("from A3 to A4" in words for words in found.suspects[0].for_)
    apart = diagnose(predicted["fixed-3"], [*readings, ohms("A3", "A4", 36e3)])
    assert not [each for each in apart.suspects if each.net == "A3" and each.probability > 0.01]
