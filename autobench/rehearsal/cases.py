"""Which rounds a rehearsal consists of: good boards, every fault of board and bench by name, pairs. Nothing is run.

A fault is rehearsed by its name, once a seed; where it sits goes round all its places, so that a handful of seeds sees
as many of them as it can. The same words give the same cases on every machine.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from random import Random

GOOD, BOARD, BENCH, PAIR = "good", "board", "bench", "pair"


@dataclass(frozen=True)
class FaultPlace:
    """One row of `autobench list faults`: a fault at one of its places."""

    fault: str
    part: str
    net: str | None
    kind: str
    words: str

    @property
    def written(self) -> str:
        """As `check --fault` takes it."""
        return f"{self.fault}@{self.part}"


def place_of(row: Mapping[str, str | None]) -> FaultPlace:
    """A row of `list faults` as a place."""
    return FaultPlace(row["fault"] or "", row["part"] or "", row["net"], row["kind"] or "", row["words"] or "")


@dataclass(frozen=True)
class Case:
    """One round to be done: what is broken, and which specimen the seed draws. `kind` is one of the words above."""

    kind: str
    seed: int
    places: tuple[FaultPlace, ...] = ()

    @property
    def written(self) -> str:
        """The options of `autobench check` that do this very round."""
        return " ".join([*(f"--fault {place.written}" for place in self.places), f"--seed {self.seed}"])


def by_name(places: Sequence[FaultPlace], kind: str) -> dict[str, list[FaultPlace]]:
    """Places of every fault of one kind, in the catalogue's order."""
    found: dict[str, list[FaultPlace]] = {}
    for place in places:
        if place.kind == kind:
            found.setdefault(place.fault, []).append(place)
    return found


def turn(places: Sequence[FaultPlace], seed: int) -> FaultPlace:
    """The place that `seed` stands for: each place once before any comes again, in an order of the fault's own."""
    order = list(places)
    Random(places[0].fault).shuffle(order)  # noqa: S311 (a fixed order, no secret)
    return order[seed % len(order)]


def cases_of(
    places: Sequence[FaultPlace], seeds: range, good: int, pairs: int, alone: Mapping[str, str] | None = None
) -> Iterator[Case]:
    """All cases: good boards first, then board faults, bench faults and pairs of board faults.

    Faults in `alone` are never one of a pair: nothing of them shows.
    """
    first = seeds.start
    yield from (Case(GOOD, seed) for seed in range(first, first + good))
    for kind in (BOARD, BENCH):
        for of_name in by_name(places, kind).values():
            yield from (Case(kind, seed, (turn(of_name, seed),)) for seed in seeds)
    board = {name: found for name, found in by_name(places, BOARD).items() if name not in (alone or {})}
    yield from islice(pairs_of(board, first), pairs if len(board) > 1 else 0)


def pairs_of(board: Mapping[str, Sequence[FaultPlace]], first: int) -> Iterator[Case]:
    """Two different faults on one board, drawn by the seed, without end."""
    seed = first
    while True:
        random = Random(seed)  # noqa: S311 (drawn the same each time, no secret)
        names = random.sample(sorted(board), 2)
        yield Case(PAIR, seed, tuple(random.choice(board[name]) for name in names))
        seed += 1
