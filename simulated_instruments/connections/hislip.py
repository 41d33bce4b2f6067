"""One simulated device behind HiSLIP on the loopback: two sockets a client, the rules in `hislip_conversation`.

A status query is answered while a reply is still being waited for. It must not know any command.
"""

from __future__ import annotations

import contextlib
import socket
from collections.abc import Iterable

from autobench.errors import ProtocolError
from autobench.protocols.hislip import HislipMessage, HislipReader, Kind
from simulated_instruments.connections.hislip_conversation import (
    ONE_CHANNEL,
    POOR_HEADER,
    TOO_MANY,
    WRONG_BEGINNING,
    AskStatus,
    Clear,
    Event,
    Execute,
    HislipConversation,
    Interrupted,
    Send,
    fatal,
    second_welcome,
    welcome,
)
from simulated_instruments.connections.loopback_server import LOOPBACK, LoopbackServer, Peer
from simulated_instruments.devices.instrument import Pending

SLICE = 0.002  # seconds; waiting for a reply is cut into such slices, so that the other channel is heard meanwhile


class Client(Peer):
    """One socket of a client, and which channel it is, once it has said so."""

    def __init__(self, connection: socket.socket) -> None:
        super().__init__(connection)
        self.reader = HislipReader()
        self.session: Session | None = None


class Session:
    """One client with its two channels and the reply that it waits for."""

    def __init__(self, number: int, synchronous: Client) -> None:
        self.conversation = HislipConversation(number)
        self.synchronous = synchronous
        self.asynchronous: Client | None = None
        self.pending: Pending | None = None


class HislipServer(LoopbackServer[Client]):
    """HiSLIP with one device."""

    transport = "hislip"
    peer = Client

    @property
    def address(self) -> str:
        """The VISA address of the running server."""
        return f"TCPIP::{LOOPBACK}::hislip0,{self.port}::INSTR"

    def begin(self) -> None:
        self._sessions: dict[int, Session] = {}
        self._numbers = 0

    def waiting(self) -> bool:
        return any(session.pending for session in self._sessions.values())

    def look_round(self) -> None:
        for session in list(self._sessions.values()):
            self._reply(session)

    def take_in(self, peer: Client, data: bytes) -> None:
        try:
            messages = peer.reader.feed(data)
        except ProtocolError:
            self._finish(peer, fatal(POOR_HEADER, "poorly formed message header"))
            return
        for message in messages:
            session = peer.session
            if session is None:
                self._begin(peer, message)
            elif session.asynchronous is None:
                self._finish(peer, fatal(ONE_CHANNEL, "the asynchronous channel is missing"))
            elif peer is session.synchronous:
                self._do(session, session.conversation.synchronous(message))
            else:
                self._do(session, session.conversation.asynchronous(message))

    def _begin(self, client: Client, message: HislipMessage) -> None:
        """The first message on a socket says which channel it is."""
        if message.kind == Kind.INITIALIZE:
            if self.one_connection and self._sessions:
                self._finish(client, fatal(TOO_MANY, "another client is connected"))
                return
            self._numbers = self._numbers % 0xFFFF + 1
            client.session = self._sessions[self._numbers] = Session(self._numbers, client)
            self._send(client, [welcome(self._numbers)])
        elif message.kind == Kind.ASYNC_INITIALIZE and message.parameter in self._sessions:
            client.session = self._sessions[message.parameter]
            client.session.asynchronous = client
            self._send(client, [second_welcome()])
        else:
            self._finish(client, fatal(WRONG_BEGINNING, "invalid initialization sequence"))

    def _do(self, session: Session, events: list[Event]) -> None:
        for event in events:
            if isinstance(event, Send):
                to = session.synchronous if event.channel == "synchronous" else session.asynchronous
                if to is not None:
                    self._send(to, [event.message])
            else:
                with self.lock:
                    self._tell(session, event)

    def _tell(self, session: Session, event: Event) -> None:
        """What concerns the instrument itself."""
        device = self.device
        if isinstance(event, Execute):
            device.receive(event.message, True)
            session.pending = device.reply()
        elif isinstance(event, Interrupted):
            device.report(-410)
        elif isinstance(event, Clear):
            device.device_clear()
            session.pending = None
            session.synchronous.outgoing.clear()
        elif isinstance(event, AskStatus) and session.asynchronous is not None:
            self._send(session.asynchronous, [session.conversation.status_response(device.status_byte())])

    def _reply(self, session: Session) -> None:
        """Send the reply that has become ready, or let a slice of time pass."""
        pending = session.pending
        if pending is None:
            return
        wait = pending.ready_at - self.device.clock.now()
        if wait > 0:
            self.device.clock.sleep(min(wait, SLICE))
            return
        with self.lock:
            data = pending.data  # what is measured is measured now
            self.device.take()
            session.pending = self.device.reply() if self.device.late else None
        self.answer(session.synchronous, data, pieces(session.conversation.response(data)))
        with contextlib.suppress(OSError):
            self.flush(session.synchronous)

    def _send(self, client: Client, messages: Iterable[HislipMessage]) -> None:
        self.send(client, pieces(messages))

    def _finish(self, client: Client, message: HislipMessage) -> None:
        client.closing = True
        self._send(client, [message])

    def forget(self, peer: Client) -> None:
        """With one socket of a session the other one goes."""
        session = peer.session
        if session is not None:
            self._sessions.pop(session.conversation.number, None)
            for other in (session.synchronous, session.asynchronous):
                if other is not None:
                    other.wire = peer.wire
                    self.drop(other)


def pieces(messages: Iterable[HislipMessage]) -> list[bytes]:
    """Header and payload of each message, without a copy."""
    return [piece for message in messages for piece in (message.header(), message.payload)]
