"""The arithmetic of diagnosis on textbook circuits: posteriors, entropies, minimal candidates, repair orders."""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable

import numpy as np
import pytest

from autobench.diagnosis.inference import (
    Floats,
    entropy,
    expected_cost,
    expected_entropy,
    minimal_hitting_sets,
    posterior,
    repair_order,
    summed,
)

# The polybox: X = A·C (M1), Y = B·D (M2), Z = C·E (M3), F = X + Y (A1), G = Y + Z (A2), all products 6 (de Kleer &
# Williams 1987, from memory). Equations of each part over (X, Y, Z, F, G), as coefficients and right-hand side.
PARTS = ("M1", "M2", "M3", "A1", "A2")
EQUATIONS = {
    "M1": ([1, 0, 0, 0, 0], 6.0),
    "M2": ([0, 1, 0, 0, 0], 6.0),
    "M3": ([0, 0, 1, 0, 0], 6.0),
    "A1": ([1, 1, 0, -1, 0], 0.0),
    "A2": ([0, 1, 1, 0, -1], 0.0),
}
NODES = {"X": 0, "Y": 1, "Z": 2, "F": 3, "G": 4}
CANDIDATES = [frozenset(each) for size in range(6) for each in itertools.combinations(PARTS, size)]
PRIOR = np.array([0.01 ** len(each) * 0.99 ** (5 - len(each)) for each in CANDIDATES])


def system(faulty: frozenset[str], seen: dict[str, float]) -> tuple[Floats, Floats]:
    """The equations that hold with some parts faulty (a faulty part constrains nothing) and nodes measured."""
    rows = [EQUATIONS[part] for part in PARTS if part not in faulty]
    rows += [([int(place == NODES[node]) for place in range(5)], value) for node, value in seen.items()]
    return np.array([row for row, _ in rows], dtype=float), np.array([value for _, value in rows])


def consistent(faulty: frozenset[str], seen: dict[str, float]) -> bool:
    """Whether the equations have a solution."""
    left, right = system(faulty, seen)
    return bool(np.linalg.matrix_rank(np.column_stack([left, right])) == np.linalg.matrix_rank(left))


def forced(faulty: frozenset[str], seen: dict[str, float], node: str) -> float | None:
    """The value a node must have, if it must have one."""
    left, right = system(faulty, seen)
    unit = np.eye(5)[NODES[node]]
    if np.linalg.matrix_rank(np.vstack([left, unit])) > np.linalg.matrix_rank(left):
        return None
    return float(round(np.linalg.lstsq(left, right, rcond=None)[0][NODES[node]], 6))


def polybox(seen: dict[str, float]) -> Floats:
    """Posterior of every candidate."""
    fits = np.array([0.0 if consistent(each, seen) else -np.inf for each in CANDIDATES])
    return posterior(PRIOR, fits)


def probe(seen: dict[str, float], node: str, spread: bool) -> Floats:
    """Chance of each value of a node under each candidate: spread over the predicted values where a candidate
    predicts none, or an outcome of its own."""
    told = [forced(each, seen, node) if consistent(each, seen) else None for each in CANDIDATES]
    values = sorted({value for value in told if value is not None})
    table = np.zeros((len(CANDIDATES), len(values) + 1))
    for row, value in enumerate(told):
        if value is not None:
            table[row, values.index(value)] = 1.0
        elif spread:
            table[row, :-1] = 1.0 / len(values)
        else:
            table[row, -1] = 1.0
    return table


def test_polybox_posterior_and_entropy() -> None:
    """One wrong output accuses three parts alike, a right one beside it clears the multiplier they share."""
    first, both = polybox({"F": 10.0}), polybox({"F": 10.0, "G": 12.0})
    assert int((first > 0).sum()) == 28  # computed by enumeration
    assert int((both > 0).sum()) == 27  # computed by enumeration
    assert first[CANDIDATES.index(frozenset({"M1"}))] == pytest.approx(0.323422, abs=1e-6)  # computed
    assert both[CANDIDATES.index(frozenset({"A1"}))] == pytest.approx(0.478026, abs=1e-6)  # computed
    assert both[CANDIDATES.index(frozenset({"A2", "M2"}))] == pytest.approx(0.004829, abs=1e-6)  # computed
    assert float(entropy(first)) == pytest.approx(1.26696, abs=1e-5)  # computed
    assert float(entropy(both)) == pytest.approx(0.94230, abs=1e-5)  # computed


def test_polybox_parts_by_sums() -> None:
    """The chance of a part is that of every candidate it is in."""
    both = polybox({"F": 10.0, "G": 12.0})
    chance = {
        part: float(summed(both, np.array([int(part in each) for each in CANDIDATES], dtype=np.intp), 2)[1])
        for part in PARTS
    }
    expected = {"M1": 0.497635, "M2": 0.019609, "M3": 0.014780, "A1": 0.497635, "A2": 0.014780}  # computed
    assert chance == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("spread", "expected"),
    [
        (True, {"X": 0.25271, "Y": 0.88733, "Z": 0.91124}),  # computed by the formula of de Kleer & Williams 1987
        (False, {"X": 0.220842, "Y": 0.885773, "Z": 0.909439}),  # computed, "unpredicted" as an outcome
    ],
)
def test_polybox_next_probe(spread: bool, expected: dict[str, float]) -> None:
    """The product before the wrong sum is probed first, whichever way unpredicted values are counted."""
    seen = {"F": 10.0, "G": 12.0}
    found = {node: expected_entropy(polybox(seen), probe(seen, node, spread)) for node in expected}
    assert found == pytest.approx(expected, abs=2e-5)
    assert min(found, key=lambda node: found[node]) == "X"  # de Kleer & Williams 1987, from memory


def test_polybox_after_the_probe() -> None:
    """What is left after the probe, and the probe after it."""
    four = polybox({"F": 10.0, "G": 12.0, "X": 4.0})
    six = {"F": 10.0, "G": 12.0, "X": 6.0}
    assert four[CANDIDATES.index(frozenset({"M1"}))] == pytest.approx(0.960596, abs=1e-6)  # computed
    assert float(entropy(four)) == pytest.approx(0.22401, abs=1e-5)  # computed
    assert float(entropy(polybox(six))) == pytest.approx(0.33008, abs=1e-5)  # computed
    left = {node: expected_entropy(polybox(six), probe(six, node, True)) for node in ("Y", "Z")}
    assert left == pytest.approx({"Y": 0.23445, "Z": 0.27539}, abs=2e-5)  # computed


@pytest.mark.parametrize(
    ("conflicts", "expected"),
    [
        ([("A1", "M1", "M2")], ["A1", "M1", "M2"]),  # polybox, F = 10 (de Kleer & Williams 1987, from memory)
        ([("A1", "M1", "M2"), ("A1", "A2", "M1", "M3")], ["A1", "M1", "A2 M2", "M2 M3"]),  # and G = 12, same source
        ([("A1", "M2"), ("A1", "A2", "M3")], ["A1", "A2 M2", "M2 M3"]),  # computed: X = 6
        ([("X1", "X2"), ("X1", "A2", "O1")], ["X1", "A2 X2", "O1 X2"]),  # full adder, Reiter 1987, from memory
        (
            [(2, 4, 5), (1, 2, 3), (1, 3, 5), (2, 4, 6), (2, 4), (2, 3, 5), (1, 6)],
            ["1 2", "1 3 4", "1 4 5", "2 3 6", "2 5 6", "3 4 6"],  # Reiter 1987, from memory; computed
        ),
        ([], [""]),  # by definition: nothing to explain
        ([()], []),  # by definition: a conflict nobody can resolve
    ],
)
def test_minimal_candidates(conflicts: list[tuple[object, ...]], expected: list[str]) -> None:
    """Minimal candidates are the minimal hitting sets of the conflicts, in whatever order these come."""
    for order in itertools.islice(itertools.permutations(conflicts), 60):
        found = [" ".join(sorted(map(str, each))) for each in minimal_hitting_sets(order)]
        assert sorted(found) == sorted(expected)


def test_hitting_sets_up_to_a_size() -> None:
    """A largest size leaves out larger sets and keeps every smaller one."""
    conflicts = [(1, 2), (3, 4), (1, 3)]
    everything = [each for each in minimal_hitting_sets(conflicts) if len(each) <= 2]
    assert minimal_hitting_sets(conflicts, most=2) == everything
    assert minimal_hitting_sets([(1,), (2,), (3,)], most=2) == []


def inverters(seen: dict[str, int]) -> tuple[Floats, Callable[[str], Floats]]:
    """Posterior of the 16 candidates of a chain of four inverters with a = 1, and the table of a probe.

    A faulty inverter constrains nothing; a candidate that leaves a node open gives each value half a chance.
    """
    nodes = "abcde"
    known = {"a": 1, **seen}
    sets = [frozenset(each) for size in range(5) for each in itertools.combinations(range(4), size)]

    def worlds(faulty: frozenset[int], wanted: dict[str, int]) -> list[dict[str, int]]:
        found = []
        for values in itertools.product((0, 1), repeat=5):
            world = dict(zip(nodes, values, strict=True))
            right = all(world[nodes[gate + 1]] == 1 - world[nodes[gate]] for gate in range(4) if gate not in faulty)
            if right and all(world[node] == value for node, value in wanted.items()):
                found.append(world)
        return found

    prior = np.array([0.01 ** len(each) * 0.99 ** (4 - len(each)) for each in sets])
    fits = np.array([0.0 if worlds(each, known) else -np.inf for each in sets])

    def table(node: str) -> Floats:
        rows = []
        for each in sets:
            values = {world[node] for world in worlds(each, known)}
            rows.append([0.5, 0.5] if len(values) != 1 else [float(value in values) for value in (0, 1)])
        return np.array(rows)

    return posterior(prior, fits), table


def test_inverter_chain_is_halved() -> None:
    """With a wrong output the middle of the chain is the best place to look."""
    chances, table = inverters({"e": 0})
    assert float(entropy(chances)) == pytest.approx(1.470937, abs=1e-6)  # computed
    assert chances[1] == pytest.approx(0.24624, abs=1e-5)  # computed: each single fault
    found = {node: expected_entropy(chances, table(node)) for node in "bcd"}
    assert found == pytest.approx({"b": 0.91381, "c": 0.78476, "d": 0.91381}, abs=2e-5)  # computed


def test_inverter_chain_before_any_trouble() -> None:
    """With nothing known but the input, the far end says most."""
    chances, table = inverters({})
    assert float(entropy(chances)) == pytest.approx(0.224006, abs=1e-6)  # computed
    found = {node: expected_entropy(chances, table(node)) for node in "bcde"}
    assert found == pytest.approx({"b": 0.19946, "c": 0.18203, "d": 0.16734, "e": 0.15444}, abs=2e-5)  # computed


def test_bayes_rule() -> None:
    """A positive result of a good test of a rare thing leaves it as likely as not."""
    found = posterior(np.array([0.1, 0.9]), np.log(np.array([0.95, 0.10])))
    assert found[0] == pytest.approx(0.513514, abs=1e-6)  # textbook example, computed


def test_nothing_possible_is_said() -> None:
    """Readings that contradict every hypothesis raise an error instead of dividing by nothing."""
    with pytest.raises(ValueError, match="no hypothesis"):
        posterior(np.array([0.5, 0.5]), np.array([-np.inf, -np.inf]))


def test_repair_order_example() -> None:
    """Repairs go by chance over cost."""
    chances, costs = {"a": 0.5, "b": 0.3, "c": 0.2}, {"a": 10.0, "b": 2.0, "c": 5.0}
    assert repair_order(chances, costs) == ["b", "a", "c"]  # Kadane & Simon 1977, from memory
    orders = {"bac": 10.0, "bca": 10.5, "cba": 11.6, "abc": 12.0, "acb": 13.1, "cab": 13.6}  # computed
    found = {order: expected_cost(order, chances, costs) for order in orders}
    assert found == pytest.approx(orders)


@pytest.mark.parametrize("seed", range(8))
def test_repair_order_against_brute_force(seed: int) -> None:
    """No order of up to six repairs is cheaper than the one by chance over cost."""
    chance = random.Random(seed)
    items = range(chance.randint(3, 6))
    raw = [chance.random() for _ in items]
    chances = {item: raw[item] / sum(raw) for item in items}
    costs = {item: chance.uniform(0.5, 20.0) for item in items}
    best = min(expected_cost(order, chances, costs) for order in itertools.permutations(items))
    assert expected_cost(repair_order(chances, costs), chances, costs) == pytest.approx(best)  # brute force
