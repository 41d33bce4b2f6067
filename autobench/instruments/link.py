"""The link: the only conversation with one instrument, one message in flight, back in step after every error.

It owns the lock, the total deadline of each message, the pace, the dirty state and the way back. It never repeats a
command by itself: whoever asked decides. It must not know dialects, units or VISA.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterator

from autobench.clock import Clock
from autobench.errors import (
    InstrumentReportedError,
    LinkError,
    LinkLostError,
    NoReplyError,
    ProtocolError,
    ReplyError,
)
from autobench.instruments.causes import cause_of, in_words
from autobench.instruments.deadline import Deadline
from autobench.instruments.exchange import Exchange, program_message, shown
from autobench.instruments.session import Session
from autobench.instruments.tokens import Tokens, read_to
from autobench.protocols.blocks import BlockReader
from autobench.protocols.replies import parse_error

MOST_ERRORS = 30  # an instrument whose queue never empties must not hold the run
LONGEST_QUOTE = 60  # characters of a command quoted in an error
PACE_MARGIN = 1e-6  # seconds; without it rounding can make the distance a hair too short
AHEAD = 0.5  # seconds that a command sent ahead of the recovery may take
EXPLAINING = 0.5  # seconds that asking an instrument why it did not reply may take


def nothing() -> None:
    """The check of a link that nobody watches."""


def unheard(exchange: Exchange) -> None:
    """Takes the exchanges of a link that nobody records."""


class Link:
    """One instrument's conversation over one session. Safe to use from several threads; one exchange at a time.

    `within` is the usual total deadline of a message (s), `pace` the least time between two messages (s). `scpi` says
    that the instrument knows the common commands of IEEE 488.2, which recovery needs; `errors` is the query that reads
    its error queue, emptied after a recovery so that old errors accuse no later command. `on_exchange` hears every
    exchange, failed ones included; `check` is called before each and may raise to break off. `read_error` makes number
    and text of its answer; `block_ends` line ends stand behind a block.
    """

    def __init__(
        self,
        session: Session,
        instrument: str,
        clock: Clock,
        *,
        within: float = 2.0,
        pace: float = 0.0,
        scpi: bool = True,
        errors: str | None = None,
        read_error: Callable[[str], tuple[int, str]] = parse_error,
        block_ends: int = 1,
        on_exchange: Callable[[Exchange], None] = unheard,
        check: Callable[[], None] = nothing,
    ) -> None:
        self.instrument = instrument
        self.clock = clock
        self.within = within
        self.pace = pace
        self.scpi = scpi
        self.errors = errors
        self.read_error, self.block_ends = read_error, block_ends
        self.on_exchange = on_exchange
        self.check = check
        self.reopenings = 0  # how often recovery had to open again: whatever was set before may be gone since
        self._session = session
        self._lock = threading.RLock()
        self._making_safe = 0
        self._closed = False
        self._dirty = False
        self._known: tuple[str, str] | None = None  # a question and its answer, by which the instrument is known
        self._written = False  # whether the last message went out whole
        self._quiet_since = clock.now()  # another session may have spoken to it a moment ago
        self._patience = within  # how long a late answer may still be on its way
        self._tokens = Tokens()

    @property
    def dirty(self) -> bool:
        """Whether the last exchange failed, so that an answer may still be on its way."""
        return self._dirty

    def say(self, text: str, within: float | None = None) -> None:
        """Send a command that is not answered."""
        self._exchange(text, within, None)

    def ask(self, text: str, within: float | None = None, length: int | None = None) -> str:
        """Send a query and read its reply, without its line end, or exactly `length` bytes of it.

        Raises `NoReplyError`, `LinkLostError`, `ReplyError` or plain `LinkError`; the link is dirty then. After a
        time-out the instrument is asked for its errors, briefly, so that the error can say why.
        """
        if length is not None:
            return self._exchange(text, within, lambda deadline: self._read_length(length, deadline)).decode("latin-1")
        return self._exchange(text, within, self._read_line).decode("latin-1").rstrip("\r\n")

    def ask_block(self, text: str, within: float | None = None) -> bytes:
        """Send a query and read its reply as an IEEE 488.2 block by exact counts; returns the block's content.

        Raises as `ask` does, `ReplyError` also where the reply is no block or is cut short.
        """
        return self._exchange(text, within, self._read_block)

    def drain_errors(self, query: str, limit: int = MOST_ERRORS) -> list[tuple[int, str]]:
        """Ask the instrument's error queue empty: number and text of each entry, oldest first, at most `limit`."""
        with self._lock:
            return self._empty_queue(query, limit, self.ask)

    def _empty_queue(self, query: str, limit: int, ask: Callable[[str], str]) -> list[tuple[int, str]]:
        found: list[tuple[int, str]] = []
        for _ in range(limit):
            reply = ask(query)
            try:
                number, words = self.read_error(reply)
            except ProtocolError as error:
                self._dirty = True  # whatever this was, it did not belong to the query
                raise ReplyError(self.instrument, f"the answer to {query} is no error entry: {error}") from error
            if number == 0:
                break
            found.append((number, words))
        return found

    @contextlib.contextmanager
    def safing(self) -> Iterator[None]:
        """While making safe nothing may break off the conversation: `check` is not called inside."""
        self._making_safe += 1
        try:
            yield
        finally:
            self._making_safe -= 1

    def distrust(self) -> None:
        """The last reply made no sense and may have belonged to another question: the next exchange recovers first."""
        self._dirty = True

    def say_ahead(self, text: str) -> None:
        """Where the last exchange failed, send a command before the conversation is brought back in step, which takes
        seconds. Only for one that may be said any number of times: it is no proof, and has to be said again."""
        with self._lock, contextlib.suppress(LinkError):
            if self._dirty and not self._closed:
                self._keep_pace()
                deadline = Deadline(self.clock, min(self.within, AHEAD))
                if not self._written and not self._session.has_end:
                    self._session.write(b"", deadline.left())  # the line end finishes what was sent by half
                self._send(program_message(self.instrument, text), deadline, None)

    def recover(self) -> None:
        """Bring the conversation back in step: clear and drop what is late, else reopen.

        Raises a `LinkError` if neither helps; the link stays dirty then. No command is repeated.
        """
        with self._lock:
            self._refuse_closed()
            self._dirty = True
            try:
                self._clear()
                self._synchronise()
            except LinkError:
                self._reopen()
            self._patience = self.within
            self._dirty = False

    def remember(self, question: str, answer: str) -> None:
        """From now on the instrument at this address is known by its `answer`: another one there is refused."""
        self._known = (question, answer)

    def descriptor(self) -> int | None:
        """File descriptor of the open connection, where a second process could send over it; else `None`."""
        return self._session.descriptor()

    def abort(self) -> None:
        """From another thread: break off the exchange in flight, where the transport allows it."""
        self._session.abort()

    def close(self) -> None:
        """Close the connection; any later exchange fails as lost."""
        with self._lock:
            self._closed = True
            self._session.close()

    def _refuse_closed(self) -> None:
        if self._closed:
            raise LinkLostError(self.instrument, "the connection was closed")

    def _exchange(self, text: str, within: float | None, read: Callable[[Deadline], bytes] | None) -> bytes:
        """One exchange, reported whether it succeeds or not."""
        with self._lock:
            message = program_message(self.instrument, text)
            self._refuse_closed()
            if not self._making_safe:
                self.check()
            if self._dirty:
                self.recover()
            self._keep_pace()
            deadline = Deadline(self.clock, self.within if within is None else within)
            try:
                return self._send(message, deadline, read)
            except NoReplyError as error:
                if not self._written or self._making_safe:
                    raise
                raise NoReplyError(self.instrument, error.text + self._why(deadline.seconds)) from error.__cause__

    def _why(self, seconds: float) -> str:
        """What the instrument itself says about a reply that did not come; the link stays dirty."""
        if self.errors is None:
            return ""
        owed = self._patience + min(seconds, EXPLAINING)  # two replies may be on their way when this fails as well
        try:
            self._clear()
            return cause_of(self._empty_queue(self.errors, MOST_ERRORS, lambda text: self._ask_anyway(text, seconds)))
        except ReplyError:
            return "; something came afterwards: it may need longer than that"
        except LinkError:
            return f"; nor does it answer {self.errors}: is it switched on and plugged in, and is this its address?"
        finally:
            self._patience = owed

    def _send(self, message: bytes, deadline: Deadline, read: Callable[[Deadline], bytes] | None) -> bytes:
        """Write, and read if there is something to read; the link is dirty until both are done."""
        started = self.clock.now()
        was_dirty, self._dirty = self._dirty, True
        received: bytes | None = None
        self._written = False
        try:
            self._session.write(message, deadline.left())
            self._written = True
            if read is not None:
                received = read(deadline)
            else:
                self._session.confirm(deadline.left())
        except BaseException as error:
            self._patience = max(self.within, deadline.seconds)
            asked, came = shown(message, LONGEST_QUOTE), shown(self._session.partial, LONGEST_QUOTE)
            told = in_words(self.instrument, error, asked, came, deadline.seconds, self._written)
            if isinstance(error, InstrumentReportedError):
                self._dirty = was_dirty  # refused and said so: both sides are in step
            self._report(started, message, self._session.partial or None, str(told) or type(told).__name__)
            if told is error:
                raise
            raise told from error
        self._dirty = was_dirty
        self._report(started, message, received, None)
        return received or b""

    def _report(self, started: float, sent: bytes, received: bytes | None, error: str | None) -> None:
        ended = self._quiet_since = self.clock.now()
        self.on_exchange(Exchange(self.instrument, started, sent, received, ended - started, error))

    def _keep_pace(self) -> None:
        if self.pace > 0:
            wait = self._quiet_since + self.pace - self.clock.now()
            if wait > 0:
                self.clock.sleep(wait + PACE_MARGIN)

    def _read_line(self, deadline: Deadline) -> bytes:
        return self._session.read_message(deadline.left())

    def _read_length(self, length: int, deadline: Deadline) -> bytes:
        """A reply of a known number of bytes; more than those may follow on some revisions, and are no part of it."""
        if not self._session.has_end:
            return self._session.read_exact(length, deadline.left())
        message = self._session.read_message(deadline.left())
        if len(message) < length:
            raise ReplyError(self.instrument, f"only {len(message)} of {length} bytes came")
        return message[:length]

    def _read_block(self, deadline: Deadline) -> bytes:
        reader = BlockReader()
        while not reader.complete:
            if reader.indefinite and not self._session.has_end:
                raise ReplyError(self.instrument, "a block without a length cannot be read where nothing marks its end")
            if reader.indefinite:  # reading ate the newline that ends the message, which the block's reader wants
                reader.feed(self._session.read_message(deadline.left()) + b"\n", end=True)
            else:
                reader.feed(self._session.read_exact(reader.wanted, deadline.left()))
        for _ in range(self.block_ends):
            self._session.finish_message(deadline.left())
        return reader.data

    def _clear(self) -> None:
        """Device clear; once more where it fails, since one transport stumbles over an unread reply the first time."""
        try:
            self._session.clear()
        except (LinkLostError, NoReplyError):
            raise
        except LinkError:
            self._session.clear()

    def _reopen(self) -> None:
        try:
            self._session.reopen()
            self.reopenings += 1
            self._synchronise()
            self._refuse_another()
        except LinkError as error:
            raise type(error)(
                self.instrument, f"out of step after an error, and neither clearing nor reopening helped: {error.text}"
            ) from error

    def _refuse_another(self) -> None:
        """After opening again the address may be somebody else's: a port that was numbered anew, a host that moved."""
        if self._known is not None and (answer := self._ask_anyway(self._known[0])) != self._known[1]:
            raise LinkLostError(self.instrument, f"another instrument answers there now: '{answer[:60]}'")

    def _synchronise(self) -> None:
        """Drop everything late. Two different tokens must come back, the second right behind its command."""
        if not self.scpi:
            self.clock.sleep(self._patience)  # without a token, late answers can only be waited out
            self._session.clear()
            return
        first, second = (tokens := self._tokens).pair()
        tokens.found(self._pass_token(f"*ESE?;*ESE {first};*ESE?", first), second)
        self._pass_token(f"*ESE {second};*ESE?", second)
        self._send(f"*ESE {tokens.own}".encode("ascii"), Deadline(self.clock, self.within), None)
        tokens.restored()
        if self.errors:
            self._empty_queue(self.errors, MOST_ERRORS, self._ask_anyway)

    def _ask_anyway(self, text: str, most: float | None = None) -> str:
        """A query of the recovery itself, while the link is still dirty."""
        self._keep_pace()
        deadline = Deadline(self.clock, self.within if most is None else min(most, EXPLAINING))
        return self._send(text.encode("ascii"), deadline, self._read_line).decode("latin-1").rstrip("\r\n")

    def _pass_token(self, text: str, token: int) -> int:
        """Send `text` and read until `token` comes back; returns the number that came just before it."""
        self._keep_pace()
        before: list[int] = []

        def read(deadline: Deadline) -> bytes:
            told, message = read_to(self._session, token, deadline)
            before.append(told)
            return message

        self._send(text.encode("ascii"), Deadline(self.clock, self._patience), read)
        return before[0]
