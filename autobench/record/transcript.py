"""The conversations of a recorded run, read back as exchanges: what `instruments/replay` plays.

It writes nothing and plays nothing.
"""

from __future__ import annotations

from sqlalchemy import Engine

from autobench.events import Exchanged
from autobench.instruments.exchange import Exchange
from autobench.record.log import read_events


def transcript_of(engine: Engine, run: str) -> list[Exchange]:
    """Every exchange of `run` with any of its instruments, in the order in which they were had.

    The record has them at the steps that wanted them, which for what was done ahead is later.
    A reply that was too long to be kept whole comes back as a failed exchange that says so, so that a replay stops
    there. Raises `RecordError` as `read_events` does.
    """
    told = (event for event in read_events(engine, run, bulk=True) if isinstance(event, Exchanged))
    return [exchange_of(event) for event in sorted(told, key=lambda event: event.at)]


def exchange_of(event: Exchanged) -> Exchange:
    """The exchange that an event tells of."""
    received = None if event.received is None else event.received.encode("latin-1", "replace")
    error = event.error
    if received is not None and event.bytes_received is not None and event.bytes_received > len(received):
        error = error or f"{event.instrument}: the reply of {event.bytes_received} bytes was not kept whole"
    return Exchange(event.instrument, event.at, event.sent.encode("latin-1", "replace"), received, event.seconds, error)
