"""The record as plain lines fits the terminal it is shown in."""

from __future__ import annotations

import pytest

from autobench.record.history import RunRow
from autobench.views.history_text import folded, history_lines

RUN = RunRow(
    run="20260102-030401-abcdef",
    started="2026-01-02T03:04:01.000+00:00",
    board="tarnbeck-8",
    serial="T8-0417",
    sequence="baseline",
    simulated=True,
    operator=None,
    verdict="undecided",
    reason="a reason that is longer than the line has room for, so that its end is cut away with a sign of it",
    seconds=13.0,
)


@pytest.mark.parametrize("width", [80, 100, 120])
def test_rows_of_the_history_fit(width: int) -> None:
    """With eighty signs the day alone is given, since a run's name says the time as well; nothing is ever wider."""
    lines = history_lines([RUN], [], 1, (), width)
    assert all(len(line) <= width for line in lines)
    assert (":" in lines[0]) == (width > 80)
    assert lines[0].endswith("undecided  SIMULATED")


def test_long_lines_go_on_below() -> None:
    """Pieces break at spaces, are indented further than the line began, and hold every word of it."""
    line = "      for: FETCH at U1.27 is flat at 120 mV while REFRESH at U1.28 runs at 444 kHz"
    pieces = folded(line, 40)
    assert len(pieces) > 1
    assert all(len(piece) <= 40 for piece in pieces)
    assert all(piece.startswith(" " * 10) for piece in pieces[1:])
    assert " ".join(pieces).split() == line.split()


def test_a_pipe_gets_whole_lines() -> None:
    """Where there is no terminal, one line stays one line."""
    line = "word " * 100
    assert folded(line, None) == [line]
    assert folded("", 40) == [""]
