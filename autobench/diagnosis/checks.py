"""Everything that can be done next: looks at more points, ohms between neighbours, hands on a chip or a leg.

Each is a table of how likely each of its outcomes is under each outcome of the candidates, with its time and risk. It
chooses none of them and performs nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from autobench.diagnosis.alphabets import Observable
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.check import BY_FIXTURE, BY_HAND, EACH_OF_SCAN, FIRST_OF_SCAN, Check, counts
from autobench.diagnosis.extra_evidence import at_leg
from autobench.diagnosis.hand_checks import across, compare, cools, feel, lifts, socketed
from autobench.diagnosis.means import Means
from autobench.diagnosis.ohms_checks import between_neighbours, shorts
from autobench.diagnosis.ranking import Ranking
from autobench.diagnosis.repeated import agains

LEAST_LINES = 3
BUS = re.compile(r"([A-Z]+)[0-9]+")
MATTERS = 0.01  # chance from which on a place is worth a check of its own


def possible(ranking: Ranking, places: list[int], read: frozenset[Observable], means: Means) -> Iterator[Check]:
    """Every check that may say something about `places`, has not been made and is within the means."""
    for check in all_checks(ranking, places, read, means):
        if not read.issuperset(check.observables) and check.name not in means.tried:
            yield check


def all_checks(ranking: Ranking, places: list[int], read: frozenset[Observable], means: Means) -> Iterator[Check]:
    """Every check about `places`, whether made or not."""
    predictions = ranking.predictions
    wanted = set(places)
    numbers = np.flatnonzero(np.isin(predictions.place, list(wanted)))
    cut = dict.fromkeys(
        leg for number in numbers for effect in predictions.candidates[number].effects for leg in effect.cut
    )
    if means.powered:
        single = list(looks(ranking, read, means))
        yield from single
        yield from scans(ranking.predictions.board, single, read)
        yield from agains(ranking, numbers.tolist(), means)
    yield from between_neighbours(ranking, wanted, read, means)
    if not means.hand:
        return
    sockets = {name for name, part in predictions.board.parts.items() if part.socket}
    if means.powered:
        for leg in cut:
            yield from compare(ranking, leg, sockets)
    blamed = dict.fromkeys(predictions.candidates[number].part for number in numbers)
    for part in blamed:
        if part in sockets:
            yield from socketed(part)
        if part is not None and means.powered:
            yield from across(predictions.board, part, means)
    if means.powered:
        legs = {leg for number in numbers for effect in predictions.candidates[number].effects
                for leg, _ in effect.outputs}  # fmt: skip
        yield from lifts(ranking, sorted(legs))
        yield from cools(ranking, numbers.tolist())
    yield from feel(ranking)
    yield from shorts(ranking.predictions.board, read, means)


def looks(ranking: Ranking, read: frozenset[Observable], means: Means) -> Iterator[Check]:
    """One more point of every net: at each leg that the board file tells of."""
    board = ranking.predictions.board
    output = board.video.output_net if board.video is not None else None
    for (part, net), point in places(board, means).items():
        if net in board.rails or net in ("0V", output) or net not in board.nets or not counts(ranking, net):
            continue
        if point is not None and point == board.point_of(net) and of_round(board, net) & read:
            continue
        if point in means.fixture:
            minutes, risk = BY_FIXTURE
        elif means.hand:
            minutes, risk = BY_HAND
        else:
            continue
        what = f"look at {net} at {point}" if point else f"look at {net} where {part} drives it"
        yield Check("look", (at_leg(part, net),), what, point or part, minutes, risk, part, net)


def scans(board: BoardModel, single: list[Check], read: frozenset[Observable]) -> Iterator[Check]:
    """Every line of a bus at once: each where it is driven, or else where it is first met; and all at the legs of one
    part, which shows where a track or contact between them is open."""
    buses: dict[tuple[str, str | None], dict[str, Check]] = {}
    for look in single:
        name = BUS.fullmatch(look.net)
        if name is None or read.issuperset(look.observables):
            continue
        lines = buses.setdefault((name[1], None), {})
        if look.net not in lines or look.part in board.drivers.get(look.net, ()):
            lines[look.net] = look
        buses.setdefault((name[1], look.part), {})[look.net] = look
    wholes = {tuple(lines.values()) for (_, part), lines in buses.items() if part is None}
    for (bus, part), lines in buses.items():
        if len(lines) < LEAST_LINES or (part is not None and tuple(lines.values()) in wholes):
            continue
        found = sorted(lines.values(), key=lambda look: int(look.net[len(bus) :]))
        minutes = FIRST_OF_SCAN + sum(EACH_OF_SCAN * look.minutes for look in found)
        first, last = found[0], found[-1]
        what = f"look at {first.net} to {last.net} one after another, from {first.point} to {last.point}"
        yield Check(
            "scan", tuple(look.observables[0] for look in found), what, first.point, minutes, first.risk, first.part,
            first.net, legs=tuple((look.net, look.point or "") for look in found),
        )  # fmt: skip


def places(board: BoardModel, means: Means) -> dict[tuple[str, str], str | None]:
    """Every leg with its point; where nobody is bound to known points, also the drivers of nets without one."""
    known: dict[tuple[str, str], str | None] = {(line.part, line.net): line.point for line in board.lines.values()}
    known |= board.pins
    if means.points is not None:
        return {leg: point for leg, point in known.items() if point in means.points}
    return dict.fromkeys(board.unread) | known


def of_round(board: BoardModel, net: str) -> set[Observable]:
    """What the round itself reads of a net at its point."""
    kinds = ("line", "start", "frequency", "reset")
    found = {Observable(kind, net) for kind in kinds}
    video = board.video
    if video is not None and net in (video.line_net, video.field_net):
        found.add(Observable("line rate" if net == video.line_net else "field rate", "sync"))
    return found
