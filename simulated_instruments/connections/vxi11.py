"""One simulated device behind VXI-11 on the loopback: core and abort channel on one port.

The rules are in `vxi11_conversation`. There is no port mapper, which needs a port of the system's own: the address says
the port. It must not know any command.
"""

from __future__ import annotations

import contextlib
import socket
from dataclasses import dataclass

from autobench.errors import ProtocolError
from autobench.protocols.remote_calls import RecordReader
from simulated_instruments.connections.loopback_server import LOOPBACK, LoopbackServer, Peer
from simulated_instruments.connections.vxi11_conversation import (
    CHARACTER_SEEN,
    COUNT_REACHED,
    END_SEEN,
    Abort,
    AskStatus,
    Clear,
    Event,
    Execute,
    Links,
    Read,
    Send,
    Trouble,
    Vxi11Conversation,
    failed_read,
    read_response,
    status_response,
)
from simulated_instruments.devices.instrument import Pending

SLICE = 0.002  # seconds; waiting for a reply is cut into such slices, so that other clients are heard meanwhile


class Client(Peer):
    """One connection with the conversation over it."""

    def __init__(self, connection: socket.socket) -> None:
        super().__init__(connection)
        self.reader = RecordReader()
        self.conversation: Vxi11Conversation | None = None


@dataclass
class Waiting:
    """A read that waits for a reply."""

    client: Client
    read: Read
    until: float  # by the device's clock


class Vxi11Server(LoopbackServer[Client]):
    """VXI-11 with one device."""

    transport = "vxi11"
    peer = Client

    @property
    def address(self) -> str:
        """The VISA address of the running server."""
        return f"TCPIP::{LOOPBACK},{self.port}::inst0::INSTR"

    def begin(self) -> None:
        self._links = Links(most=1 if self.one_connection else None)
        self._waiting: list[Waiting] = []
        self._reply: Pending | None = None  # the reply that is being read, and how much of it was
        self._taken = 0

    def waiting(self) -> bool:
        return bool(self._waiting)

    def look_round(self) -> None:
        """Let a slice of time pass where nothing else is to be done, and answer the reads that can be."""
        for waiting in list(self._waiting):
            with contextlib.suppress(OSError):
                self._answer_read(waiting)

    def take_in(self, peer: Client, data: bytes) -> None:
        if peer.conversation is None:
            peer.conversation = Vxi11Conversation(self._links, self.port)
        try:
            for record in peer.reader.feed(data):
                for event in peer.conversation.take(record):
                    self._do(peer, event)
        except ProtocolError:
            self.drop(peer)  # nothing that follows could be understood

    def forget(self, peer: Client) -> None:
        self._waiting = [waiting for waiting in self._waiting if waiting.client is not peer]
        if peer.conversation is not None:
            peer.conversation.close()

    def _do(self, peer: Client, event: Event) -> None:
        device = self.device
        if isinstance(event, Send):
            self.send(peer, [event.record])
        elif isinstance(event, Execute):
            with self.lock:
                device.receive(event.message, event.end)
        elif isinstance(event, Clear):
            with self.lock:
                device.device_clear()
            self._reply, self._taken = None, 0
        elif isinstance(event, AskStatus):
            with self.lock:
                status = device.status_byte()
            self.send(peer, [status_response(event.call, status)])
        elif isinstance(event, Abort):
            for waiting in [waiting for waiting in self._waiting if waiting.read.link == event.link]:
                self._waiting.remove(waiting)
                self.send(waiting.client, [failed_read(waiting.read.call, Trouble.ABORTED)])
        else:
            with self.lock:
                device.talk()  # asking for a reply that nobody caused is an error of its own
            self._waiting.append(Waiting(peer, event, device.clock.now() + event.seconds))

    def _answer_read(self, waiting: Waiting) -> None:
        """Answer a read with what is ready, or say that its time is over."""
        clock, read = self.device.clock, waiting.read
        with self.lock:
            reply = self.device.reply()
        if reply is not self._reply:
            self._reply, self._taken = reply, 0  # a new message dropped the old one
        if reply is None or reply.ready_at > clock.now():
            wait = min(waiting.until, reply.ready_at if reply else waiting.until) - clock.now()
            if wait > 0:
                clock.sleep(min(wait, SLICE))
            elif waiting.until <= clock.now():
                self._waiting.remove(waiting)
                self.send(waiting.client, [failed_read(read.call, Trouble.TIMED_OUT)])
            return
        self._waiting.remove(waiting)
        with self.lock:
            data, reason = self._take(reply, read)
        self.answer(waiting.client, data, [read_response(read.call, data, reason)])
        self.flush(waiting.client)

    def _take(self, reply: Pending, read: Read) -> tuple[bytes, int]:
        """The next bytes of the reply, and why they end where they do."""
        whole, begin = reply.data, self._taken  # what is measured is measured now
        end, reason = begin + read.count, 0
        if read.stop is not None and (found := whole.find(read.stop, begin, end)) >= 0:
            end, reason = found + 1, CHARACTER_SEEN
        data = whole[begin:end]
        self._taken += len(data)
        if len(data) == read.count:
            reason |= COUNT_REACHED
        if self._taken >= len(whole):
            reason |= END_SEEN
            self.device.take()
            self._reply, self._taken = None, 0
        return data, reason
