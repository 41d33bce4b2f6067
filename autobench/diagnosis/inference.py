"""The arithmetic of reasoning from readings: posterior, entropy, what a check may bring, minimal sets, repair order.

Generic: arrays and sets in, arrays and sets out. It knows no board, no fault and no reading.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection, Hashable, Mapping, Sequence
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Numbers = NDArray[np.intp]
Item = TypeVar("Item", bound=Hashable)


def posterior(prior: Floats, log_likelihood: Floats) -> Floats:
    """Bayes' rule over hypotheses: `prior` times likelihood, normalised. Raises `ValueError` where nothing is left."""
    with np.errstate(divide="ignore"):
        logs = np.log(prior) + log_likelihood
    top = logs.max()
    if not np.isfinite(top):
        raise ValueError("no hypothesis is possible any more")
    weights = np.exp(logs - top)
    result: Floats = weights / weights.sum()
    return result


def entropy(chances: Floats, axis: int | None = None) -> Floats:
    """Entropy in nat of chances that sum to one (along `axis`); zero chances count as nothing."""
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = np.where(chances > 0.0, chances * np.log(chances), 0.0)
    result: Floats = -terms.sum(axis=axis)
    return result


def summed(chances: Floats, groups: Numbers, count: int) -> Floats:
    """Chances of hypotheses (last axis) summed to groups `0 .. count - 1`."""
    if chances.ndim == 1:
        return np.bincount(groups, weights=chances, minlength=count).astype(np.float64)
    return np.stack([summed(row, groups, count) for row in chances])


def expected_entropy(chances: Floats, outcomes: Floats, groups: Numbers | None = None) -> float:
    """Entropy in nat to be expected after a check.

    `chances`: of the hypotheses now; `outcomes[h, o]`: chance of outcome o of the check under hypothesis h. With
    `groups`, the entropy is that over groups of hypotheses. Sum over outcomes of P(o) times the entropy of what is
    left then (de Kleer & Williams 1987, with every outcome its own, from memory).
    """
    joint = chances[:, None] * outcomes
    if groups is not None:
        count = int(groups.max()) + 1
        joint = summed(np.ascontiguousarray(joint.T), groups, count).T
    by_outcome = joint.sum(axis=0)
    seen = by_outcome > 0.0
    left = joint[:, seen] / by_outcome[seen]
    return float((by_outcome[seen] * entropy(left, axis=0)).sum())


def minimal_hitting_sets(conflicts: Sequence[Collection[Item]], most: int | None = None) -> list[frozenset[Item]]:
    """The smallest sets that share an element with every conflict, no one inside another (Reiter 1987, from memory).

    `most`: largest size looked for. The order is by size, then by the order of the elements in the conflicts.
    """
    found: list[frozenset[Item]] = [frozenset()]
    for conflict in conflicts:
        grown = [have for have in found if have & frozenset(conflict)]
        missing = [have for have in found if not have & frozenset(conflict)]
        for have, item in itertools.product(missing, conflict):
            wider = have | {item}
            if (most is None or len(wider) <= most) and wider not in grown:
                grown.append(wider)
        found = [one for one in grown if not any(other < one for other in grown)]
    return sorted(found, key=len)


def repair_order(chances: Mapping[Item, float], costs: Mapping[Item, float]) -> list[Item]:
    """The order of repairs with the least expected cost where one cause is sure and each repair shows at once:
    descending chance over cost (Kadane & Simon 1977, from memory). Costs above zero."""
    return sorted(chances, key=lambda item: chances[item] / costs[item], reverse=True)


def expected_cost(order: Sequence[Item], chances: Mapping[Item, float], costs: Mapping[Item, float]) -> float:
    """Expected cost of repairs in `order`, stopping at the one that cures."""
    left, total = 1.0, 0.0
    for item in order:
        total += left * costs[item]
        left -= chances[item]
    return total
