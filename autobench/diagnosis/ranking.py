"""Which candidate explains the readings best: predictions kept for a board, likelihood, posterior, suspects.

It judges candidates only; the words are made in `autobench.diagnosis.words`, the next check in
`autobench.diagnosis.next_check`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from autobench.diagnosis.alphabets import Observable, alphabets, block_floor
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.candidates import Candidate, candidates
from autobench.diagnosis.evidence import Observation, known_of
from autobench.diagnosis.extra_evidence import Known, beyond, leg_of, rows
from autobench.diagnosis.inference import Floats, Numbers, minimal_hitting_sets, posterior, summed
from autobench.diagnosis.prediction import Predictor
from autobench.diagnosis.simulation import Settled

NOTHING, ELSE = 0, 1  # rows of `none` and *something else* among outcomes, candidates and places
LEADERS = 8  # candidates that are combined into pairs
EXPLAINS = 0.1  # of the best chance: from here on a candidate counts as an explanation of a reading
UNCAUSED = 0.01  # a reading outside its limits that nothing causes is rare
TWO_FAULTS = 0.12  # share of boards with two independent faults


@dataclass(frozen=True)
class Predictions:
    """Everything the board file alone decides, made once a board.

    `tokens[o][k]`: row of outcome k in the alphabet of observable o. `owner[k]`: candidate of outcome k;
    `place[c]`: place of candidate c, by number in `places`; `rests[k]`: the board at rest in outcome k. `further` keeps
    the same as `tokens` for what lies beyond the round.
    """

    board: BoardModel
    candidates: tuple[Candidate, ...]
    prior: Floats
    owner: Numbers
    places: tuple[str, ...]
    place: Numbers
    tokens: dict[Observable, Numbers]
    rests: tuple[Settled, ...] = ()
    further: dict[tuple[Observable, Known | None], Numbers] = field(default_factory=dict)

    def rows(self, observable: Observable, known: Known | None = None) -> Numbers:
        """Row of every outcome in the alphabet of `observable`, of the round or beyond it; the latter are kept.

        `known`: where the net of a further look was read before, and as what.
        """
        if observable in self.tokens:
            return self.tokens[observable]
        if (observable, known) not in self.further:
            numbers = alphabets()[observable.kind].token_numbers
            outcomes = ((self.candidates[owner], rest) for owner, rest in zip(self.owner, self.rests, strict=True))
            self.further[observable, known] = np.array(rows(observable, numbers, outcomes, known), dtype=np.intp)
        return self.further[observable, known]

    def knows(self, observable: Observable) -> bool:
        """Whether anything is foretold of `observable`."""
        return observable in self.tokens or beyond(self.board, observable)

    def chances(self, observable: Observable, known: Known | None = None) -> Floats:
        """Chance of each category of `observable` under each outcome, shape (outcomes, categories); see `rows`."""
        alphabet = alphabets()[observable.kind]
        table: Floats = alphabet.table[self.rows(observable, known)]
        table[ELSE] = 0.5 * table[NOTHING] + 0.5 / table.shape[1]
        return table


def predictions(board: BoardModel) -> Predictions:
    """Simulate every candidate of `board`."""
    all_candidates = candidates(board)
    predictor = Predictor(board)
    said, prior, owner, rests = [], [], [], []
    for number, candidate in enumerate(all_candidates):
        whole = sum(effect.weight for effect in candidate.effects)
        for effect in candidate.effects:
            for chance, numbers, settled in predictor.ways(effect):
                said.append(numbers)
                rests.append(settled)
                prior.append(candidate.prior * effect.weight * chance / whole)
                owner.append(number)
    tokens = dict(zip(predictor.observables, np.array(said, dtype=np.intp).T, strict=True))
    names = list(dict.fromkeys(candidate.place for candidate in all_candidates))
    place = np.array([names.index(candidate.place) for candidate in all_candidates], dtype=np.intp)
    return Predictions(
        board,
        all_candidates,
        np.array(prior),
        np.array(owner, dtype=np.intp),
        tuple(names),
        place,
        tokens,
        tuple(rests),
    )


@dataclass(frozen=True)
class Ranking:
    """What the readings say of the candidates.

    `fits`: log likelihood of each outcome; `outcomes`: its posterior among single faults; `chances`: posterior of each
    candidate, pairs shared in; `by_place`: that summed to places; `likely[o]`: chance of observation o under each
    candidate, weighted over its outcomes as the readings leave them.
    """

    predictions: Predictions
    observations: tuple[Observation, ...]
    fits: Floats
    outcomes: Floats
    chances: Floats
    by_place: Floats
    likely: Floats

    @cached_property
    def accused_stages(self) -> frozenset[str]:
        """The stages with a reading that speaks against the board."""
        accusing = (seen for seen in self.observations if seen.accuses)
        return frozenset(reading.stage for seen in accusing for reading in seen.readings)

    def foretold(self, observable: Observable) -> Floats:
        """`Predictions.chances` of what may be read next, by what its net was read as before."""
        predictions = self.predictions
        further = observable.kind == "line" and observable not in predictions.tokens
        found = {each.observable: each for each in self.observations} if further else {}
        known = known_of(predictions.board, found, leg_of(observable)[1]) if further else None
        return predictions.chances(observable, known)

    def candidates_at(self, place: int) -> list[int]:
        """Candidates of one place, likeliest first."""
        found = np.flatnonzero(self.predictions.place == place)
        return sorted((int(number) for number in found), key=lambda number: -self.chances[number])


def observation_chance(predictions: Predictions, observation: Observation) -> Floats:
    """Chance of one observation under each outcome."""
    table = predictions.chances(observation.observable, observation.known)
    columns = alphabets()[observation.observable.kind].category_numbers
    chance = np.zeros(table.shape[0])
    for category, weight in observation.weights:
        chance += weight * table[:, columns[category]]
    return chance


def floored(logs: Floats, observations: Sequence[Observation]) -> Floats:
    """Log likelihood of each outcome (columns of `logs`), no block saying more than its floor against one."""
    total = np.zeros(logs.shape[1])
    for block in dict.fromkeys(observation.block for observation in observations):
        rows = [number for number, observation in enumerate(observations) if observation.block == block]
        of_block = logs[rows].sum(axis=0)
        total += np.maximum(of_block, of_block.max() + np.log(block_floor(block)))
    return total


def rank(predictions: Predictions, observations: Sequence[Observation]) -> Ranking:
    """Posterior of every candidate by the observations."""
    known = tuple(each for each in observations if predictions.knows(each.observable))
    count = len(predictions.candidates)
    raw = np.array([observation_chance(predictions, each) for each in known]).reshape(
        len(known), len(predictions.prior)
    )
    prior = np.where(silent(predictions, known), UNCAUSED, 1.0) * predictions.prior
    fits = floored(np.log(raw), known) if known else np.zeros(len(prior))
    outcomes = posterior(prior, fits)
    chances = summed(outcomes, predictions.owner, count)
    within = outcomes / np.maximum(chances[predictions.owner], 1e-300)
    likely = summed(raw * within, predictions.owner, count) if known else np.zeros((0, count))
    chances = with_pairs(predictions, known, likely, chances)
    by_place = summed(chances, predictions.place, len(predictions.places))
    return Ranking(predictions, known, fits, outcomes, chances, by_place, likely)


def silent(predictions: Predictions, known: Sequence[Observation]) -> NDArray[np.bool_]:
    """The outcomes that change none of the readings which are outside their limits; none where nothing is outside."""
    accusing = [predictions.rows(observation.observable) for observation in known if observation.accuses]
    if not accusing:
        return np.zeros(len(predictions.prior), dtype=np.bool_)
    same: NDArray[np.bool_] = np.all([tokens == tokens[NOTHING] for tokens in accusing], axis=0)
    same[ELSE] = False
    return same


def with_pairs(predictions: Predictions, known: tuple[Observation, ...], likely: Floats, chances: Floats) -> Floats:
    """Posterior with pairs of faults let in, their chance given to both members.

    Pairs are the smallest sets of leaders that explain every accusing reading between them.
    """
    accusing = [row for row, observation in enumerate(known) if observation.accuses]
    pairs = leading_pairs(accusing, likely, chances)
    if not pairs:
        return chances
    together = np.stack([pair_likely(likely, first, second) for first, second in pairs], axis=1)
    fits = floored(np.log(np.hstack([likely, together])), known)
    leader = int(np.argmax(chances))
    priors = np.array([candidate.prior for candidate in predictions.candidates])
    shared = chances.copy()
    for number, (first, second) in enumerate(pairs):
        odds = TWO_FAULTS * priors[first] * priors[second] / priors[leader]
        mass = chances[leader] * odds * float(np.exp(fits[len(chances) + number] - fits[leader]))
        shared[first] += mass
        shared[second] += mass
    result: Floats = shared / shared.sum()
    return result


def pair_likely(likely: Floats, first: int, second: int) -> Floats:
    """Chance of each observation under two faults at once: what only one of them changes against a healthy board is
    taken from that one; where both change the same reading, either may win."""
    one, two, healthy = likely[:, first], likely[:, second], likely[:, NOTHING]
    either = np.where(np.isclose(two, healthy), one, 0.5 * (one + two))
    return np.where(np.isclose(one, healthy), two, either)


def leading_pairs(accusing: list[int], likely: Floats, chances: Floats) -> list[tuple[int, int]]:
    """Pairs that explain every accusing reading between them, made of the leaders for each."""
    conflicts = []
    for row in accusing:
        explain = np.flatnonzero((likely[row] >= EXPLAINS * likely[row].max()) & (np.arange(likely.shape[1]) > ELSE))
        leaders = sorted((int(number) for number in explain), key=lambda number: -chances[number])[:LEADERS]
        if leaders:
            conflicts.append(tuple(leaders))
    sets = minimal_hitting_sets(list(dict.fromkeys(conflicts)), most=2)
    return [(min(each), max(each)) for each in sets if len(each) == 2]


def alike(ranking: Ranking, place: int, leader: int, ratio: float) -> bool:
    """Whether the best of a place explains every reading so far as well as the leader, within `ratio`."""
    best = ranking.candidates_at(place)[0]
    mine, other = best_fit(ranking, best), best_fit(ranking, leader)
    return mine >= other - float(np.log(ratio))


def best_fit(ranking: Ranking, candidate: int) -> float:
    """Log likelihood of a candidate's best outcome."""
    return float(ranking.fits[ranking.predictions.owner == candidate].max())
