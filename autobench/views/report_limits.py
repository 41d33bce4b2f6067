"""Which limits are drawn across the picture of a trace. It draws nothing and judges nothing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from autobench.documents.board import Board
from autobench.judgement.reading import Reading
from autobench.quantity import show
from autobench.signals.families import family
from autobench.views.plots import Mark

# Quantities that are volts against ground; ripple and amplitudes are differences and have no place of their own.
LEVELS = ("level", "high level", "low level")


def marks_of(
    net: str, point: str, steps: Sequence[str], readings: Iterable[Reading], board: Board | None
) -> tuple[Mark, ...]:
    """Limits of the readings of this net that hold in these steps or at this point; of a logic line also what counts
    as a level.

    Marks at the same volts are drawn once.
    """
    marks: dict[float, str] = {}
    for reading in readings:
        if reading.net == net and reading.unit == "V" and counts_here(reading, point, steps):
            name = {"high level": "high ", "low level": "low "}.get(reading.quantity, "")
            if reading.low is not None:
                marks.setdefault(reading.low, f"limit: {name}at least {show(reading.low, 'V', 3)}")
            if reading.high is not None:
                marks.setdefault(reading.high, f"limit: {name}at most {show(reading.high, 'V', 3)}")
    logic = family_of(net, board)
    if logic is not None:
        levels = family(logic)
        marks.setdefault(levels.high_in, f"counts as high above {show(levels.high_in, 'V', 2)}")
        marks.setdefault(levels.low_in, f"counts as low below {show(levels.low_in, 'V', 2)}")
    return tuple(Mark(volts, words) for volts, words in marks.items())


def counts_here(reading: Reading, point: str, steps: Sequence[str]) -> bool:
    """Whether its limits are volts against ground that hold for a trace of these steps at this point.

    Levels hold for the net; the volts of a rail differ from place to place, so they hold for their own step or point
    only. What is put on to learn the sign is no rail yet.
    """
    if reading.quantity == "voltage" and reading.stage == "rails" and not reading.step.startswith("drop "):
        return reading.step in steps or reading.point == point
    return reading.quantity in LEVELS


def family_of(net: str, board: Board | None) -> str | None:
    """The logic family whose levels count on a net, or None for rails, pictures and boards not known."""
    if board is None:
        return None
    if net in board.lines:
        return board.lines[net].family
    if net in board.clocks:
        return board.clocks[net].family
    if board.reset is not None and net == board.reset.line:
        return board.reset.family
    sync = board.video.sync if board.video is not None else None
    if sync is not None and net in (sync.line_source.net, sync.field_source.net):
        return sync.family
    return None
