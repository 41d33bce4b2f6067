"""The diagnosis of a round: readings and predictions in, suspects and a next check out.

It never changes the board's verdict, and where it cannot tell suspects apart it says so.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from autobench.diagnosis.alphabets import Observable
from autobench.diagnosis.evidence import observations, said, usable
from autobench.diagnosis.facts import Facts
from autobench.diagnosis.findings import Finding, findings
from autobench.diagnosis.means import BY_HAND, Means
from autobench.diagnosis.next_check import next_check, repairs
from autobench.diagnosis.ranking import ELSE, NOTHING, Predictions, Ranking, alike, rank
from autobench.diagnosis.result import Diagnosis, Suspect
from autobench.diagnosis.words import reasons_against, reasons_for
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict

MOST_SUSPECTS = 10
MOST_CLEARED = 5
MOST_IN_GROUP = 5
SURE = 0.6  # below this the leader is not told apart
RIVAL = 0.25  # of the leader's chance: from here on a place that explains as much counts as its equal
SECOND = 0.1  # ... where the leader is not sure
ALIKE = 3.0  # likelihoods within this factor are alike
WORTH_NAMING = 0.01
# Beside a sure leader those who come next are still what is looked at should it be wrong.
LEAST_NAMED, RUNNER_UP = 3, 0.0005
EXPLAINS = 0.3


def diagnose(predictions: Predictions, readings: Sequence[Reading], means: Means = BY_HAND) -> Diagnosis:
    """The diagnosis of a board by all readings of its round, those without a fault included, and what came after it.

    `means` is what can be done at this bench next.

    A board without a reading that speaks against it has no suspects.
    """
    if not accused(readings):
        return Diagnosis()
    board = predictions.board
    ranking = rank(predictions, observations(board, readings))
    facts = Facts(board, ranking.observations, readings)
    found = findings(facts)
    order = [int(place) for place in np.argsort(-ranking.by_place, kind="stable")]
    nothing = int(predictions.place[NOTHING])
    order = [place for place in order if place != nothing]
    if not any(observation.accuses for observation in ranking.observations):
        unknown = suspect(ranking, facts, found, int(predictions.place[ELSE]))
        return Diagnosis((unknown,), told_apart=False)
    named = [place for place in order if ranking.by_place[place] >= WORTH_NAMING][:MOST_SUSPECTS] or order[:1]
    named += [place for place in order[len(named) : LEAST_NAMED] if ranking.by_place[place] >= RUNNER_UP]
    suspects = [suspect(ranking, facts, found, place) for place in named]
    disproved = [suspect(ranking, facts, found, place) for place in cleared(ranking, found, named)]
    room = min(MOST_CLEARED, MOST_SUSPECTS - len(suspects))
    suspects += [each for each in disproved if each.against][:room]
    group = group_of(ranking, named)
    apart = ranking.by_place[named[0]] >= SURE and len(group) < 2 and named[0] != predictions.place[ELSE]
    check = next_check(ranking, frozenset(already_read(predictions, readings)), means)
    return Diagnosis(tuple(suspects), bool(apart), () if apart else group, check, repairs(ranking))


def accused(readings: Sequence[Reading]) -> bool:
    """Whether any reading speaks against the board; without one nothing need be predicted."""
    return any(usable(reading) and reading.verdict is Verdict.OUTSIDE for reading in readings)


def already_read(predictions: Predictions, readings: Sequence[Reading]) -> set[Observable]:
    """Observables that were read, conditional ones included: to read them again brings nothing."""
    taken = [each for each in readings if each.verdict not in (Verdict.VOID, Verdict.SKIPPED)]
    found = [said(predictions.board, each) for each in taken]
    return {translated[0] for translated in found if translated is not None}


def suspect(ranking: Ranking, facts: Facts, found: list[Finding], place: int) -> Suspect:
    """One place with its likeliest fault and the reasons."""
    predictions = ranking.predictions
    numbers = ranking.candidates_at(place)
    candidate = predictions.candidates[numbers[0]]
    likely = [each for each in numbers if ranking.chances[each] >= 0.1 * ranking.by_place[place]]
    parts = {predictions.candidates[each].part for each in likely}
    part = candidate.part if not candidate.by_net or len(parts) == 1 else None
    return Suspect(
        part=part,
        net=candidate.net or held_net(ranking, numbers[0]),
        fault=candidate.fault,
        probability=float(min(ranking.by_place[place], 1.0)),
        for_=reasons_for(ranking, facts, found, numbers[0]),
        against=reasons_against(ranking, facts, found, numbers[0]),
    )


def held_net(ranking: Ranking, number: int) -> str | None:
    """The net that a part holds in the likeliest way its fault turns out, if it holds just one."""
    predictions = ranking.predictions
    ways = np.flatnonzero(predictions.owner == number)
    likeliest = int(ways[np.argmax(ranking.outcomes[ways])])
    held = predictions.rests[likeliest].effect.held
    return held[0][0] if len(held) == 1 else None


def group_of(ranking: Ranking, named: list[int]) -> tuple[str, ...]:
    """The places that cannot be told apart, the leader first; none where it stands alone.

    Beside a sure leader only those count that come near its chance and explain every reading as well as it does; beside
    one that is not sure, all that do either, and the second in any case.
    """
    predictions = ranking.predictions
    leader, others = named[0], [place for place in named[1:] if place != predictions.place[ELSE]]
    if leader == predictions.place[ELSE]:
        return ()
    best, top = ranking.candidates_at(leader)[0], ranking.by_place[leader]
    near = {place for place in others if ranking.by_place[place] >= RIVAL * top}
    equal = {
        place for place in others if ranking.by_place[place] >= SECOND * top and alike(ranking, place, best, ALIKE)
    }
    chosen = near & equal if top >= SURE else near | equal | set(others[:1])
    rivals = [place for place in others if place in chosen]
    members = [leader, *rivals][:MOST_IN_GROUP]
    return tuple(predictions.places[place] for place in members) if rivals else ()


def cleared(ranking: Ranking, found: list[Finding], named: list[int]) -> list[int]:
    """Places that explain a reading outside its limits and are cleared by another, the commonest fault first."""
    predictions = ranking.predictions
    accusing = [row for row, observation in enumerate(ranking.observations) if observation.accuses]
    priors = np.array([candidate.prior for candidate in predictions.candidates])
    settled = {fault for finding in found for fault in finding.clears}
    chosen: list[int] = []
    order = np.argsort(-priors, kind="stable")
    for number in sorted(order, key=lambda each: predictions.candidates[each].fault not in settled):
        place, candidate = int(predictions.place[number]), predictions.candidates[number]
        if number in (NOTHING, ELSE) or place in named or place in chosen:
            continue
        explains = any(ranking.likely[row, number] >= EXPLAINS for row in accusing)
        if explains and (candidate.fault in settled or ranking.candidates_at(place)[0] == number):
            chosen.append(place)
    return chosen
