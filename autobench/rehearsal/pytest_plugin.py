"""The pytest plugin: a fixture that rehearses a round, so that a sequence can be tested like any program.

    def test_a_dead_fetch_strobe_is_found(rehearsal):
        result = rehearsal("baseline", board="tarnbeck-8", fault="fetch-strobe-dead")
        assert result.verdict == "faulty"
        assert result.suspects[0].part == "U1"

It is loaded by every pytest beside which autobench is installed, so it imports nothing until the fixture is used.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from autobench.rehearsal.rehearsed import RehearsedRound


@pytest.fixture(scope="session")
def rehearsal() -> Callable[..., RehearsedRound]:
    """`rehearsal(SEQUENCE, board=…, fault=…, seed=0)`: one round on the simulated bench; see
    `autobench.rehearsal.rehearsed.rehearsed_round` for everything it takes and `RehearsedRound` for what it gives."""
    from autobench.rehearsal.rehearsed import rehearsed_round

    return rehearsed_round


@pytest.fixture(scope="session")
def rehearsal_faults() -> Callable[[str], list[str]]:
    """`rehearsal_faults(BOARD)`: every fault the simulator knows for a board, as `NAME@PART`."""
    from autobench.app import list_faults

    return lambda board: [f"{row['fault']}@{row['part']}" for row in list_faults(board)]
