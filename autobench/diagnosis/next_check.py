"""The next check: of everything that can still be done, what tells the suspects apart best for its time and risk.

Its worth is the entropy over places it is expected to remove, per minute, less its risk. Where nothing tells apart any
more it is the repair with the best chance for its minutes. It performs nothing.
"""

from __future__ import annotations

import numpy as np

from autobench.diagnosis.alphabets import Observable
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.candidates import Candidate
from autobench.diagnosis.catalogue import catalogue
from autobench.diagnosis.check import Check
from autobench.diagnosis.checks import MATTERS, possible
from autobench.diagnosis.inference import Floats, entropy, expected_entropy, repair_order, summed
from autobench.diagnosis.means import BY_HAND, Means
from autobench.diagnosis.ranking import ELSE, NOTHING, Ranking
from autobench.diagnosis.result import NextCheck, Repair

NEGLIGIBLE = 1e-5  # chance below which a hypothesis is left out of the sums
LEAST_GAIN = 0.03  # nat: a check that brings less tells nothing apart
CHECKED_PLACES = 14  # a row of eight memory chips, and what else there is
MOST_TOLD = 3
LIKELY = 0.6  # a leader to act on
IN_EARNEST = 0.05  # of the leader's chance: from here on it is worth telling a place from it first
MISREAD = 0.1  # of several readings together one may be wrong
PROVED = 0.93  # the leader needs no check any more but its repair


def next_check(ranking: Ranking, read: frozenset[Observable], means: Means = BY_HAND) -> NextCheck | None:
    """The best check for what is known; the likeliest repair for its minutes where nothing tells apart any more.

    `read`: observables that have been read already, whatever came of it; `means`: what can be done at this bench.
    Nothing where no place stands out at all.
    """
    if ranking.by_place.max() >= PROVED or unpowered(ranking):
        return first_repair(ranking)
    chances = ranking.outcomes
    live = np.flatnonzero(chances > NEGLIGIBLE)
    mass = chances[live] / chances[live].sum()
    places = ranking.predictions.place[ranking.predictions.owner[live]]
    now = float(entropy(summed(mass, places, len(ranking.predictions.places))))
    best: tuple[float, Check] | None = None
    for check in sorted(possible(ranking, leading(ranking), read, means), key=lambda each: each.kind == "lift"):
        if check.kind == "lift" and best is not None and best[1].kind != "lift":
            break  # nobody lifts a pin while anything else still tells
        outcomes = outcomes_of(ranking, check)[live]
        if alike(outcomes):
            continue
        gain = now - expected_entropy(mass, outcomes, places)
        worth = gain / check.minutes * (1.0 - check.risk)
        if gain >= LEAST_GAIN and (best is None or worth > best[0]):
            best = (worth, check)
    apart = separated(ranking, best[1]) if best is not None else []
    if best is None or idle(ranking, apart):
        return first_repair(ranking)
    _, check = best
    return NextCheck(
        check.what, check.point, check.minutes, told(ranking, apart), check.kind, check.part, check.net, check.other,
        check.legs, check.name,
    )  # fmt: skip


def outcomes_of(ranking: Ranking, check: Check) -> Floats:
    """Chance of each outcome of a check under each outcome of the candidates, shape (outcomes, outcomes of the check).

    What several readings come to together is told by the likeliest category of each: every pattern of these is an
    outcome, and now and then another one is read.
    """
    if len(check.observables) == 1:
        return ranking.foretold(check.observables[0])
    pattern = np.zeros(len(ranking.outcomes), dtype=np.intp)
    for each in check.observables:
        table = ranking.foretold(each)
        # Numbered anew with every reading, so that the numbers stay small however many there are.
        _, pattern = np.unique(pattern * table.shape[1] + table.argmax(axis=1), return_inverse=True)
    count = int(pattern.max()) + 1
    table = np.full((len(pattern), count), MISREAD / count)
    table[np.arange(len(pattern)), pattern.ravel()] += 1.0 - MISREAD
    return table


def alike(outcomes: Floats) -> bool:
    """Whether a check comes out the same whatever is wrong."""
    return bool(np.ptp(outcomes, axis=0).max() < 0.05)


def separated(ranking: Ranking, check: Check) -> list[int]:
    """The leading places that a check tells from the leader."""
    found, table = leading(ranking), outcomes_of(ranking, check)
    mine = [expected_outcome(ranking, table, place) for place in found]
    return [place for place, outcome in zip(found[1:], mine[1:], strict=True) if differs(mine[0], outcome)]


def idle(ranking: Ranking, apart: list[int]) -> bool:
    """Whether a check that tells `apart` from the leader would only rule out the unlikely beside one to act on."""
    found = leading(ranking)
    if not found or ranking.by_place[found[0]] < LIKELY:
        return False
    top = ranking.by_place[found[0]]
    return not any(ranking.by_place[place] >= IN_EARNEST * top for place in apart)


def told(ranking: Ranking, separate: list[int]) -> str:
    """Which leading places a check that tells `separate` from the leader separates, in words."""
    found = leading(ranking)
    if not found:
        return "it shows where to look on"
    names = ranking.predictions.places
    leader, apart = found[0], separate[:MOST_TOLD]
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


def expected_outcome(ranking: Ranking, table: Floats, place: int) -> Floats:
    """Chances of the outcomes of a check, by its `table` (see `outcomes_of`), where `place` is to blame."""
    of_place = ranking.predictions.place[ranking.predictions.owner] == place
    weights = np.where(of_place, ranking.outcomes, 0.0)
    result: Floats = weights @ table / max(float(weights.sum()), 1e-300)
    return result


def leading(ranking: Ranking) -> list[int]:
    """The leading places that can be acted on, likeliest first."""
    order = np.argsort(-ranking.by_place)
    nameless = set(ranking.predictions.place[[NOTHING, ELSE]].tolist())
    found = [int(place) for place in order if ranking.by_place[place] >= MATTERS and place not in nameless]
    return found[:CHECKED_PLACES]


def unpowered(ranking: Ranking) -> bool:
    """Whether the board cannot be powered: then nothing can be looked at."""
    shut = {("ohms", "short"), ("ohms", "low"), ("trip", "tripped")}
    return any(
        (observation.observable.kind, observation.category) in shut and observation.accuses
        for observation in ranking.observations
    )


def repair_words(board: BoardModel, candidate: Candidate) -> str:
    """The repair of a fault where this candidate sits; a chip in a socket is reseated and swapped."""
    part = board.parts.get(candidate.part or "")
    swap = "replace it"
    if part is not None and part.socket:
        swap = f"reseat the socketed {part.name} and, should that not cure it, swap it for a known good one"
    return catalogue()[candidate.fault].repair.format(swap=swap, net=candidate.net or "")


def repairs(ranking: Ranking) -> tuple[Repair, ...]:
    """The repairs of the leading places in the order in which they cost least: by chance over minutes."""
    predictions = ranking.predictions
    found: dict[int, Repair] = {}
    for place in leading(ranking):
        candidate = predictions.candidates[ranking.candidates_at(place)[0]]
        words = repair_words(predictions.board, candidate)
        minutes = catalogue()[candidate.fault].minutes
        found[place] = Repair(predictions.places[place], words, float(ranking.by_place[place]), minutes)
    chances = {place: repair.probability for place, repair in found.items()}
    costs = {place: repair.minutes for place, repair in found.items()}
    return tuple(found[place] for place in repair_order(chances, costs))


def first_repair(ranking: Ranking) -> NextCheck | None:
    """Where no check tells apart any more: the repair with the best chance for its minutes."""
    predictions = ranking.predictions
    ordered = repairs(ranking)
    if not ordered:
        return None
    first = predictions.places.index(ordered[0].place)
    candidate = predictions.candidates[ranking.candidates_at(first)[0]]
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
