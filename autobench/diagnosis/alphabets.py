"""What each kind of reading can come out as, and how often by what is really there: the confusion tables.

Tables only; which reading says what is decided in `autobench.diagnosis.evidence`, what a fault does in
`autobench.diagnosis.simulation`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from autobench.diagnosis.knowledge_files import knowledge

Floats = NDArray[np.float64]

CURRENT_STEP = 0.02  # width of a category of the current's ratio to nominal
CURRENT_MOST = 2.0  # anything above falls into the last category
# One board draws a few % more or less than its fellows, and the sum of what its parts draw is a rough model.
CURRENT_SPREAD = 0.03
CURRENT_MODEL = 0.5  # share of the predicted *change* that may be wrong
CURRENT_FAULTY = 0.02  # besides, for any board that is not healthy
CURRENT_WIDEST = 0.12
UNSURE = "unknown"


class Observable(NamedTuple):
    """One thing the round can read: a `kind` of reading and the rail, net or place it belongs to."""

    kind: str
    name: str


@dataclass(frozen=True)
class Alphabet:
    """One kind of reading: `table[t, c]` is the chance of category `c` where token `t` is really there."""

    kind: str
    block: str
    tokens: tuple[str, ...]
    categories: tuple[str, ...]
    table: Floats

    @cached_property
    def token_numbers(self) -> dict[str, int]:
        """Row of each token."""
        return {token: number for number, token in enumerate(self.tokens)}

    @cached_property
    def category_numbers(self) -> dict[str, int]:
        """Column of each category."""
        return {category: number for number, category in enumerate(self.categories)}


@cache
def alphabets() -> dict[str, Alphabet]:
    """Every kind with its table."""
    known = knowledge("readings")
    floor = float(known["floor"])
    made = {kind: table_of(kind, entry, float(entry.get("floor", floor))) for kind, entry in known["kinds"].items()}
    made["current"] = current_alphabet(floor)
    return made


def table_of(kind: str, entry: dict[str, Any], floor: float) -> Alphabet:
    """The alphabet of one kind as the knowledge file has it; every token gets its rows normalised."""
    categories = tuple(entry["categories"])
    rows = [[float(row.get(category, 0.0)) for category in categories] for row in entry["seen"].values()]
    rows.append([1.0] * len(categories))
    return Alphabet(kind, entry["block"], (*entry["seen"], UNSURE), categories, normalised(np.array(rows), floor))


def normalised(table: Floats, floor: float) -> Floats:
    """Rows that sum to one, with no entry below about `floor`."""
    table = table / table.sum(axis=1, keepdims=True) + floor
    normal: Floats = table / table.sum(axis=1, keepdims=True)
    return normal


def ratio_token(ratio: float) -> str:
    """The token or category of a current's ratio to nominal."""
    return f"{min(round(ratio / CURRENT_STEP), round(CURRENT_MOST / CURRENT_STEP)) * CURRENT_STEP:.2f}"


def current_alphabet(floor: float) -> Alphabet:
    """Ratios to nominal from 0 to 2: a normal spread whose width grows with how far the prediction is from healthy."""
    steps = round(CURRENT_MOST / CURRENT_STEP)
    values = np.arange(steps + 1) * CURRENT_STEP
    change = np.abs(1.0 - values)
    doubt = CURRENT_MODEL * change + np.where(change > 0.5 * CURRENT_STEP, CURRENT_FAULTY, 0.0)
    widths = np.minimum(np.hypot(CURRENT_SPREAD, doubt), CURRENT_WIDEST)
    widths[0] = CURRENT_SPREAD  # where nothing flows there is no doubt how little that is
    distance = (values[None, :] - values[:, None]) / widths[:, None]
    table = np.exp(-0.5 * distance**2)
    table = np.vstack([table, np.ones(steps + 1)])
    names = tuple(f"{value:.2f}" for value in values)
    # A category is a fiftieth of nominal wide: the floor is spread over as many as one real category would hold.
    return Alphabet("current", "power", (*names, UNSURE), names, normalised(table, floor * 0.25))


@cache
def block_floor(block: str) -> float:
    """The most the readings of `block` together can say against a candidate; a reading by itself is a block too."""
    blocks = knowledge("readings")["blocks"]
    kind = next((kind for kind in ("leg", "in step") if block.startswith(f"{kind} ")), block)
    return float(blocks.get(kind, blocks["bus"]))
