"""Everything that can be done next: looks at more points, ohms between neighbours, hands on a chip or a leg.

Each is a table of how likely each of its outcomes is under each outcome of the candidates, with its time and risk. It
chooses none of them and performs nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from autobench.diagnosis.alphabets import Observable
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.evidence import words_read
from autobench.diagnosis.extra_evidence import at_leg, between
from autobench.diagnosis.means import Means
from autobench.diagnosis.ranking import Ranking
from autobench.diagnosis.resting import level_at_rest
from autobench.judgement.reading import Reading

# Minutes, and the chance that the check itself does harm (common practice).
BY_FIXTURE = (0.2, 0.0)
BY_HAND = (1.0, 0.01)
COMPARE = (1.5, 0.02)
ACROSS = (1.0, 0.01)
RESEAT = (2.0, 0.03)
OFF_AND_ON = 0.5  # min
FEEL = (1.5, 0.02)
SWAP = (5.0, 0.05)
LIFT = (8.0, 0.1)
COOL = (4.0, 0.06)  # with the time in which it dries; water between legs, a package that cracks
FIRST_OF_SCAN, EACH_OF_SCAN = 0.5, 0.35  # min, and share of the minutes of a look by itself
LEAST_LINES, PAIR = 3, 2
BUS = re.compile(r"([A-Z]+)[0-9]+")
FOLLOWING = ("cracked-joint", "ram-marginal", "cpu-clock-weak")  # worth a check for being so
MATTERS = 0.01  # chance from which on a place is worth a check of its own
GATES = ("rails", "clocks", "reset")  # what fails here makes everything later say nothing


@dataclass(frozen=True)
class Check:
    """One thing that can be done; what it will show is read as its observables.

    `kind`: `look`, `scan` (several looks), `compare`, `across`, `between`, `reseat`, `swap`, `lift`, `cool`, `feel` or
    `ohms`; `part` and `net` say where, `other` a second point of a net, `legs` the nets and points of a scan, or two by
    two those of ohms between neighbours.
    """

    kind: str
    observables: tuple[Observable, ...]
    what: str
    point: str | None
    minutes: float
    risk: float
    part: str = ""
    net: str = ""
    other: str | None = None
    legs: tuple[tuple[str, str], ...] = ()

    @property
    def name(self) -> tuple[str, str]:
        """By which a check is known that was made."""
        first = self.observables[0]
        return (self.kind, first.name) if len(self.observables) > 1 else (first.kind, first.name)


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
        yield from cools(ranking, [int(number) for number in numbers])
    yield from feel(ranking)
    yield from shorts(ranking.predictions.board, read, means)


def failed_gate(ranking: Ranking) -> str | None:
    """The first stage that failed of those without which nothing later counts."""
    return next((stage for stage in GATES if stage in ranking.accused_stages), None)


def stage_of(board: BoardModel, net: str) -> str:
    """The stage of a net, as far as it is a gate."""
    return "clocks" if net in board.clocks else "reset" if net == board.reset_net else "later"


def counts(ranking: Ranking, net: str) -> bool:
    """Whether a look at `net` says anything: not beyond a stage that failed."""
    gate = failed_gate(ranking)
    if gate is None:
        return True
    stage = stage_of(ranking.predictions.board, net)
    return stage in GATES and GATES.index(stage) <= GATES.index(gate)


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


def feel(ranking: Ranking) -> Iterator[Check]:
    """A finger on every chip."""
    board = ranking.predictions.board
    chips = [part.name for part in board.parts.values() if part.amps > 0.0]
    if failed_gate(ranking) in ("clocks", "reset") or not chips:
        return
    what = "lay a finger on every chip after a minute of power: is one too hot to keep it on?"
    yield Check("feel", tuple(Observable("heat", chip) for chip in chips), what, None, *FEEL)


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


def compare(ranking: Ranking, leg: tuple[str, str], sockets: set[str]) -> Iterator[Check]:
    """A leg of a socketed chip against its net: they differ only where the contact between them is bad."""
    part, net = leg
    board = ranking.predictions.board
    point = board.pins.get(leg)
    if part not in sockets or point is None or net in board.rails or not counts(ranking, net):
        return
    what = f"compare the {net} leg of {part} itself with the net {net} below its socket, at {point}"
    yield Check("compare", (Observable("contact", f"{part} {net}"),), what, point, *COMPARE, part, net)


def across(board: BoardModel, part: str, means: Means) -> Iterator[Check]:
    """Volts across a switch or connector under load."""
    if board.parts[part].kind not in ("connector", "switch"):
        return
    rail, sides = board.sides.get(part, ("", (None, None)))
    if sides[0] is None and means.points is not None:
        return
    what = f"measure the volts across {part}, from one pin to the other, under load"
    yield Check("across", (Observable("across", part),), what, sides[0] or part, *ACROSS, part, rail, sides[1])


def socketed(part: str) -> Iterator[Check]:
    """Reseating cures contacts; a known good part cures both the part and most contacts."""
    again = "then repeat what failed"
    what = f"power off, clean the legs of {part} and reseat it, {again}"
    yield Check("reseat", (Observable("reseat", part),), what, part, *RESEAT, part)
    what = f"power off, put a known good {part} into the socket, {again}"
    yield Check("swap", (Observable("swap", part),), what, part, *SWAP, part)


def cools(ranking: Ranking, numbers: list[int]) -> Iterator[Check]:
    """One part that may follow its temperature, cooled or warmed by itself while a line that failed is looked at."""
    candidates = ranking.predictions.candidates
    for part in dict.fromkeys(candidates[number].part for number in numbers if candidates[number].fault in FOLLOWING):
        own = [number for number in numbers if candidates[number].part == part]
        seen = watched(ranking, max(own, key=lambda number: ranking.chances[number]))
        if part is None or seen is None:
            continue
        where = f"{seen.net} at {seen.point}" if seen.point else f"{seen.net}"
        what = f"cool {part} alone and look at {where}; where that is well for the moment, warm {part} instead"
        yield Check("cool", (Observable("cool", part),), what, seen.point or part, *COOL, part, seen.net or "")


def watched(ranking: Ranking, number: int) -> Reading | None:
    """The reading outside its limits that candidate `number` explains best, of those that can be taken once more."""
    rows = [
        row
        for row, seen in enumerate(ranking.observations)
        if seen.accuses and seen.readings[0].net and seen.readings[0].required
    ]
    best = max(rows, key=lambda row: ranking.likely[row, number], default=None)
    return None if best is None else ranking.observations[best].readings[0]


def lifts(ranking: Ranking, legs: list[tuple[str, str]]) -> Iterator[Check]:
    """An output bent off its net: it moves by itself where the net was to blame."""
    board = ranking.predictions.board
    read = words_read({each.observable: each for each in ranking.observations})
    for part, net in legs:
        point = board.pins.get((part, net))
        if part not in board.parts or net not in board.nets or point is None or not counts(ranking, net):
            continue
        if level_at_rest(board, read, part, net) is not None:
            continue  # nobody asks for it: it would not move by itself either
        what = f"power off, lift the {net} leg of {part}, and look at the free leg"
        yield Check("lift", (Observable("free leg", f"{part} {net}"),), what, point, *LIFT, part, net)
