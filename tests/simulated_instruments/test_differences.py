"""What faults change on a board: the simulator's own answer, for whoever asks why one was not found."""

from __future__ import annotations

import pytest

from simulated_instruments.bench import differences


@pytest.mark.parametrize("board", ["tarnbeck-8", "wexcombe-2", "pellin-600", "orrin-tk"])
def test_a_board_differs_from_itself_in_nothing_and_from_one_without_clock_in_its_nets(board: str) -> None:
    """On every board, also where a net waits for mains that this bench does not feed."""
    assert differences(board, {}, (), 2) == []
    assert any(found.what == "waveform" for found in differences(board, {}, ("master-clock-dead",), 2))
