"""The raw-socket session (`TCPIP::host::port::SOCKET`) that replaces the VISA back end's own one.

The stock session stalls on Nagle's algorithm, spins on a dead peer, has no total deadline and opens a refused port
without complaint. This one is registered in the back end's own registry by `register()`. It imports the back end at the
top and is therefore itself imported late, by `autobench.instruments.visa` only. It must not know messages or commands.
"""

from __future__ import annotations

import socket
from typing import Any

from pyvisa.attributes import AttributesByID
from pyvisa.constants import BufferOperation, InterfaceType, ResourceAttribute, StatusCode
from pyvisa_py import tcpip  # registers the stock session first, so that it cannot overwrite ours later
from pyvisa_py.sessions import Session, UnknownAttribute

from autobench.clock import RealClock
from autobench.instruments.deadline import Deadline

OPEN_SECONDS = 10.0
SMALLEST_READ = 64 * 1024
LARGEST_READ = 1024 * 1024
FOR_EVER = 1e6  # seconds (eleven days); stands for an infinite time-out
CLOCK = RealClock()  # a real transport lives in real time, whatever clock the run has


class DeadlineSocketSession(Session):  # type: ignore[misc]  # the back end publishes no types
    """A raw socket with one deadline a call, a receive buffer kept over time-outs, and an end when the peer is gone."""

    interface: socket.socket | None
    received: bytearray  # has arrived and was not read yet

    @staticmethod
    def list_resources() -> list[str]:
        """Nothing: a raw socket cannot be found without asking the whole network."""
        return []

    def after_parsing(self) -> None:
        """Connect. Raises `OSError` when the port is refused or nothing answers within the open time-out."""
        self.received = bytearray()
        self._searched = 0  # how much of `received` is known to hold no termination character
        within = self.open_timeout / 1000.0 if self.open_timeout else OPEN_SECONDS
        self.interface = socket.create_connection((self.parsed.host_address, int(self.parsed.port)), timeout=within)
        self.interface.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.interface.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        self.attrs[ResourceAttribute.tcpip_address] = self.parsed.host_address
        self.attrs[ResourceAttribute.tcpip_hostname] = ""
        self.attrs[ResourceAttribute.tcpip_port] = int(self.parsed.port)
        self.attrs[ResourceAttribute.interface_number] = self.parsed.board
        self.attrs[ResourceAttribute.tcpip_nodelay] = True
        self.attrs[ResourceAttribute.tcpip_keepalive] = True
        self.attrs[ResourceAttribute.suppress_end_enabled] = True
        for attribute in (ResourceAttribute.termchar, ResourceAttribute.termchar_enabled):
            self.attrs[attribute] = AttributesByID[attribute].default

    def read(self, count: int) -> tuple[bytes, StatusCode]:
        """Up to `count` bytes, or up to the termination character where that is on; a time-out loses nothing."""
        deadline = Deadline(CLOCK, FOR_EVER if self.timeout is None else self.timeout)
        ending = self.attrs[ResourceAttribute.termchar] if self.attrs[ResourceAttribute.termchar_enabled] else None
        while True:
            expired = deadline.left() == 0.0  # then this look is the last: a peer that never stops cannot hold us
            found = -1 if ending is None else self.received.find(ending, self._searched, count)
            if found >= 0:
                return self._take(found + 1), StatusCode.success_termination_character_read
            if len(self.received) >= count:
                return self._take(count), StatusCode.success_max_count_read
            self._searched = len(self.received) if ending is not None else 0
            status = self._receive(count - len(self.received), deadline)
            if status is not StatusCode.success or expired:
                return b"", status if status is not StatusCode.success else StatusCode.error_timeout

    def write(self, data: bytes) -> tuple[int, StatusCode]:
        """Send all of `data` before the time-out, or say how much went."""
        if self.interface is None:
            return 0, StatusCode.error_connection_lost
        deadline = Deadline(CLOCK, FOR_EVER if self.timeout is None else self.timeout)
        rest = memoryview(data)
        while rest:
            try:
                self.interface.settimeout(deadline.left())
                rest = rest[self.interface.send(rest) :]
            except (TimeoutError, BlockingIOError):
                return len(data) - len(rest), StatusCode.error_timeout
            except OSError:
                return len(data) - len(rest), StatusCode.error_connection_lost
        return len(data), StatusCode.success

    def clear(self) -> StatusCode:
        """Drop everything that has arrived; a peer that keeps sending cannot hold this longer than the time-out."""
        deadline = Deadline(CLOCK, OPEN_SECONDS if self.timeout is None else self.timeout)
        while True:
            self._take(len(self.received))
            status = self._receive(LARGEST_READ, Deadline(CLOCK, 0.0))
            if status is StatusCode.error_timeout:
                return StatusCode.success
            if status is not StatusCode.success or deadline.left() == 0.0:
                return status if status is not StatusCode.success else StatusCode.error_timeout

    def flush(self, mask: BufferOperation) -> StatusCode:
        """Discarding the read buffer is a `clear`; there is no write buffer to flush."""
        if mask & BufferOperation.discard_read_buffer:
            return self.clear()
        if mask & (BufferOperation.discard_read_buffer_no_io | BufferOperation.discard_receive_buffer):
            self._take(len(self.received))
        return StatusCode.success

    def abort(self) -> None:
        """Break off a read that blocks in another thread: it ends at once as a lost connection."""
        if self.interface is not None:
            try:
                self.interface.shutdown(socket.SHUT_RDWR)
            except OSError:
                return  # already gone, which is what was wanted

    def close(self) -> StatusCode:
        """Close the socket, also for whoever holds a duplicate of it; may be called twice."""
        if self.interface is not None:
            self.abort()  # an instrument that takes one connection must see this one end before the next can be opened
            self.interface.close()
            self.interface = None
        return StatusCode.success

    def _receive(self, wanted: int, deadline: Deadline) -> StatusCode:
        """Append what comes to the buffer: one receive, at most to the deadline."""
        if self.interface is None:
            return StatusCode.error_connection_lost
        try:
            self.interface.settimeout(deadline.left())  # zero: take what is there, do not wait
            data = self.interface.recv(max(SMALLEST_READ, min(wanted, LARGEST_READ)))
        except (TimeoutError, BlockingIOError):
            return StatusCode.error_timeout
        except OSError:
            return StatusCode.error_connection_lost
        if not data:
            return StatusCode.error_connection_lost
        self.received += data
        return StatusCode.success

    def _take(self, count: int) -> bytes:
        """The first `count` bytes of the buffer, removed from it."""
        with memoryview(self.received) as view:
            taken = bytes(view[:count])
        del self.received[:count]
        self._searched = 0
        return taken

    def _get_attribute(self, attribute: ResourceAttribute) -> tuple[Any, StatusCode]:
        raise UnknownAttribute(attribute)

    def _set_attribute(self, attribute: ResourceAttribute, attribute_state: Any) -> StatusCode:  # noqa: ARG002
        raise UnknownAttribute(attribute)


def register() -> None:
    """Put this session into the back end's registry in place of the stock one; may be called any number of times."""
    stock = Session.get_session_class(InterfaceType.tcpip, "SOCKET")
    if stock is tcpip.TCPIPSocketSession:
        Session.register(InterfaceType.tcpip, "SOCKET")(DeadlineSocketSession)
