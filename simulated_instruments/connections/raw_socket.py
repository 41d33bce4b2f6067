"""One simulated device behind a raw TCP socket on the loopback: messages end with LF, replies too.

What one client has half sent never mixes with another's. It must not know any command.
"""

from __future__ import annotations

import socket

from simulated_instruments.connections.loopback_server import LOOPBACK, SLICE, LoopbackServer, Peer
from simulated_instruments.devices.instrument import INPUT_BUFFER, message_length


class Connection(Peer):
    """One client: what it sent and was not executed yet, and what it has not taken yet."""

    def __init__(self, client: socket.socket) -> None:
        super().__init__(client)
        self.incoming = bytearray()

    def next_message(self) -> tuple[bytes, bool] | None:
        """The next whole message without its line feed, and True; or what is too long to be one, and False."""
        length = message_length(self.incoming)
        whole = length is not None
        if length is None:
            if len(self.incoming) <= INPUT_BUFFER:
                return None
            length = len(self.incoming)  # the device itself has words for this
        message = bytes(self.incoming[:length])
        del self.incoming[: length + 1]
        return message, whole


class SocketServer(LoopbackServer[Connection]):
    """The raw socket of one device."""

    transport = "socket"
    peer = Connection
    reads_while_sending = False

    @property
    def address(self) -> str:
        """The VISA address of the running server."""
        return f"TCPIP::{LOOPBACK}::{self.port}::SOCKET"

    def turned_away(self) -> bool:
        return self.one_connection and bool(self.peers)

    def take_in(self, peer: Connection, data: bytes) -> None:
        peer.incoming += data

    def proceed(self, peer: Connection) -> None:
        """Execute what has come, message by message, as long as the client takes the replies."""
        while not peer.outgoing and not self.stopping.is_set() and (next_one := peer.next_message()):
            reply = self._execute(*next_one)
            if not reply:
                continue
            self.answer(peer, reply, [reply])
            self.flush(peer)
            if peer not in self.peers:
                return

    def _execute(self, message: bytes, whole: bool) -> bytes:
        """Give one message to the device and wait for its reply, if it has one."""
        with self.lock:
            self.device.receive(message, whole)
            pending = self.device.reply()
        if pending is None:
            return b""
        clock = self.device.clock
        while (wait := pending.ready_at - clock.now()) > 0:
            if self.stopping.is_set():
                return b""
            clock.sleep(min(wait, SLICE))
        with self.lock:
            data = pending.data  # what is measured is measured now
            self.device.take()
        return data
