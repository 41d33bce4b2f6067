"""The raw-socket session (`TCPIP::host::port::SOCKET`) that replaces the VISA back end's own one.

The stock session stalls on Nagle's algorithm, spins on a dead peer, has no total deadline and opens a refused port
without complaint. This one is registered in the back end's own registry by `register()`. It imports the back end at the
top and is therefore itself imported late, by `autobench.instruments.visa` only. It must not know messages or commands.
"""

from __future__ import annotations

import socket
from typing import Any

from pyvisa.attributes import AttributesByID
from pyvisa.constants import InterfaceType, ResourceAttribute, StatusCode
from pyvisa_py import tcpip  # registers the stock session first, so that it cannot overwrite ours later
from pyvisa_py.sessions import Session, UnknownAttribute

from autobench.instruments.buffered_session import LARGEST_READ, OPEN_SECONDS, SMALLEST_READ, BufferedSession
from autobench.instruments.deadline import Deadline


class DeadlineSocketSession(BufferedSession):
    """A raw socket with one deadline a call, a receive buffer kept over time-outs, and an end when the peer is gone."""

    interface: socket.socket | None

    @staticmethod
    def list_resources() -> list[str]:
        """Nothing: a raw socket cannot be found without asking the whole network."""
        return []

    def after_parsing(self) -> None:
        """Connect. Raises `OSError` when the port is refused or nothing answers within the open time-out."""
        self.empty()
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

    def write(self, data: bytes) -> tuple[int, StatusCode]:
        """Send all of `data` before the time-out, or say how much went."""
        if self.interface is None:
            return 0, StatusCode.error_connection_lost
        deadline = self.deadline()
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

    def receive(self, wanted: int, deadline: Deadline) -> StatusCode:
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

    def receive_into(self, view: memoryview, deadline: Deadline) -> tuple[int, StatusCode]:
        if self.interface is None:
            return 0, StatusCode.error_connection_lost
        try:
            self.interface.settimeout(deadline.left())
            count = self.interface.recv_into(view)
        except (TimeoutError, BlockingIOError):
            return 0, StatusCode.error_timeout
        except OSError:
            return 0, StatusCode.error_connection_lost
        return count, StatusCode.success if count else StatusCode.error_connection_lost

    def _get_attribute(self, attribute: ResourceAttribute) -> tuple[Any, StatusCode]:
        raise UnknownAttribute(attribute)

    def _set_attribute(self, attribute: ResourceAttribute, attribute_state: Any) -> StatusCode:  # noqa: ARG002
        raise UnknownAttribute(attribute)


def register() -> None:
    """Put this session into the back end's registry in place of the stock one; may be called any number of times."""
    stock = Session.get_session_class(InterfaceType.tcpip, "SOCKET")
    if stock is tcpip.TCPIPSocketSession:
        Session.register(InterfaceType.tcpip, "SOCKET")(DeadlineSocketSession)
