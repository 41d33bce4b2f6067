"""Runs for the tests of the record, written as a round writes them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from autobench.events import Event, RunEnded
from autobench.record.store import RunRecord, open_engine
from tests.record.shop_runs import STARTED, Write


@pytest.fixture
def records(tmp_path: Path) -> Path:
    """Where the record of a test is."""
    return tmp_path / "records.sqlite"


@pytest.fixture
def write(records: Path) -> Write:
    """Writes one run with its events between start and end; keywords change the start."""

    def one(*between: Event, verdict: str = "good", reason: str | None = None, **changed: object) -> None:
        with RunRecord(open_engine(str(records))) as record:
            record.write(replace(STARTED, **changed))  # type: ignore[arg-type]
            for event in between:
                record.write(event)
            record.write(RunEnded(9.0, verdict, reason, 9.0))

    return one
