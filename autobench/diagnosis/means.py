"""What can be done at a bench to tell suspects apart: points within reach, hands, power, and what was tried already.

Values only.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Means:
    """`fixture`: points that relays lead the scope to; `meter`: those they lead both inputs of the meter to; `points`:
    those that can be reached at all, None where that is not known. `hand`: somebody holds tips and works on the board.
    `powered`: the board may be powered. `tried`: checks that were made or could not be, as (kind, name) of their
    observables."""

    fixture: frozenset[str] = frozenset()
    meter: frozenset[str] = frozenset()
    points: frozenset[str] | None = None
    hand: bool = True
    powered: bool = True
    tried: frozenset[tuple[str, str]] = frozenset()


BY_HAND = Means()  # whatever a person with a probe could do
