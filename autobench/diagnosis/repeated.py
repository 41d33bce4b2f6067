"""The same look once more, as a check: what comes and goes is well now and then. It looks at nothing itself."""

from __future__ import annotations

from collections.abc import Iterator

from autobench.diagnosis.alphabets import Observable
from autobench.diagnosis.check import AGAIN_BY_FIXTURE, AGAIN_BY_HAND, Check
from autobench.diagnosis.means import Means
from autobench.diagnosis.ranking import Ranking

COMING = ("cracked-joint",)  # comes and goes by itself
MEANS = ("current",)  # a mean of some seconds hardly shows it; and the supply is set anew by what its leads lose


def agains(ranking: Ranking, numbers: list[int], means: Means) -> Iterator[Check]:
    """Several looks at what one that comes and goes explains best."""
    candidates = ranking.predictions.candidates
    coming = [number for number in numbers if candidates[number].fault in COMING]
    if not coming:
        return
    seen = watched(ranking, max(coming, key=lambda number: ranking.chances[number]))
    if seen is None:
        return
    net, point = seen
    by_hand = point is not None and point not in means.fixture
    if by_hand and not means.hand:
        return
    what = f"look at {where(net, point)} several times more, nothing else done: is it well now and then?"
    minutes, risk = AGAIN_BY_HAND if by_hand else AGAIN_BY_FIXTURE
    yield Check("again", (Observable("again", net),), what, point, minutes, risk, net=net)


def where(net: str, point: str | None) -> str:
    """A net and where it is looked at, in words."""
    return f"{net} at {point}" if point else net


def watched(ranking: Ranking, number: int) -> tuple[str, str | None] | None:
    """Net and point of what candidate `number` explains best and what can be looked at again and again: the far end of
    a rail for a joint of it, else a reading outside its limits."""
    predictions = ranking.predictions
    candidate = predictions.candidates[number]
    rail = predictions.board.rails.get(candidate.net or "")
    if candidate.fault in COMING and rail is not None and rail.places:
        return rail.name, rail.places[-1].point
    found = [(seen.readings[0], ranking.likely[row, number]) for row, seen in enumerate(ranking.observations)
             if seen.accuses]  # fmt: skip
    fit = [(chance, each) for each, chance in found if each.net and each.required and each.quantity not in MEANS]
    best = max(fit, key=lambda pair: pair[0], default=None)
    return None if best is None else (best[1].net or "", best[1].point)
