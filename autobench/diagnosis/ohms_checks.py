"""Ohms with the power off, as checks: of rails that the board makes, and between lines that may touch.

Tables of what can be measured, with time and risk; it measures nothing.
"""

from __future__ import annotations

from collections.abc import Iterator

from autobench.diagnosis.alphabets import Observable
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.check import BY_FIXTURE, BY_HAND, EACH_OF_SCAN, FIRST_OF_SCAN, OFF_AND_ON, Check
from autobench.diagnosis.extra_evidence import between
from autobench.diagnosis.means import Means
from autobench.diagnosis.ranking import Ranking

PAIR = 2


def shorts(board: BoardModel, read: frozenset[Observable], means: Means) -> Iterator[Check]:
    """Ohms of a rail that the board makes itself, which the round does not look at before power."""
    for rail in board.rails.values():
        observable = Observable("ohms", rail.name)
        if rail.source is None or not rail.places or observable in read:
            continue
        point = rail.places[-1].point
        minutes, risk = BY_FIXTURE if point in means.fixture else BY_HAND
        what = f"power off, measure {rail.name} to ground at {point}, ohms"
        yield Check("ohms", (observable,), what, point, minutes + OFF_AND_ON, risk, net=rail.name)


def between_neighbours(
    ranking: Ranking, wanted: set[int], read: frozenset[Observable], means: Means
) -> Iterator[Check]:
    """Ohms between lines that may touch: each leading pair by itself, and every pair of a bus one after another, since
    with the power off once the next pair costs little."""
    predictions = ranking.predictions
    buses: dict[str, list[Check]] = {}
    for number, candidate in enumerate(predictions.candidates):
        pair = candidate.effects[0].joined
        if len(pair) != PAIR or between(pair[0], pair[1]) in read:
            continue
        check = between_two(predictions.board, pair[0], pair[1], means)
        if check is None:
            continue
        buses.setdefault(pair[0].rstrip("0123456789"), []).append(check)
        if int(predictions.place[number]) in wanted:
            yield check
    for checks in buses.values():
        if len(checks) > 1:
            yield one_after_another(checks)


def between_two(board: BoardModel, one: str, other: str, means: Means) -> Check | None:
    """Ohms from one line to another, where both are within reach at one part."""
    points = side_by_side(board, one, other, means)
    if points is None:
        return None
    each, risk = BY_FIXTURE if means.meter.issuperset(points) else BY_HAND
    what = f"power off, measure {one} to {other}, from {points[0]} to {points[1]}, ohms"
    legs = ((one, points[0]), (other, points[1]))
    return Check("between", (between(one, other),), what, points[0], OFF_AND_ON + each, risk, net=one, legs=legs)


def one_after_another(checks: list[Check]) -> Check:
    """Ohms between every two neighbours of a bus."""
    first, last = checks[0], checks[-1]
    minutes = OFF_AND_ON + FIRST_OF_SCAN + sum(EACH_OF_SCAN * (check.minutes - OFF_AND_ON) for check in checks)
    what = (
        f"power off, measure ohms between neighbours one after another, from {first.legs[0][0]} to {first.legs[1][0]} "
        f"at {first.point} up to {last.legs[0][0]} to {last.legs[1][0]} at {last.point}"
    )
    return Check(
        "between", tuple(check.observables[0] for check in checks), what, first.point, minutes, first.risk,
        net=first.net, legs=tuple(leg for check in checks for leg in check.legs),
    )  # fmt: skip


def side_by_side(board: BoardModel, one: str, other: str, means: Means) -> tuple[str, str] | None:
    """The points where two nets are at one part, by relays wherever they lead there."""
    parts = [part for part in board.nets.get(one, ()) if part in board.nets.get(other, ())]
    ends = [(board.pins.get((part, one)), board.pins.get((part, other))) for part in parts]
    both = [(first, second) for first, second in ends if first and second]
    if means.points is not None:
        both = [points for points in both if means.points.issuperset(points)]
    routed = [points for points in both if means.meter.issuperset(points)]
    return next(iter(routed or (both if means.hand else ())), None)
