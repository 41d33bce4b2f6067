"""What our replacements for sessions of the VISA back end share: one deadline a call, and a buffer that survives it.

The stock sessions lose or mix up what comes around a time-out and count their time-out from byte to byte. It imports
the back end at the top and is therefore itself imported late. It must not know messages, commands or transports.
"""

from __future__ import annotations

from pyvisa.constants import BufferOperation, ResourceAttribute, StatusCode
from pyvisa_py.sessions import Session

from autobench.clock import RealClock
from autobench.instruments.deadline import Deadline

OPEN_SECONDS = 10.0
SMALLEST_READ = 64 * 1024
LARGEST_READ = 1024 * 1024
LARGE = 64 * 1024  # bytes of one read from which a copy more is worth avoiding
FOR_EVER = 1e6  # seconds (eleven days); stands for an infinite time-out
CLOCK = RealClock()  # a real transport lives in real time, whatever clock the run has


class BufferedSession(Session):  # type: ignore[misc]  # the back end publishes no types
    """Reads through a buffer; a transport says how bytes arrive in `receive`."""

    received: bytearray  # has arrived and was not read yet
    searched: int  # how much of it is known to hold no termination character

    def receive(self, wanted: int, deadline: Deadline) -> StatusCode:
        """Append what comes to `received`: one receive of about `wanted` bytes, at most to the deadline."""
        raise NotImplementedError

    def allow(self, seconds: float) -> None:
        """From now on so many seconds a call: the time-out attribute without the way through all of VISA."""
        self.timeout: float | None = seconds

    def deadline(self) -> Deadline:
        """The deadline of a call that begins now."""
        return Deadline(CLOCK, FOR_EVER if self.timeout is None else self.timeout)

    def empty(self) -> None:
        """Start with nothing received."""
        self.received = bytearray()
        self.searched = 0

    def read(self, count: int) -> tuple[bytes | bytearray, StatusCode]:
        """Up to `count` bytes, or up to the termination character where that is on; a time-out loses nothing."""
        deadline = self.deadline()
        ending = self.attrs[ResourceAttribute.termchar] if self.attrs[ResourceAttribute.termchar_enabled] else None
        if ending is None and count >= LARGE:
            return self.read_large(count, deadline)
        while True:
            expired = deadline.left() == 0.0  # then this look is the last: a peer that never stops cannot hold us
            found = -1 if ending is None else self.received.find(ending, self.searched, count)
            if found >= 0:
                return self.take(found + 1), StatusCode.success_termination_character_read
            if len(self.received) >= count:
                return self.take(count), StatusCode.success_max_count_read
            self.searched = len(self.received) if ending is not None else 0
            status = self.receive(count - len(self.received), deadline)
            if status is not StatusCode.success or expired:
                return b"", status if status is not StatusCode.success else StatusCode.error_timeout

    def read_large(self, count: int, deadline: Deadline) -> tuple[bytes | bytearray, StatusCode]:
        """Exactly `count` bytes without a copy through the buffer; after a time-out what has come is in it again."""
        target = bytearray(count)
        begun = self.take(min(count, len(self.received)))
        place = len(begun)
        target[:place] = begun
        with memoryview(target) as view:
            while place < count:
                expired = deadline.left() == 0.0
                came, status = self.receive_into(view[place:], deadline)
                place += came
                if place < count and (status is not StatusCode.success or expired):
                    self.received[:0] = view[:place]
                    return b"", status if status is not StatusCode.success else StatusCode.error_timeout
        return target, StatusCode.success_max_count_read  # a bytearray, which nobody else holds

    def receive_into(self, view: memoryview, deadline: Deadline) -> tuple[int, StatusCode]:
        """One receive into `view`: how many bytes came. A transport that can do it without a copy overrides this."""
        status = self.receive(len(view), deadline)
        came = self.take(min(len(view), len(self.received)))
        view[: len(came)] = came
        return len(came), status

    def clear(self) -> StatusCode:
        """Drop everything that has arrived; a peer that keeps sending cannot hold this longer than the time-out."""
        deadline = Deadline(CLOCK, OPEN_SECONDS if self.timeout is None else self.timeout)
        while True:
            self.take(len(self.received))
            status = self.receive(LARGEST_READ, Deadline(CLOCK, 0.0))
            if status is StatusCode.error_timeout:
                return StatusCode.success
            if status is not StatusCode.success or deadline.left() == 0.0:
                return status if status is not StatusCode.success else StatusCode.error_timeout

    def flush(self, mask: BufferOperation) -> StatusCode:
        """Discarding the read buffer is a `clear`; there is no write buffer to flush."""
        if mask & BufferOperation.discard_read_buffer:
            return self.clear()
        if mask & (BufferOperation.discard_read_buffer_no_io | BufferOperation.discard_receive_buffer):
            self.take(len(self.received))
        return StatusCode.success

    def take(self, count: int) -> bytes:
        """The first `count` bytes of the buffer, removed from it."""
        with memoryview(self.received) as view:
            taken = bytes(view[:count])
        del self.received[:count]
        self.searched = 0
        return taken
