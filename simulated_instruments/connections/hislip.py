"""One simulated device behind HiSLIP on the loopback: two sockets a client, the rules in `hislip_conversation`.

It runs in its own thread and keeps the device's time as the raw socket does; a status query is answered while a reply
is still being waited for. It must not know any command, and it never binds to anything but 127.0.0.1.
"""

from __future__ import annotations

import contextlib
import selectors
import socket
import threading
from collections import deque
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
from simulated_instruments.connections.misbehaviour import Misbehaviour
from simulated_instruments.devices.instrument import Device, Pending

LOOPBACK = "127.0.0.1"
MOST_READ = 256 * 1024
SLICE = 0.002  # seconds; waiting for a reply is cut into such slices, so that the other channel is heard meanwhile


class Client:
    """One socket of a client: which channel it is, once it has said so, and what it has not taken yet."""

    def __init__(self, connection: socket.socket) -> None:
        self.connection = connection
        self.reader = HislipReader()
        self.session: Session | None = None
        self.outgoing: deque[memoryview] = deque()
        self.closing = False  # as soon as everything is sent


class Session:
    """One client with its two channels and the reply that it waits for."""

    def __init__(self, number: int, synchronous: Client) -> None:
        self.conversation = HislipConversation(number)
        self.synchronous = synchronous
        self.asynchronous: Client | None = None
        self.pending: Pending | None = None


class HislipServer:
    """Serves `device` on a port of its own choice; `address` is what a bench file says.

    `lock` is held while the device works; the servers of one bench share it. With `one_connection` a second client is
    reset while the first is there.
    """

    def __init__(self, device: Device, *, one_connection: bool = False, lock: threading.Lock | None = None) -> None:
        self.device = device
        self.one_connection = one_connection
        self.misbehaviour = Misbehaviour()
        self.port = 0
        self._lock = lock or threading.Lock()
        self._thread: threading.Thread | None = None
        self._stopping = threading.Event()

    @property
    def address(self) -> str:
        """The VISA address of the running server."""
        return f"TCPIP::{LOOPBACK}::hislip0,{self.port}::INSTR"

    def start(self) -> None:
        """Bind and serve; returns once clients can connect."""
        if self._thread is not None:
            return
        self._stopping.clear()
        self._listener = socket.create_server((LOOPBACK, 0))
        self.port = self._listener.getsockname()[1]
        self._waker, self._woken = socket.socketpair()
        self._clients: list[Client] = []
        self._sessions: dict[int, Session] = {}
        self._numbers = 0
        self._selector = selectors.DefaultSelector()
        for watched in (self._listener, self._woken):
            watched.setblocking(False)
            self._selector.register(watched, selectors.EVENT_READ)
        self._thread = threading.Thread(target=self._serve, name=f"{self.device.name} hislip", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Close every connection and the port; returns when the thread has ended. May be called twice."""
        if self._thread is None:
            return
        self._stopping.set()
        with contextlib.suppress(OSError):  # the thread has ended already
            self._waker.send(b".")
        self._thread.join()
        self._thread = None
        self._waker.close()

    def __enter__(self) -> HislipServer:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def _serve(self) -> None:
        with contextlib.ExitStack() as closing:
            closing.callback(self._selector.close)
            closing.callback(self._woken.close)
            closing.callback(self._listener.close)
            closing.callback(self._drop_all)
            while not self._stopping.is_set():
                waiting = any(session.pending for session in self._sessions.values())
                for key, events in self._selector.select(0 if waiting else None):
                    if key.fileobj is self._listener:
                        self._accept()
                    elif key.data is not None:
                        self._attend(key.data, events)
                for session in list(self._sessions.values()):
                    self._reply(session)

    def _accept(self) -> None:
        try:
            connection, _ = self._listener.accept()
        except OSError:
            return  # it went away again before we looked
        connection.setblocking(False)
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        client = Client(connection)
        self._clients.append(client)
        self._selector.register(connection, selectors.EVENT_READ, client)

    def _attend(self, client: Client, events: int) -> None:
        if client not in self._clients:
            return  # it went with its other channel just now
        try:
            if self.misbehaviour.frozen:
                self._stopping.wait(SLICE)
                return
            if events & selectors.EVENT_READ:
                data = client.connection.recv(MOST_READ)
                if not data:
                    self._drop(client)
                    return
                self._take_in(client, data)
            self._flush(client)
        except OSError:
            self._drop(client)

    def _take_in(self, client: Client, data: bytes) -> None:
        try:
            messages = client.reader.feed(data)
        except ProtocolError:
            self._finish(client, fatal(POOR_HEADER, "poorly formed message header"))
            return
        for message in messages:
            session = client.session
            if session is None:
                self._begin(client, message)
            elif session.asynchronous is None:
                self._finish(client, fatal(ONE_CHANNEL, "the asynchronous channel is missing"))
            elif client is session.synchronous:
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
                with self._lock:
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
        with self._lock:
            data = pending.data  # what is measured is measured now
            self.device.take()
            session.pending = self.device.reply() if self.device.late else None
        client, wire = session.synchronous, self.misbehaviour
        if wire.garbage:
            client.outgoing.append(memoryview(wire.garbage))
        else:
            messages = session.conversation.response(data)
            whole = b"".join(message.encoded() for message in messages) if wire.cut is not None or wire.drip else b""
            if whole:
                client.outgoing.append(memoryview(wire.of(whole)))
            else:
                self._queue(client, messages)
        client.closing = wire.ends(data)
        with contextlib.suppress(OSError):
            self._flush(client)

    def _send(self, client: Client, messages: Iterable[HislipMessage]) -> None:
        self._queue(client, messages)
        self._flush(client)

    def _queue(self, client: Client, messages: Iterable[HislipMessage]) -> None:
        for message in messages:
            client.outgoing.append(memoryview(message.header()))
            if message.payload:
                client.outgoing.append(memoryview(message.payload))

    def _flush(self, client: Client) -> None:
        """Send what the client takes now; one byte at a time where the wire drips."""
        while client.outgoing:
            piece = client.outgoing[0]
            try:
                sent = client.connection.send(piece[:1] if self._drips(client) else piece)
            except BlockingIOError:
                break
            if sent < len(piece):
                client.outgoing[0] = piece[sent:]
            else:
                client.outgoing.popleft()
            if self._drips(client):
                self.device.clock.sleep(self.misbehaviour.drip)
                if self._stopping.is_set():
                    return
        if client.closing and not client.outgoing:
            self._drop(client)
            return
        wanted = selectors.EVENT_READ | (selectors.EVENT_WRITE if client.outgoing else 0)
        self._selector.modify(client.connection, wanted, client)

    def _drips(self, client: Client) -> bool:
        return self.misbehaviour.drip > 0 and client.session is not None and client is client.session.synchronous

    def _finish(self, client: Client, message: HislipMessage) -> None:
        client.closing = True
        self._send(client, [message])

    def _drop_all(self) -> None:
        for client in list(self._clients):
            self._drop(client)

    def _drop(self, client: Client) -> None:
        """Close a socket, and with it the other one of its session."""
        if client not in self._clients:
            return
        self._clients.remove(client)
        self._selector.unregister(client.connection)
        self.misbehaviour.close(client.connection)
        session = client.session
        if session is not None:
            self._sessions.pop(session.conversation.number, None)
            for other in (session.synchronous, session.asynchronous):
                if other is not None:
                    self._drop(other)
