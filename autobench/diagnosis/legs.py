"""Where the legs of a board's parts are, as far as its file tells: points by part and net, and both ends of a contact.

Nothing is measured here and no fault is known.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from autobench.documents.board import Board


def pins_of(board: Board) -> dict[tuple[str, str], str]:
    """The point of every leg (part, net) that the file tells of."""
    return {(name, net): f"{name}.{pin}" for name, part in board.parts.items() for pin, net in part.pin_nets}


def sides_of(board: Board) -> Iterator[tuple[str, tuple[str, tuple[str, str]]]]:
    """Contacts with both pins on one rail."""
    for name, part in board.parts.items():
        for net in {net for _, net in part.pin_nets} & board.rails.keys():
            points = [f"{name}.{pin}" for pin, other in part.pin_nets if other == net]
            if part.kind in ("switch", "connector") and len(points) == 2:
                yield name, (net, (points[0], points[1]))
