"""Runs out of the record, folded as every view folds them, and the comparison that follows a repair.

Reads the record and changes nothing in it; shows nothing itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Engine

from autobench.errors import RecordError, UsageError
from autobench.events import Identified, RunEnded
from autobench.record.history import Repair, RunRow, find_run, repairs_of, runs_before
from autobench.record.log import read_events
from autobench.views.comparison import Comparison, compare
from autobench.views.document import run_document
from autobench.views.run_state import RunState, fold


@dataclass(frozen=True)
class Recorded:
    """A run as the record has it: its row, its folded events, who the instruments said they are, its repairs."""

    row: RunRow
    state: RunState
    identities: tuple[tuple[str, str], ...]
    repairs: tuple[Repair, ...]


def recorded(engine: Engine, row: RunRow) -> Recorded:
    """One run; one that never ended gets the end its row speaks of. Raises `RecordError`."""
    events = read_events(engine, row.run)
    state = RunState()
    for event in events:
        state = fold(state, event)
    if state.started is None:
        raise RecordError(f"the record is damaged: run {row.run} has no beginning")
    if state.ended is None:
        at = max(event.at for event in events)
        state = fold(state, RunEnded(at, row.verdict, row.reason, at - state.started.at))
    identities = tuple((event.instrument, event.identity) for event in events if isinstance(event, Identified))
    return Recorded(row, state, identities, tuple(repairs_of(engine, row.run)))


def recorded_document(engine: Engine, row: RunRow) -> dict[str, Any]:
    """The document of a recorded run, the same as `check --json` printed."""
    return run_document(recorded(engine, row).state)


def compared(engine: Engine, words: Sequence[str]) -> Comparison:
    """Two runs of the record side by side, the earlier one first whichever way round they were named.

    Raises `UsageError` for a run that is not there, the same run twice, or runs of two board types.
    """
    rows = sorted((find_run(engine, word) for word in words), key=lambda row: (row.started, row.run))
    if len({row.run for row in rows}) != 2:
        raise UsageError(f"'{words[0]}' and '{words[-1]}' are the same run; name two")
    if rows[0].board != rows[1].board:
        raise UsageError(f"a {rows[0].board} and a {rows[1].board} cannot be compared: they are two types of board")
    return of_rows(engine, rows[0], rows[1])


def of_rows(engine: Engine, before: RunRow, after: RunRow) -> Comparison:
    """Two runs of one board type, and what was noted as done between them."""
    later = [row for row in runs_before(engine, after) if (row.started, row.run) > (before.started, before.run)]
    rows = [before, *reversed(later)] if before.serial == after.serial else []
    done = [repair.words for row in rows for repair in repairs_of(engine, row.run)]
    return compare(recorded(engine, before).state, recorded(engine, after).state, done)


def comparison_after_repair(engine: Engine, run: str) -> Comparison | None:
    """The run of that name set beside the run before it on which a repair was noted; None where there is none.

    Only the first round after a repair is compared: runs in between that were stopped do not count. Raises
    `UsageError` for a run that is not there, `RecordError`.
    """
    after = find_run(engine, run)
    for before in runs_before(engine, after):
        if repairs_of(engine, before.run):
            return of_rows(engine, before, after)
        if before.verdict != "stopped":
            return None
    return None
