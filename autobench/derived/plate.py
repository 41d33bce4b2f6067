"""A pogo plate for a board of one's own: every point that its board file measures gets a position, on bench and wiring.

The same numbers go to the bench file's side and to the simulator's, as with a plate that was drilled to a drawing.
"""

from __future__ import annotations

from typing import Any

from autobench.documents.bench import Bench
from autobench.documents.board import Board
from autobench.errors import UsageError


def positions_of(board: Board) -> dict[str, int]:
    """Position of every point where something is measured, from 1."""
    return {point: number for number, point in enumerate(points_of(board), start=1)}


def points_of(board: Board) -> list[str]:
    """Every point where something is measured, the grounds that volts are taken against included."""
    return list(dict.fromkeys(site.point for site in board.wiring.measured_sites()))


def bench_with_plate(bench: Bench, board: Board, most: int) -> Bench:
    """The bench with a plate for `board`, where it has relays and no plate yet; `most` positions a slot has.

    Raises `UsageError` for a board with more points than that.
    """
    if bench.routes is None or board.board in bench.fixtures:
        return bench
    positions = positions_of(board)
    if len(positions) > most:
        raise UsageError(
            f"{board.board} has {len(positions)} points to be measured; the simulated bench reaches {most}"
        )
    update: dict[str, Any] = {"fixtures": {**bench.fixtures, board.board: positions}}
    output = board.video.output if board.video is not None else None
    if output is not None and output.terminated is not None:
        update["terminated"] = {**bench.terminated, board.board: {output.point: output.terminated}}
    return bench.model_copy(update=update)
