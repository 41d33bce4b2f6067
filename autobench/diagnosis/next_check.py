"""The next check: of everything that can still be looked at, what tells the suspects apart best for its time and risk.

A check is a table of how likely each of its outcomes is under each hypothesis; its worth is the entropy over places it
is expected to remove, per minute, less its risk. It performs nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from autobench.diagnosis.alphabets import Observable
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.candidates import Candidate
from autobench.diagnosis.catalogue import catalogue
from autobench.diagnosis.inference import Floats, entropy, expected_entropy, repair_order, summed
from autobench.diagnosis.ranking import ELSE, NOTHING, Ranking
from autobench.diagnosis.result import NextCheck

MATTERS = 0.01  # chance from which on a place is worth a check of its own
NEGLIGIBLE = 1e-5  # chance below which a hypothesis is left out of the sums
LEAST_GAIN = 0.06  # nat: a check that brings less tells nothing apart
CHECKED_PLACES = 8
MOST_TOLD = 3
LIKELY = 0.6  # a leader to act on
IN_EARNEST = 0.05  # of the leader's chance: from here on it is worth telling a place from it first
PROVED = 0.93  # the leader needs no check any more but its repair

# Minutes by hand, and the chance that the check itself does harm (common practice).
LOOK = (1.0, 0.0)
COMPARE = (2.0, 0.02)
ACROSS = (1.0, 0.0)
RESEAT = (2.0, 0.03)
SWAP = (5.0, 0.05)
LIFT = (6.0, 0.1)


@dataclass(frozen=True)
class Check:
    """One thing that can be done; `outcomes[h, o]` is the chance of outcome o under outcome h of the candidates."""

    what: str
    point: str | None
    minutes: float
    risk: float
    outcomes: Floats


def next_check(ranking: Ranking, read: frozenset[Observable]) -> NextCheck | None:
    """The best check for what is known; the likeliest repair for its minutes where nothing tells apart any more.

    `read`: observables that have been read already, whatever came of it. Nothing where no place stands out at all.
    """
    if ranking.by_place.max() >= PROVED or unpowered(ranking):
        return first_repair(ranking)
    chances = ranking.outcomes
    live = np.flatnonzero(chances > NEGLIGIBLE)
    mass = chances[live] / chances[live].sum()
    places = ranking.predictions.place[ranking.predictions.owner[live]]
    now = float(entropy(summed(mass, places, len(ranking.predictions.places))))
    best: tuple[float, Check] | None = None
    for check in possible(ranking, read):
        gain = now - expected_entropy(mass, check.outcomes[live], places)
        worth = gain / check.minutes * (1.0 - check.risk)
        if gain >= LEAST_GAIN and (best is None or worth > best[0]):
            best = (worth, check)
    if best is None or idle(ranking, best[1]):
        return first_repair(ranking)
    _, check = best
    return NextCheck(check.what, check.point, check.minutes, told(ranking, check))


def separated(ranking: Ranking, check: Check) -> list[int]:
    """The leading places that a check tells from the leader."""
    leader, rest = leading(ranking)[0], leading(ranking)[1:]
    mine = expected_outcome(ranking, check, leader)
    return [place for place in rest if differs(mine, expected_outcome(ranking, check, place))]


def idle(ranking: Ranking, check: Check) -> bool:
    """Whether a check would only rule out the unlikely beside a leader that is likely enough to act on."""
    found = leading(ranking)
    if not found or ranking.by_place[found[0]] < LIKELY:
        return False
    top = ranking.by_place[found[0]]
    return not any(ranking.by_place[place] >= IN_EARNEST * top for place in separated(ranking, check))


def told(ranking: Ranking, check: Check) -> str:
    """Which leading places the check separates, in words."""
    found = leading(ranking)
    if not found:
        return "it shows where to look on"
    names = ranking.predictions.places
    leader, apart = found[0], separated(ranking, check)[:MOST_TOLD]
    if not apart:
        return f"it shows whether it is {blamed(ranking, [leader])}"
    if all(trouble(ranking, place) == trouble(ranking, leader) for place in apart):
        return f"it tells {names[leader]} from {blamed(ranking, apart)}"
    return f"it tells {blamed(ranking, [leader])} from {blamed(ranking, apart)}"


def blamed(ranking: Ranking, places: list[int]) -> str:
    """Places with what would be wrong there, those with the same trouble together."""
    by_trouble: dict[str, list[str]] = {}
    for place in places:
        by_trouble.setdefault(trouble(ranking, place), []).append(ranking.predictions.places[place])
    return ", or ".join(f"{', '.join(names)} ({words})" for words, names in by_trouble.items())


def trouble(ranking: Ranking, place: int) -> str:
    """What would most likely be wrong at a place, in a few words."""
    fault = ranking.predictions.candidates[ranking.candidates_at(place)[0]].fault
    return catalogue()[fault].broken.partition(";")[0]


def differs(first: Floats, second: Floats) -> bool:
    """Whether two places lead to different outcomes of a check, mostly."""
    return bool(np.abs(first - second).sum() > 0.6)


def expected_outcome(ranking: Ranking, check: Check, place: int) -> Floats:
    """Chances of the outcomes of `check` where `place` is to blame."""
    of_place = ranking.predictions.place[ranking.predictions.owner] == place
    weights = np.where(of_place, ranking.outcomes, 0.0)
    result: Floats = weights @ check.outcomes / max(float(weights.sum()), 1e-300)
    return result


def leading(ranking: Ranking) -> list[int]:
    """The leading places that can be acted on, likeliest first."""
    order = np.argsort(-ranking.by_place)
    nameless = set(ranking.predictions.place[[NOTHING, ELSE]].tolist())
    found = [int(place) for place in order if ranking.by_place[place] >= MATTERS and place not in nameless]
    return found[:CHECKED_PLACES]


def possible(ranking: Ranking, read: frozenset[Observable]) -> Iterator[Check]:
    """Every check that may say something about the leading places."""
    places = set(leading(ranking))
    predictions = ranking.predictions
    yield from looks(ranking, read)
    numbers = [number for number, place in enumerate(predictions.place) if int(place) in places]
    board = predictions.board
    seen: set[tuple[str, str]] = set()
    for number in numbers:
        for effect in predictions.candidates[number].effects:
            for leg in effect.cut:
                if leg not in seen:
                    seen.add(leg)
                    yield compare(ranking, leg)
    parts = [predictions.candidates[number].part for number in numbers]
    for part in dict.fromkeys(part for part in parts if part is not None):
        if board.parts[part].socket:
            yield from socketed(ranking, part)
        if board.parts[part].kind in ("connector", "switch"):
            yield across(ranking, part)
    yield from lifts(ranking, numbers)


def looks(ranking: Ranking, read: frozenset[Observable]) -> Iterator[Check]:
    """Points that have not been read yet."""
    predictions = ranking.predictions
    for observable in predictions.tokens:
        if observable in read or observable.kind not in ("line", "start", "reset", "frequency"):
            continue
        point = looked_at(predictions.board, observable)
        part, _, net = observable.name.rpartition(" ")
        what = f"look at {net or observable.name}" + (f" where {part} drives it" if part else f" at {point}")
        yield Check(what, point, *LOOK, predictions.chances(observable))


def looked_at(board: BoardModel, observable: Observable) -> str | None:
    """The point of an observable, or the part that drives its net."""
    part, _, net = observable.name.rpartition(" ")
    return board.point_of(net or observable.name) or part or None


def unpowered(ranking: Ranking) -> bool:
    """Whether the board cannot be powered: then nothing can be looked at."""
    shut = {("ohms", "short"), ("ohms", "low"), ("trip", "tripped")}
    return any(
        (observation.observable.kind, observation.category) in shut and observation.accuses
        for observation in ranking.observations
    )


def two_ways(chance: Floats) -> Floats:
    """A table of a check with two outcomes from the chance of the first under each outcome of the candidates."""
    return np.stack([chance, 1.0 - chance], axis=1)


def by_effect(ranking: Ranking, chance_of: dict[int, float], otherwise: float) -> Floats:
    """Chance under each outcome of the candidates: `chance_of` by candidate, `otherwise` for the rest."""
    owner = ranking.predictions.owner
    found = np.full(len(owner), otherwise)
    for number, chance in chance_of.items():
        found[owner == number] = chance
    found[ELSE] = 0.5
    return found


def compare(ranking: Ranking, leg: tuple[str, str]) -> Check:
    """A leg against its net: they differ only where the contact or track between them is open."""
    cut = {
        number: 0.95
        for number, candidate in enumerate(ranking.predictions.candidates)
        if any(leg in effect.cut for effect in candidate.effects)
    }
    part, net = leg
    what = f"compare the {net} leg of {part} itself with the net {net} elsewhere"
    return Check(what, part, *COMPARE, two_ways(by_effect(ranking, cut, 0.03)))


def socketed(ranking: Ranking, part: str) -> Iterator[Check]:
    """Reseating cures contacts; a known good part cures both the part and most contacts."""
    contacts, whole = {}, {}
    for number, candidate in enumerate(ranking.predictions.candidates):
        if candidate.part != part:
            continue
        if candidate.fault == "socket-contact":
            contacts[number] = 0.85
            whole[number] = 0.7
        elif not candidate.by_net:
            whole[number] = 0.97
    reseat = two_ways(by_effect(ranking, contacts, 0.02))
    yield Check(f"power off, clean the legs of {part} and reseat it, then repeat the round", part, *RESEAT, reseat)
    swap = two_ways(by_effect(ranking, whole, 0.02))
    yield Check(f"power off, put a known good {part} into the socket, then repeat the round", part, *SWAP, swap)


def across(ranking: Ranking, part: str) -> Check:
    """Volts across a switch or connector under load."""
    lost = {
        number: 0.97
        for number, candidate in enumerate(ranking.predictions.candidates)
        if candidate.part == part and candidate.fault in ("inlet-open", "connector-resistance")
    }
    table = two_ways(by_effect(ranking, lost, 0.02))
    return Check(f"measure the volts across {part}, from one pin to the other, under load", part, *ACROSS, table)


def lifts(ranking: Ranking, numbers: list[int]) -> Iterator[Check]:
    """An output lifted off its net: it moves by itself where the net was to blame."""
    predictions = ranking.predictions
    legs = {leg for number in numbers for effect in predictions.candidates[number].effects for leg, _ in effect.outputs}
    for part, net in sorted(legs):
        if part not in predictions.board.parts or net not in predictions.board.nets:
            continue
        guilty = {
            number: 0.05
            for number, candidate in enumerate(predictions.candidates)
            if any(leg == (part, net) for effect in candidate.effects for leg, _ in effect.outputs)
        }
        what = f"power off, lift the {net} leg of {part}, and look at the free leg"
        yield Check(what, part, *LIFT, two_ways(by_effect(ranking, guilty, 0.9)))


def repair_words(board: BoardModel, candidate: Candidate) -> str:
    """The repair of a fault where this candidate sits; a chip in a socket is reseated and swapped."""
    part = board.parts.get(candidate.part or "")
    swap = "replace it"
    if part is not None and part.socket:
        swap = f"reseat the socketed {part.name} and, should that not cure it, swap it for a known good one"
    return catalogue()[candidate.fault].repair.format(swap=swap, net=candidate.net or "")


def first_repair(ranking: Ranking) -> NextCheck | None:
    """Where no check tells apart any more: the repair with the best chance for its minutes."""
    predictions = ranking.predictions
    chances, costs, best = {}, {}, {}
    for place in leading(ranking):
        number = ranking.candidates_at(place)[0]
        fault = catalogue()[predictions.candidates[number].fault]
        chances[place], costs[place], best[place] = float(ranking.by_place[place]), fault.minutes, number
    if not chances:
        return None
    first = repair_order(chances, costs)[0]
    candidate = predictions.candidates[best[first]]
    fault = catalogue()[candidate.fault]
    board = predictions.board
    if unpowered(ranking):
        reason = "it has to be found before the board can be powered"
    elif ranking.by_place.max() >= PROVED:
        reason = "the readings leave little doubt"
    elif ranking.by_place.max() >= LIKELY:
        reason = "by far the likeliest, and what is left to look at would only rule out the unlikely"
    else:
        reason = "the best chance for its minutes, and nothing that can still be read tells more"
    why = f"{fault.broken}: {reason}"
    what = f"{predictions.places[first]}: {repair_words(board, candidate)}"
    point = board.point_of(candidate.net) if candidate.net else None
    return NextCheck(what, point or candidate.part or candidate.net, fault.minutes, why)
