"""Which other board the exact rates fit."""

from __future__ import annotations

from dataclasses import dataclass

from autobench.documents import places
from autobench.documents.board import Board
from autobench.documents.gathered import other_boards
from autobench.documents.reading import read
from autobench.plan.other_boards import fits_other


@dataclass(frozen=True)
class Seen:
    """A rate at a point."""

    point: str | None
    value: float | None
    quantity: str = "frequency"


DECLARED = read(places.find_board("tarnbeck-8"), Board)
OTHERS = other_boards("tarnbeck-8")


def test_two_rates_of_another_board_name_it() -> None:
    """Master and CPU clock of the pellin-600 at its points: that is what is on the bench."""
    words = fits_other(DECLARED, OTHERS, [Seen("U4.8", 12.0e6), Seen("U1.6", 3.0e6), Seen("U2.2", 0.0, "line rate")])
    assert words is not None
    assert "pellin-600, not tarnbeck-8" in words


def test_a_wrong_crystal_is_no_other_board() -> None:
    """Three times the right rate, or another crystal alone, is a fault of this board."""
    assert fits_other(DECLARED, OTHERS, [Seen("U4.8", 45.0e6), Seen("U1.6", 11.25e6)]) is None
    assert fits_other(DECLARED, OTHERS, [Seen("U4.8", 12.0e6), Seen("U1.6", 3.75e6)]) is None


def test_the_declared_board_fits_itself() -> None:
    """A healthy board is never taken for another."""
    assert fits_other(DECLARED, OTHERS, [Seen("U4.8", 15.0e6), Seen("U5.12", 7.5e6), Seen("U1.6", 3.75e6)]) is None


def test_one_crystal_moves_every_rate_by_one_factor() -> None:
    """With 12 MHz for 15 MHz the two clocks fit the other board, but so does everything on this one: 12/15 of it."""
    clocks = [Seen("U4.8", 12.0e6), Seen("U5.12", 6.0e6), Seen("U1.6", 3.0e6)]
    assert fits_other(DECLARED, OTHERS, [*clocks, Seen("U2.2", 12.5e3, "line rate")]) is None
    assert fits_other(DECLARED, OTHERS, clocks) is None
    assert fits_other(DECLARED, OTHERS, [clocks[0], clocks[2], Seen("U5.12", 4.1e6)]) is not None
