"""Sessions over VISA: opens an address and moves whole messages under a total deadline.

The only module of the program, with its socket session and the table of foreign errors, that knows VISA; the library
is imported inside functions, since it takes longer to load than all the rest. It must not know commands, retry anything
or decide how to recover: that is the link's work. It never lists resources, because listing broadcasts on the network.
"""

from __future__ import annotations

import contextlib
import math
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from autobench.clock import Clock, RealClock
from autobench.documents.serial_line import SerialLine
from autobench.errors import LinkError, LinkLostError, NoReplyError, ReplyError
from autobench.instruments.back_end import open_resource, serial_interface
from autobench.instruments.deadline import Deadline
from autobench.instruments.foreign_errors import ForeignErrors
from autobench.instruments.hislip_deadline import closing_half_open, hold_to_deadline

if TYPE_CHECKING:
    from pyvisa.highlevel import VisaLibraryBase as VisaLibraryBase
    from pyvisa.resources import Resource

CHUNK = 256 * 1024  # one back end clears its whole chunk buffer at every read, so larger is slower for short replies
LARGEST_PIECE = 16 * 1024 * 1024  # of a message whose length is known: read in as few pieces as memory allows
LINE_END_SECONDS = 0.2  # how long the line end after a block may keep us waiting
CLEAR_SECONDS = 1.0  # how long a device clear or a serial poll may take
LONGEST_MS = 0xFFFFFFFE  # one more means "for ever" in VISA
OPENING = threading.Lock()  # the back end's tables are not made for opening from several threads
SLICE = 0.1  # s of a wait after which the run shows that it is alive
# Completion codes (VPP-4.3, annex B): VI_ERROR_TMO, VI_SUCCESS, VI_SUCCESS_TERM_CHAR, VI_SUCCESS_MAX_CNT
TIMED_OUT, SUCCESS, AT_TERMINATION_CHARACTER, MORE_MAY_FOLLOW = -1073807339, 0, 0x3FFF0005, 0x3FFF0006


def unwatched(extra: float) -> None:
    """The renewal of a session that nobody guards."""


def open_session(
    address: str,
    *,
    instrument: str,
    library: VisaLibraryBase | None = None,
    send_end: str = "\n",
    receive_end: str = "\n",
    silence: float = 0.0,
    timeout: float = 10.0,
    renew: Callable[[float], None] = unwatched,
    line: SerialLine | None = None,
) -> VisaSession:
    """Open `address` for the instrument of that name in the bench file.

    `library` is an in-process VISA library; without it the pure Python back end is used. A library that keeps its own
    time offers it as `clock`. `send_end` and `receive_end` count only where the transport has no end of message of its
    own; where `receive_end` is empty there, `silence` seconds without a byte end a reply. `timeout` is for opening (s).
    `renew` is called in every slice of a wait for a reply, with the seconds that may pass until the next call beyond a
    slice (0 but for transports whose reads cannot be sliced); it must not raise. `line` is how a serial line is set.
    Raises `LinkLostError` where nothing answers, `LinkError` for an address that cannot be understood.
    """
    clock: Clock = getattr(library, "clock", None) or RealClock()
    ends = (send_end.encode("ascii"), receive_end.encode("ascii"))
    session = VisaSession(address, instrument, library, ends, clock, silence, renew, line)
    session.open(timeout)
    return session


class VisaSession:
    """One open VISA resource; keeps the `autobench.instruments.session.Session` port."""

    def __init__(
        self,
        address: str,
        instrument: str,
        library: VisaLibraryBase | None,
        ends: tuple[bytes, bytes],
        clock: Clock,
        silence: float = 0.0,
        renew: Callable[[float], None] = unwatched,
        line: SerialLine | None = None,
    ) -> None:
        self.address = address
        self.instrument = instrument
        self.partial = b""
        self._library = library
        self._send_end, self._receive_end = ends
        self._clock = clock
        self._renew = renew
        self._silence = silence
        self._line = line
        self._resource: Resource | None = None
        self._handle: Any = None
        self._has_end = False  # whether the transport marks the end of a message: all do but sockets and serial lines
        self._serial = False
        self._ended = False  # END came with the last byte read
        self._stops: bool | None = None  # whether the termination character is on; None: not known
        self._limited_to: int | None = None  # ms, the time-out that is set; None: not known
        self._limited_by = math.nan  # s, by which it was set
        self._held = False  # whether setting the time-out is what begins it, so that it is set before each call
        self._open_seconds = 10.0
        self._quiet = contextlib.ExitStack()
        self._sliced = False  # whether a read may end at any time without losing what came
        self._allow: Callable[[float], None] | None = None  # how one of our own sessions is told its time-out

    def open(self, timeout: float) -> None:
        """Open the resource; see `open_session`."""
        from pyvisa.constants import StatusCode

        self._open_seconds = timeout
        try:
            with ForeignErrors(self.instrument), OPENING, closing_half_open():
                resource = open_resource(self.address, self._library, timeout, self._line)
                self._handle = resource.session
                self._serial = resource.interface_type == serial_interface()
                self._has_end = not self._serial and resource.resource_class != "SOCKET"
        except LinkError as error:
            raise type(error)(self.instrument, f"cannot open {self.address}: {error.text}") from error
        self._resource = resource
        inner = self._inner()
        self._held = hold_to_deadline(inner)
        self._sliced = hasattr(inner, "received")  # our socket and serial sessions keep what came over a time-out
        self._allow = getattr(inner, "allow", None)
        self._quiet.enter_context(resource.ignore_warning(StatusCode(MORE_MAY_FOLLOW)))  # which is no warning to us
        self._stops = self._limited_to = None
        self._ended = False

    @property
    def has_end(self) -> bool:
        """Whether the transport marks the end of a message itself."""
        return self._has_end

    def write(self, message: bytes, within: float) -> None:
        self.partial = b""
        self._ended = False
        resource = self._open_resource()
        if not self._has_end and not self._receive_end:
            self.clear()  # nothing tells what is left of an earlier reply from the one that comes now
        with ForeignErrors(self.instrument):
            self._limit(resource, within)
            resource.visalib.write(self._handle, message if self._has_end else message + self._send_end)

    def read_message(self, within: float) -> bytes:
        deadline = Deadline(self._clock, within)
        if not self._has_end and not self._receive_end:
            return self._read_to_silence(deadline)
        message = bytearray()
        stopping = not self._has_end
        while True:
            data, stopped = self._read(CHUNK, deadline, stopping, message)
            message += data
            if self._ended:
                if not self._receive_end:  # the reply may be a raw byte, and that byte a line end
                    return bytes(message)
                end = self._receive_end if message.endswith(self._receive_end) else b"\n"
                return bytes(message.removesuffix(end))
            if stopped and message.endswith(self._receive_end):
                return bytes(message.removesuffix(self._receive_end))

    def _read_to_silence(self, deadline: Deadline) -> bytes:
        """One reply that only a silence ends; bytes that never stop end at the deadline, as no reply."""
        if not self._silence:
            raise LinkError(
                self.instrument, "its replies have neither a line end nor an END flag, and no silence ends them"
            )
        message = bytearray(self._read(1, deadline, False, b"")[0])
        while deadline.left() > self._silence:
            try:
                message += self._read(1, Deadline(self._clock, self._silence), False, message)[0]
            except NoReplyError:
                self.partial = b""
                return bytes(message)
        self.partial = bytes(message)
        raise NoReplyError(self.instrument, "it does not stop sending")

    def confirm(self, within: float) -> None:
        """Nothing confirms a command here."""

    def read_exact(self, count: int, within: float) -> bytes:
        deadline = Deadline(self._clock, within)
        first, _ = self._read(min(count, LARGEST_PIECE), deadline, False, b"") if count else (b"", False)
        if len(first) == count:
            return first
        message = bytearray(first)
        while len(message) < count:
            if self._ended:
                self.partial = bytes(message)
                raise ReplyError(self.instrument, f"the message ended after {len(message)} of {count} bytes")
            data, _ = self._read(min(count - len(message), LARGEST_PIECE), deadline, False, message)
            message += data
        return bytes(message)

    def finish_message(self, within: float) -> bytes:
        if self._ended or not (self._has_end or self._receive_end):
            return b""
        brief = min(within, LINE_END_SECONDS)
        try:
            rest = self.read_message(brief) if self._has_end else self.read_exact(len(self._receive_end), brief)
        except NoReplyError:
            if not self.partial:
                return b""
            rest = self.partial
        if rest not in (b"", self._receive_end):
            raise ReplyError(self.instrument, f"{len(rest)} bytes follow where the message should end: {rest[:20]!r}")
        return rest

    def clear(self) -> None:
        resource = self._open_resource()
        self._ended = False
        with ForeignErrors(self.instrument):
            from pyvisa.constants import BufferOperation

            self._limit(resource, CLEAR_SECONDS)
            if self._serial:  # it has no device clear
                resource.visalib.flush(self._handle, BufferOperation.discard_read_buffer)
            else:
                resource.clear()

    def status_byte(self) -> int | None:
        resource = self._open_resource()
        with ForeignErrors(self.instrument):
            from pyvisa.constants import StatusCode
            from pyvisa.errors import VisaIOError

            self._limit(resource, CLEAR_SECONDS)
            try:
                return int(resource.visalib.read_stb(self._handle)[0])
            except VisaIOError as error:
                if error.error_code == StatusCode.error_nonsupported_operation:
                    return None
                raise

    def descriptor(self) -> int | None:
        """That of a raw socket or a serial line; every other transport wraps its messages."""
        interface = getattr(self._inner(), "interface", None)
        if interface is None or self._has_end:
            return None
        try:
            return int(interface.fileno())
        except (AttributeError, OSError, ValueError):
            return None

    def abort(self) -> None:
        abort = getattr(self._inner(), "abort", None)
        if abort is not None:
            abort()

    def reopen(self) -> None:
        self.close()
        self.open(self._open_seconds)

    def close(self) -> None:
        resource, self._resource = self._resource, None
        if resource is None:
            return
        self._quiet.close()
        # A connection that is already broken may fail to close as well; there is nothing more to be lost.
        with contextlib.suppress(LinkError), ForeignErrors(self.instrument), OPENING:
            resource.close()
        sessions = getattr(resource.visalib, "sessions", None)
        if sessions is not None:
            sessions.pop(self._handle, None)  # the back end never prunes its table itself

    def _read(self, count: int, deadline: Deadline, stopping: bool, before: bytes | bytearray) -> tuple[bytes, bool]:
        """One read of up to `count` bytes, and whether the termination character ended it.

        `before` is what came of the message already: it is kept as `partial` if this read fails.
        """
        resource = self._open_resource()
        try:
            with ForeignErrors(self.instrument):
                self._stop_at_line_end(resource, stopping)
                data, status = self._read_sliced(resource, count, deadline)
        except LinkError:
            self.partial = bytes(before) + bytes(getattr(self._inner(), "received", b""))
            raise
        stopped = status == AT_TERMINATION_CHARACTER
        # One transport says this at the END flag, whether a termination character was asked for or not.
        self._ended = self._has_end and (status == SUCCESS or (stopped and not stopping))
        # A long record is handed on as it came, since a copy costs as much as reading it; nobody else holds it.
        return data if len(data) >= CHUNK else bytes(data), stopped

    def _read_sliced(self, resource: Resource, count: int, deadline: Deadline) -> tuple[bytes, Any]:
        """One read in slices, after each of which the run shows that it is alive; whole where they would lose data."""
        while True:
            left = deadline.left()
            part = min(left, SLICE) if self._sliced else left
            self._renew(0.0 if self._sliced else left)
            self._limit(resource, part)
            try:
                return resource.visalib.read(self._handle, count)
            except Exception as error:
                if part == left or getattr(error, "error_code", None) != TIMED_OUT:
                    raise

    def _stop_at_line_end(self, resource: Resource, stopping: bool) -> None:
        """Switch the termination character on or off; off for blocks, whose data may hold it."""
        if self._stops is stopping:
            return
        from pyvisa.constants import ResourceAttribute

        if stopping:
            resource.set_visa_attribute(ResourceAttribute.termchar, self._receive_end[-1])
        resource.set_visa_attribute(ResourceAttribute.termchar_enabled, stopping)
        self._stops = stopping

    def _limit(self, resource: Resource, seconds: float) -> None:
        """Set the time-out of the next call; VISA counts in whole milliseconds and takes zero for 'at once'."""
        if self._allow is not None:
            self._allow(seconds)
            return
        if seconds == self._limited_by and not self._held and self._limited_to is not None:
            return
        self._limited_by = seconds
        milliseconds = math.ceil(round(seconds * 1000.0, 6))  # rounded first, since 0.3 s is a little more than 300 ms
        if self._held or milliseconds != self._limited_to:
            from pyvisa.constants import ResourceAttribute

            resource.set_visa_attribute(ResourceAttribute.timeout_value, min(milliseconds, LONGEST_MS))
            self._limited_to = milliseconds

    def _open_resource(self) -> Resource:
        if self._resource is None:
            raise LinkLostError(self.instrument, "the connection is closed")
        return self._resource

    def _inner(self) -> object:
        """The back end's own session object, where it has one."""
        if self._resource is None:
            return None
        sessions = getattr(self._resource.visalib, "sessions", {})
        return sessions.get(self._handle)
