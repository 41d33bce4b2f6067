"""A recorded conversation played back: a session that answers as the instrument did, and stops at the first deviation.

A driver, or what uses it, can be run again without the instrument, from the exchanges a link reported. It sends nothing
anywhere; time passes on the clock it is given as it did in the recording.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

from autobench.clock import Clock
from autobench.documents.driver import Driver
from autobench.errors import LinkError, LinkLostError, NoReplyError, RecordError, ReplyError
from autobench.instruments.connection import link_over
from autobench.instruments.exchange import Exchange, shown
from autobench.instruments.link import Link
from autobench.protocols.blocks import encode_block


class DeviationError(LinkError):
    """What is sent now is not what was sent when the transcript was recorded."""


class ReplaySession:
    """Keeps the `autobench.instruments.session.Session` port over a list of `exchanges` of one instrument.

    After a deviation every call fails with the same words.
    """

    has_end = True  # replies are whole messages in a recording, however they came

    def __init__(self, instrument: str, exchanges: Sequence[Exchange], clock: Clock) -> None:
        self.instrument = instrument
        self.partial = b""
        self._exchanges = list(exchanges)
        self._clock = clock
        self._place = 0
        self._current: Exchange | None = None
        self._block = b""
        self._deviation: str | None = None

    @property
    def rest(self) -> int:
        """How many of the recorded exchanges have not been played."""
        return len(self._exchanges) - self._place

    def write(self, message: bytes, within: float) -> None:  # noqa: ARG002  # of the port
        self.partial, self._block = b"", b""
        self._refuse()
        if not self.rest:
            self._deviate(f"'{shown(message)}' is sent where the transcript has ended")
        recorded = self._exchanges[self._place]
        if recorded.sent != message:
            self._deviate(f"'{shown(message)}' is sent where '{shown(recorded.sent)}' was recorded")
        self._place += 1
        self._current = recorded

    def confirm(self, within: float) -> None:  # noqa: ARG002  # of the port
        """What came of a command, as it was recorded."""
        if self._current is not None:
            self._pass(self._current)

    def read_message(self, within: float) -> bytes:  # noqa: ARG002  # of the port
        return self._received()

    def read_exact(self, count: int, within: float) -> bytes:  # noqa: ARG002  # of the port
        if not self._block:
            self._block = encode_block(self._received())  # a recording has the content of a block
        taken, self._block = self._block[:count], self._block[count:]
        if len(taken) < count:
            raise ReplyError(self.instrument, f"the message ended after {len(taken)} of {count} bytes")
        return taken

    def finish_message(self, within: float) -> bytes:  # noqa: ARG002  # of the port
        """What was recorded has been read by its length."""
        return b""

    def clear(self) -> None:
        """Nothing is on its way; clearing is no exchange and so not in a recording."""
        self._refuse()

    def status_byte(self) -> int | None:
        """Not in a recording."""
        return None

    def descriptor(self) -> int | None:
        return None

    def abort(self) -> None:
        """Nothing blocks."""

    def reopen(self) -> None:
        self._refuse()

    def close(self) -> None:
        """Nothing is open."""

    def _received(self) -> bytes:
        recorded = self._current
        self._refuse()
        if recorded is None or (recorded.received is None and recorded.error is None):
            self._deviate("a reply is read where none was recorded")
            raise AssertionError("unreachable: a deviation raises")
        self._pass(recorded)
        return recorded.received or b""

    def _pass(self, recorded: Exchange) -> None:
        """Let the time of an exchange pass, and fail as it did."""
        self._clock.sleep(recorded.seconds)
        if recorded.error is not None:
            self.partial = recorded.received or b""
            kind = (
                NoReplyError if "no reply" in recorded.error or "no complete reply" in recorded.error else LinkLostError
            )
            raise kind(self.instrument, recorded.error)

    def _deviate(self, words: str) -> None:
        self._deviation = f"the run deviates from the transcript at exchange {self._place + 1}: {words}"
        self._refuse()

    def _refuse(self) -> None:
        if self._deviation is not None:
            raise DeviationError(self.instrument, self._deviation)


def replayed(driver: Driver, name: str, exchanges: Iterable[Exchange], clock: Clock) -> tuple[Link, ReplaySession]:
    """A link that plays the exchanges of instrument `name`, with the driver's manners; and its session, to see what is
    left at the end."""
    own = [exchange for exchange in exchanges if exchange.instrument == name]
    session = ReplaySession(name, own, clock)
    return link_over(session, driver, name, clock), session


def written(exchanges: Iterable[Exchange]) -> str:
    """A transcript as text: one JSON object a line; bytes as characters of the same number."""
    lines = []
    for exchange in exchanges:
        entry: dict[str, Any] = asdict(exchange)
        entry["sent"] = exchange.sent.decode("latin-1")
        entry["received"] = None if exchange.received is None else exchange.received.decode("latin-1")
        lines.append(json.dumps(entry) + "\n")
    return "".join(lines)


def read_back(text: str) -> list[Exchange]:
    """The exchanges of a transcript; raises `RecordError`, which names the line, for what is none."""
    found = []
    for number, line in enumerate(text.splitlines(), 1):
        try:
            entry = json.loads(line)
            received = entry["received"]
            found.append(
                Exchange(
                    str(entry["instrument"]),
                    float(entry["at"]),
                    entry["sent"].encode("latin-1"),
                    None if received is None else received.encode("latin-1"),
                    float(entry["seconds"]),
                    entry["error"],
                )
            )
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise RecordError(f"line {number} of the transcript is no exchange: {error}") from error
    return found
