"""Which other board the figures fit: a board on the bench that is not the one the file speaks of. Pure.

Only what is exact tells boards apart: the rate of each clock at its point, and of the sync. A fault gives a clock a
wrong rate, but not two of them the rates of another board – unless it is another crystal, which moves all rates of the
declared board by one factor.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Protocol

from autobench.documents.board import Board
from autobench.quantity import Span, show

Place = tuple[str | None, str]  # point and quantity
LEAST = 2  # exact rates that must fit the other board and not the declared one
ONE_FACTOR = 0.01  # relative; rates off by factors that agree so well hang on one crystal


class Rate(Protocol):
    """What is looked at of a reading."""

    @property
    def point(self) -> str | None: ...
    @property
    def quantity(self) -> str: ...
    @property
    def value(self) -> float | None: ...


def fits_other(declared: Board, others: Iterable[Board], readings: Iterable[Rate]) -> str | None:
    """In words, the first board of `others` that the rates fit where they do not fit `declared`; None for none."""
    seen: dict[Place, float] = {
        (reading.point, reading.quantity): reading.value for reading in readings if reading.value
    }
    ours: dict[Place, Span] = dict(exact_rates(declared))
    crystal = of_one_crystal(ours, seen)
    for other in others:
        fitting, wrong = [], 0
        for place, limits in exact_rates(other):
            value = seen.get(place)
            if value is None:
                continue
            if not limits.holds(value):
                wrong += 1
            elif place not in ours or not ours[place].holds(value):
                fitting.append(f"{show(value, 'Hz')} at {place[0]}")
        if len(fitting) >= max(LEAST, crystal) and not wrong:
            return (
                f"fits {other.board}, not {declared.board} ({', '.join(fitting)}): is this the board that was named, "
                f"and the right board file?"
            )
    return None


def of_one_crystal(ours: Mapping[Place, Span], seen: Mapping[Place, float]) -> int:
    """How many of a board's own rates are off by the factor that the first of them is off by."""
    factors = [
        2.0 * seen[place] / (limits.low + limits.high)
        for place, limits in ours.items()
        if place in seen and limits.low is not None and limits.high is not None
    ]
    return sum(abs(factor / factors[0] - 1.0) <= ONE_FACTOR for factor in factors)


def exact_rates(board: Board) -> Iterator[tuple[tuple[str, str], Span]]:
    """Point and quantity of every rate that is exact on a board, with its limits."""
    for name, clock in board.clocks.items():
        yield (clock.point, "frequency"), board.clock_limits(name)
    sync = board.video.sync if board.video is not None else None
    if sync is not None:
        field = sync.field or sync.line_source
        yield (sync.line_source.point, "line rate"), sync.line_rate
        yield (field.point, "field rate"), sync.field_rate
