"""One round as a process of its own that says on standard output what it shows; the kill tests start and kill it.

Arguments: bench file, sequence file, record, and a file whose appearing makes the record raise (or `-`).
"""

from __future__ import annotations

import contextlib
import sys
from pathlib import Path

from autobench import app
from autobench.events import Event, PowerChanged, ReadingTaken, StepStarted
from autobench.record.store import RunRecord


def say(event: Event) -> None:
    match event:
        case StepStarted():
            print("STEP", event.step, flush=True)
        case ReadingTaken():
            print("READING", event.reading.step, flush=True)
        case PowerChanged():
            print("POWER", event.state, flush=True)
        case _:
            pass


def main(bench: str, sequence: str, records: str, spoil: str) -> int:
    keep = RunRecord.write

    def write(record: RunRecord, event: Event) -> None:
        if spoil != "-" and Path(spoil).exists():
            raise ValueError("a defect of the record")
        keep(record, event)

    RunRecord.write = write  # type: ignore[method-assign]  # the one fault this process can do to itself
    request = app.CheckRequest("tarnbeck-8", bench=bench, sequence=sequence, records=records, unattended=True)
    state = app.check(request, [say])
    assert state.ended is not None
    with contextlib.suppress(BrokenPipeError):  # a test that closed this pipe has seen what it wanted
        print("END", state.ended.verdict, state.ended.reason, flush=True)
    return app.EXIT_CODES[state.ended.verdict]


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
