"""Reasons for and against a suspect, quoting the readings. It ranks nothing."""

from __future__ import annotations

import numpy as np

from autobench.diagnosis.catalogue import SOMETHING_ELSE, catalogue
from autobench.diagnosis.extra_evidence import DEEDS
from autobench.diagnosis.facts import Facts
from autobench.diagnosis.findings import Finding
from autobench.diagnosis.ranking import NOTHING, Ranking

MOST_FOR = 6
MOST_OF_A_BLOCK = 2
MOST_AGAINST = 3
TELLS = 3.0  # times likelier than on a healthy board before a reading is a reason for
CONTRADICTS = 0.1  # chance below which a reading is a reason against
EXPECTED = 0.4  # ... where the best candidate gives it at least this


def reasons_for(ranking: Ranking, facts: Facts, found: list[Finding], candidate: int) -> tuple[str, ...]:
    """Findings that speak for it, the one that speaks for the fewest others first, then the readings it explains and a
    healthy board does not. The first opens with a reading."""
    fault = ranking.predictions.candidates[candidate].fault
    if fault == SOMETHING_ELSE:
        return ("no fault known here explains all readings together",)
    speaking = sorted((finding for finding in found if fault in finding.speaks_for), key=narrowness)
    said: list[str] = []
    for finding in speaking:
        if not any(finding.words.partition(": ")[0] in words for words in said):
            said.append(finding.words)
    gain = ranking.likely[:, candidate] / ranking.likely[:, NOTHING]
    misfits = set(misfitting(ranking, candidate))
    rows = [int(row) for row in np.argsort(-gain) if gain[row] >= TELLS and int(row) not in misfits]
    # What hands found out convinces more than any line, then what is outside its limits.
    kinds = {row: ranking.observations[row].observable.kind in DEEDS for row in rows}
    rows.sort(key=lambda row: (not kinds[row], not ranking.observations[row].accuses))
    blocks: dict[str, int] = {}
    for row in rows:
        observation = ranking.observations[row]
        if facts.told(observation, said):
            continue
        blocks[observation.block] = blocks.get(observation.block, 0) + 1
        if blocks[observation.block] <= MOST_OF_A_BLOCK:
            said.append(facts.quote(observation))
    if not said:
        return unspecific(ranking, facts, candidate)
    if not speaking:
        said[0] = f"{said[0]}: {catalogue()[fault].broken}"
    return tuple(dict.fromkeys(said))[:MOST_FOR]


def unspecific(ranking: Ranking, facts: Facts, candidate: int) -> tuple[str, ...]:
    """What is said for a suspect that no reading points at: which reading outside its limits it excludes least."""
    broken = catalogue()[ranking.predictions.candidates[candidate].fault].broken
    misfits = set(misfitting(ranking, candidate))
    accusing = [
        row for row, observation in enumerate(ranking.observations) if observation.accuses and row not in misfits
    ]
    if not accusing:
        return (broken,)
    row = max(accusing, key=lambda each: ranking.likely[each, candidate])
    return (f"{facts.quote(ranking.observations[row])}, which it does not exclude: {broken}",)


def narrowness(finding: Finding) -> int:
    """How many faults a finding speaks for: the fewer, the more it says."""
    return len(finding.speaks_for)


def reasons_against(ranking: Ranking, facts: Facts, found: list[Finding], candidate: int) -> tuple[str, ...]:
    """Findings that clear it, then the readings that it makes unlikely and another candidate does not."""
    fault = ranking.predictions.candidates[candidate].fault
    if fault == SOMETHING_ELSE:
        return ()
    said = [f"cleared: {finding.words.partition('; ')[0]}" for finding in found if fault in finding.clears]
    said += [f"does not fit: {facts.quote(ranking.observations[row])}" for row in misfitting(ranking, candidate)]
    return tuple(dict.fromkeys(said))[:MOST_AGAINST]


def misfitting(ranking: Ranking, candidate: int) -> list[int]:
    """The observations that a candidate makes unlikely and the best one does not, the unlikeliest first: none of them
    is a reason for it, however much unlikelier still it is on a healthy board."""
    if not len(ranking.observations):
        return []
    best = ranking.likely[:, np.argmax(ranking.chances)]
    mine = ranking.likely[:, candidate]
    return [int(row) for row in np.argsort(mine) if mine[row] < CONTRADICTS and best[row] >= EXPECTED]
