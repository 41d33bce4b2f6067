"""Two board types, what diagnosis predicts for them, and the readings of rounds on their specimens."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from autobench.diagnosis.board_model import BoardModel, board_model
from autobench.diagnosis.ranking import Predictions, predictions
from autobench.documents.board import Board
from autobench.documents.reading import read
from autobench.judgement.reading import Reading
from tests.diagnosis.reported_faults import FAULTS
from tests.diagnosis.rounds import Round

TEXTS = Path(__file__).parent / "texts"


@pytest.fixture(scope="session")
def boards() -> dict[str, Board]:
    """Both test boards: `fixed-3` (fixed video, no waits) and `programmed-3` (programmable video, waits)."""
    return {path.stem: read(path, Board) for path in sorted(TEXTS.glob("*.yaml"))}


@pytest.fixture(scope="session")
def models(boards: dict[str, Board]) -> dict[str, BoardModel]:
    """What diagnosis knows of each."""
    return {name: board_model(board, {}) for name, board in boards.items()}


@pytest.fixture(scope="session")
def predicted(models: dict[str, BoardModel]) -> dict[str, Predictions]:
    """What diagnosis predicts for each."""
    return {name: predictions(model) for name, model in models.items()}


@pytest.fixture(scope="session")
def taken(boards: dict[str, Board]) -> Callable[[str, str | None, int], list[Reading]]:
    """Readings of a round: board, fault or none, seed."""

    def readings(board: str, fault: str | None = None, seed: int = 0) -> list[Reading]:
        seen = Round(boards[board], seed)
        if fault is not None:
            FAULTS[fault](seen)
        return seen.readings()

    return readings
