"""The VXI-11 session (`TCPIP::host::inst0::INSTR`) that replaces the back end's own one, over the same remote calls.

The stock one spins when the peer is gone, counts its time-outs anew with every piece, loses what a time-out cuts and
tells a time-out of the connection as a fault. It imports the back end at the top and is therefore itself imported late,
by `autobench.instruments.visa` only. It must not know messages or commands.
"""

from __future__ import annotations

import socket
from typing import Any

from pyvisa.constants import InterfaceType, ResourceAttribute, StatusCode
from pyvisa.rname import parse_resource_name
from pyvisa_py import tcpip
from pyvisa_py.protocols import rpc, vxi11
from pyvisa_py.sessions import Session

from autobench.clock import RealClock
from autobench.errors import ProtocolError
from autobench.instruments.deadline import Deadline
from autobench.protocols.remote_calls import RecordReader, record

GRACE = 0.5  # s; the instrument itself counts the time-out of a read, and says so over the network
OTHER_CALLS = 4.0  # s; for making and giving up a link
MOST_RECEIVED = 1024 * 1024
FOR_EVER = 1e6  # seconds; stands for an infinite time-out
CLOCK = RealClock()  # a real transport lives in real time, whatever clock the run has


class DeadlineCoreClient(tcpip.Vxi11CoreClient):  # type: ignore[misc]  # the back end publishes no types
    """The back end's client of the core channel with one deadline a call; a reply that comes late is known by its
    number and dropped."""

    sock: socket.socket
    patience = OTHER_CALLS
    timed_out = False  # whether the last call did; the back end tells that as a fault of the instrument

    def connect(self, timeout: float = OTHER_CALLS) -> None:
        """Connect. Raises `OSError`; the back end's own way takes a refused port for an open one."""
        self.sock = socket.create_connection((self.host, self.port), timeout=timeout)
        self.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.sock.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        self._reader = RecordReader()

    def do_call(self) -> None:
        """Send the call that was packed and wait for its reply.

        Raises `TimeoutError`, another `OSError` where the connection is gone, `RPCError` for what cannot be understood.
        """
        deadline, self.timed_out = Deadline(CLOCK, self.patience), True
        self._limit(deadline)
        self.sock.sendall(record(self.packer.get_buf()))
        while True:
            for reply in self._received(deadline):
                self.unpacker.reset(reply)
                number, _ = self.unpacker.unpack_replyheader()
                if number == self.lastxid:
                    self.timed_out = False
                    return

    def _received(self, deadline: Deadline) -> list[bytes]:
        """The replies that are whole after one more receive."""
        self._limit(deadline)
        data = self.sock.recv(MOST_RECEIVED)
        if not data:
            raise ConnectionResetError("the instrument closed the connection")
        try:
            return self._reader.feed(data)
        except ProtocolError as error:
            raise rpc.RPCError(str(error)) from error

    def _limit(self, deadline: Deadline) -> None:
        left = deadline.left()
        if left <= 0.0:
            raise TimeoutError("the deadline of the call has passed")
        self.sock.settimeout(left)


class DeadlineVxi11Session(tcpip.TCPIPInstrVxi11):  # type: ignore[misc]
    """VXI-11 with one deadline a message, and an end when the peer is gone."""

    interface: DeadlineCoreClient | None
    timeout: float | None

    @staticmethod
    def list_resources() -> list[str]:
        """Nothing: asking for them would be asking the whole network."""
        return []

    def after_parsing(self) -> None:
        """Connect and take up a link. Raises `OSError` where nothing answers, `RPCError` where the link is refused."""
        host, _, port = self.parsed.host_address.partition(",")
        self.interface = DeadlineCoreClient(host, int(port) if port else None, self.open_timeout)
        try:
            self._take_up_link()
        except BaseException:
            self.interface.close()
            raise

    def _take_up_link(self) -> None:
        interface = self._interface()
        error, link, _, most = interface.create_link(1, 0, self.lock_timeout, self.parsed.lan_device_name)
        if interface.timed_out:
            raise TimeoutError("no link was given in time")
        if error:
            raise rpc.RPCError(f"the instrument gives no link (VXI-11 error {int(error)})")
        self.link = link
        self.max_recv_size = most or 1024  # a server that does not say must take so much (VXI-11, B.6.3)
        self.keepalive = True
        self.attrs[ResourceAttribute.tcpip_is_hislip] = False
        self.attrs[ResourceAttribute.tcpip_address] = self.parsed.host_address
        self.attrs[ResourceAttribute.tcpip_hostname] = ""
        self.attrs[ResourceAttribute.tcpip_device_name] = self.parsed.lan_device_name
        self.attrs[ResourceAttribute.send_end_enabled] = True
        self.attrs[ResourceAttribute.termchar] = ord("\n")
        self.attrs[ResourceAttribute.termchar_enabled] = False

    def allow(self, seconds: float) -> None:
        """From now on so many seconds a call: the time-out attribute without the way through all of VISA."""
        self.timeout = seconds

    def write(self, data: bytes) -> tuple[int, StatusCode]:
        """Send all of `data` before the time-out, END with its last byte, or say how much went."""
        deadline, place = self._deadline(), 0
        while place < len(data):
            piece = data[place : place + self.max_recv_size]
            flags = vxi11.OP_FLAG_END if place + len(piece) == len(data) else 0
            left = self._allow(deadline)
            error, size = self._interface().device_write(self.link, left, self.lock_timeout, flags, piece)
            if error or size < len(piece):
                return place, self._status(error)
            place += size
        return place, StatusCode.success

    def read(self, count: int) -> tuple[bytes, StatusCode]:
        """Up to `count` bytes, or up to END or the termination character where that is on."""
        deadline, data = self._deadline(), b""
        stops = bool(self.attrs[ResourceAttribute.termchar_enabled])
        flags = vxi11.OP_FLAG_TERMCHAR_SET if stops else 0
        character = int(self.attrs[ResourceAttribute.termchar]) if stops else 0
        while True:
            left = self._allow(deadline)
            error, reason, piece = self._interface().device_read(
                self.link, count - len(data), left, self.lock_timeout, flags, character
            )
            if error:
                return data, self._status(error)
            data = data + piece if data else piece
            if reason & vxi11.RX_END:
                return data, StatusCode.success
            if reason & vxi11.RX_CHR:
                return data, StatusCode.success_termination_character_read
            if len(data) >= count:
                return data, StatusCode.success_max_count_read
            if deadline.left() == 0.0:
                return data, StatusCode.error_timeout

    def clear(self) -> StatusCode:
        left = self._allow(self._deadline())
        return self._status(self._interface().device_clear(self.link, 0, self.lock_timeout, left))

    def read_stb(self) -> tuple[int, StatusCode]:
        left = self._allow(self._deadline())
        error, status = self._interface().device_read_stb(self.link, 0, self.lock_timeout, left)
        return status, self._status(error)

    def abort(self) -> None:
        """Break off a call that blocks in another thread: it ends at once as a lost connection."""
        if self.interface is not None:
            try:
                self.interface.sock.shutdown(socket.SHUT_RDWR)
            except OSError:
                return  # already gone, which is what was wanted

    def close(self) -> StatusCode:
        """Close the connection, which ends the link as well; may be called twice."""
        if self.interface is not None:
            self.abort()  # giving up the link by a call of its own could wait for a peer that is gone
            self.interface.close()
            self.interface = None
        return StatusCode.success

    def _deadline(self) -> Deadline:
        return Deadline(CLOCK, FOR_EVER if self.timeout is None else self.timeout)

    def _allow(self, deadline: Deadline) -> int:
        """What is left (ms) for the call that comes now; the connection waits a little longer than the instrument."""
        left = deadline.left()
        self._interface().patience = left + GRACE
        return min(int(left * 1000.0), 2**32 - 1)

    def _status(self, error: Any) -> StatusCode:
        """VISA's word for a VXI-11 error number."""
        if error and self._interface().timed_out:
            return StatusCode.error_timeout
        return StatusCode(tcpip.VXI11_ERRORS_TO_VISA.get(error, StatusCode.error_system_error))

    def _interface(self) -> DeadlineCoreClient:
        if self.interface is None:
            raise ConnectionResetError("the connection is closed")
        return self.interface


class InstrumentSession(tcpip.TCPIPInstrSession):  # type: ignore[misc]
    """HiSLIP by the back end's session, VXI-11 by ours."""

    def __new__(cls, manager: Any, resource_name: str, parsed: Any = None, open_timeout: int | None = None) -> Session:
        parsed = parsed or parse_resource_name(resource_name)
        hislip = parsed.lan_device_name.lower().startswith("hislip")
        kind = tcpip.TCPIPInstrHiSLIP if hislip else DeadlineVxi11Session
        return kind(manager, resource_name, parsed, open_timeout)

    @staticmethod
    def list_resources(wait_time: float = 0.0) -> list[str]:  # noqa: ARG004  # of the back end
        """Nothing: asking for them would be asking the whole network."""
        return []


def register() -> None:
    """Put this session into the back end's registry in place of the stock one; may be called any number of times."""
    if Session.get_session_class(InterfaceType.tcpip, "INSTR") is tcpip.TCPIPInstrSession:
        Session.register(InterfaceType.tcpip, "INSTR")(InstrumentSession)
