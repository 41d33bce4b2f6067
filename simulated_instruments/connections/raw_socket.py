"""One simulated device behind a raw TCP socket on the loopback: messages end with LF, replies too.

It runs in its own thread and waits on the device's clock until a reply is ready: a real clock gives realistic latency,
a simulated one just advances. What one client has half sent never mixes with another's. It must not know any command,
and it never binds to anything but 127.0.0.1.
"""

from __future__ import annotations

import contextlib
import selectors
import socket
import threading

from simulated_instruments.connections.misbehaviour import RESET_ON_CLOSE, Misbehaviour
from simulated_instruments.devices.instrument import INPUT_BUFFER, Device, message_length

LOOPBACK = "127.0.0.1"
MOST_READ = 256 * 1024
SLICE = 0.02  # seconds; waiting is cut into such slices, so that stop() need not wait for a slow reply


class Connection:
    """One client: what it sent and was not executed yet, and what it has not taken yet."""

    def __init__(self, client: socket.socket) -> None:
        self.client = client
        self.incoming = bytearray()
        self.outgoing = memoryview(b"")
        self.ending = False  # close once what goes out has gone

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


class SocketServer:
    """Serves `device` on a port of its own choice; `address` is what a bench file says.

    `lock` is held while the device works; the servers of one bench share it, since their devices share one circuit.
    With `one_connection` a second client is reset while the first is there, as small instruments do.
    """

    def __init__(
        self,
        device: Device,
        *,
        one_connection: bool = False,
        lock: threading.Lock | None = None,
    ) -> None:
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
        return f"TCPIP::{LOOPBACK}::{self.port}::SOCKET"

    def start(self) -> None:
        """Bind and serve; returns once clients can connect."""
        if self._thread is not None:
            return
        self._stopping.clear()
        self._listener = socket.create_server((LOOPBACK, 0))
        self.port = self._listener.getsockname()[1]
        self._waker, self._woken = socket.socketpair()
        self._connections: list[Connection] = []
        self._selector = selectors.DefaultSelector()
        for watched in (self._listener, self._woken):
            watched.setblocking(False)
            self._selector.register(watched, selectors.EVENT_READ)
        self._thread = threading.Thread(target=self._serve, name=f"{self.device.name} socket", daemon=True)
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

    def drop_connections(self) -> None:
        """Break every connection at once; the port stays open for new ones."""
        for connection in list(self._connections):
            with contextlib.suppress(OSError):  # it went by itself just now
                connection.client.shutdown(socket.SHUT_RDWR)

    def __enter__(self) -> SocketServer:
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
                for key, events in self._selector.select():
                    if key.fileobj is self._listener:
                        self._accept()
                    elif key.data is not None:
                        self._attend(key.data, events)

    def _accept(self) -> None:
        try:
            client, _ = self._listener.accept()
        except OSError:
            return  # it went away again before we looked
        if self.one_connection and self._connections:
            client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, RESET_ON_CLOSE)
            client.close()
            return
        client.setblocking(False)
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        connection = Connection(client)
        self._connections.append(connection)
        self._selector.register(client, selectors.EVENT_READ, connection)

    def _attend(self, connection: Connection, events: int) -> None:
        """Read, execute and send for one client; one that does not take its reply is not read from any more."""
        try:
            if self.misbehaviour.frozen:
                self._stopping.wait(SLICE)
                return
            if events & selectors.EVENT_READ:
                data = connection.client.recv(MOST_READ)
                if not data:
                    self._drop(connection)
                    return
                connection.incoming += data
            self._flush(connection)
            while not connection.outgoing and not self._stopping.is_set() and (next_one := connection.next_message()):
                reply = self._execute(*next_one)
                connection.outgoing = memoryview(self.misbehaviour.of(reply) if reply else b"")
                connection.ending = self.misbehaviour.ends(reply)
                self._flush(connection)
            if connection.ending and not connection.outgoing:
                self._drop(connection)
                return
        except OSError:
            self._drop(connection)
            return
        wanted = selectors.EVENT_WRITE if connection.outgoing else selectors.EVENT_READ
        self._selector.modify(connection.client, wanted, connection)

    def _execute(self, message: bytes, whole: bool) -> bytes:
        """Give one message to the device and wait for its reply, if it has one."""
        with self._lock:
            self.device.receive(message, whole)
            pending = self.device.reply()
        if pending is None:
            return b""
        clock = self.device.clock
        while (wait := pending.ready_at - clock.now()) > 0:
            if self._stopping.is_set():
                return b""
            clock.sleep(min(wait, SLICE))
        with self._lock:
            data = pending.data  # what is measured is measured now
            self.device.take()
        return data

    def _flush(self, connection: Connection) -> None:
        """Send what the client takes now."""
        while connection.outgoing:
            try:
                drip = self.misbehaviour.drip
                sent = connection.client.send(connection.outgoing[:1] if drip else connection.outgoing)
            except BlockingIOError:
                return
            connection.outgoing = connection.outgoing[sent:]
            if drip and self._stopping.wait(0.0):
                return
            self.device.clock.sleep(drip)

    def _drop_all(self) -> None:
        for connection in list(self._connections):
            self._drop(connection)

    def _drop(self, connection: Connection) -> None:
        self._selector.unregister(connection.client)
        self._connections.remove(connection)
        self.misbehaviour.close(connection.client)
