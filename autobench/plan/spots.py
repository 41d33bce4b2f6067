"""Where a point is, for a person who looks at the board: part, pin, side, row and place. Pure; moves nothing."""

from __future__ import annotations

from dataclasses import dataclass

from autobench.documents.board import Board
from autobench.documents.nets import GROUND
from autobench.documents.parts import Part

ENDINGS = {1: "st", 2: "nd", 3: "rd"}


@dataclass(frozen=True)
class Spot:
    """A point in words: `part` with what it is, `pin`, and `where` (side, row and place of the pin)."""

    point: str
    part: str
    pin: str
    where: str
    ground: str  # a 0 V point near it: the same part's own where the board file tells of one


def spot_of(board: Board, point: str) -> Spot:
    """The spot of `point`; what the board file does not tell is left out."""
    name, _, pin = point.partition(".")
    part = board.parts.get(name)
    inlet = next(iter(next(iter(board.rails.values())).places.values())).ground
    if part is None:
        return Spot(point, name, pin, "", inlet)
    own = next((f"{name}.{leg}" for leg, net in part.pin_nets if net == GROUND), inlet)
    return Spot(point, f"{name}, {part.words or part.kind}", pin, where_of(part, pin), own)


def where_of(part: Part, pin: str) -> str:
    """`component side, left row, 8th from the notch`: the pins of a dual-in-line package seen with its notch up.

    Pins go down the left row and up the right one, seen from the component side (IEC 60191 numbering, from memory);
    from the solder side left and right change places.
    """
    if part.legs is None or not pin.isdigit() or not 1 <= int(pin) <= part.legs:
        return part.side
    half, number = part.legs // 2, int(pin)
    first_row = number <= half
    place = number if first_row else part.legs + 1 - number
    left = first_row == (part.side == "component side")
    return f"{part.side}, notch up: {'left' if left else 'right'} row, {ordinal(place)} from the top"


def ordinal(number: int) -> str:
    """`1st`, `2nd`, `3rd`, `11th`."""
    if number % 100 in (11, 12, 13):
        return f"{number}th"
    return f"{number}{ENDINGS.get(number % 10, 'th')}"
