"""Every board fault the simulator knows is found, no good board is accused, no bench fault ends `faulty`.

A representative size, so that CI stays short: one seed for every fault, ten good boards a type. The whole is
`autobench rehearse BOARD --seeds 5 --good 200`.
"""

from __future__ import annotations

import pytest

from autobench.rehearsal.cases import BENCH
from autobench.rehearsal.rehearse import RehearsalRequest, rehearse

pytestmark = pytest.mark.long
BOARDS = ("tarnbeck-8", "wexcombe-2", "pellin-600", "orrin-tk")
LEAST_DETECTED = 0.97
ACCUSES = ("wrong-pin",)  # a neighbouring net is a plausible one; its figure is reported instead


@pytest.mark.parametrize(
    "board", [pytest.param(board, marks=() if board == "tarnbeck-8" else pytest.mark.exhaustive) for board in BOARDS]
)
def test_faults_are_found_and_good_boards_are_not_accused(board: str) -> None:
    """At least 97 % of what shows, with only the closed list undetectable."""
    done = rehearse(RehearsalRequest(board, seeds=1, good=10, jobs=1))
    assert [outcome.case.written for outcome in done.of("good") if outcome.verdict == "faulty"] == []
    showing = done.showing
    escaped = [outcome.case.written for outcome in done.escaped]
    assert len(escaped) <= (1.0 - LEAST_DETECTED) * len(showing), escaped
    accused = {
        outcome.case.written
        for outcome in done.of(BENCH)
        if outcome.verdict == "faulty" and outcome.case.places[0].fault not in ACCUSES
    }
    assert accused == set()
