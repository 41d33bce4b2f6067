"""What the servers of one simulated device on the loopback share: a port, a thread, and clients that are attended to.

A kind of server says what a client's bytes mean. It keeps the device's time: a real clock gives realistic latency, a
simulated one just advances; the wire itself is in real time. It must not know any protocol, and it never binds to
anything but 127.0.0.1.
"""

from __future__ import annotations

import contextlib
import selectors
import socket
import threading
from collections import deque
from collections.abc import Iterable, Sequence
from typing import ClassVar, Generic, Self, TypeVar

from autobench.clock import RealClock
from simulated_instruments.connections.misbehaviour import Misbehaviour, Piece
from simulated_instruments.devices.instrument import Device

LOOPBACK = "127.0.0.1"
MOST_READ = 256 * 1024
SLICE = 0.02  # seconds; waiting is cut into such slices, so that stop() need not wait for a slow reply


class Peer:
    """One socket of a client: what it has not taken yet, and how the reply that goes out is treated."""

    def __init__(self, connection: socket.socket) -> None:
        self.connection = connection
        self.outgoing: deque[memoryview] = deque()
        self.wire = Misbehaviour()
        self.closing = False  # as soon as everything is sent


P = TypeVar("P", bound=Peer)


class LoopbackServer(Generic[P]):
    """Serves `device` on a port of its own choice; `address` is what a bench file says.

    `lock` is held while the device works; the servers of one bench share it, since their devices share one circuit.
    With `one_connection` a second client is turned away while the first is there, as small instruments do.
    """

    transport: ClassVar[str]
    peer: type[P]
    reads_while_sending: ClassVar[bool] = True  # else a client that does not take its reply is not read from any more

    def __init__(self, device: Device, *, one_connection: bool = False, lock: threading.Lock | None = None) -> None:
        self.device = device
        self.one_connection = one_connection
        self.misbehaviour = Misbehaviour()
        self.port = 0
        self.lock = lock or threading.Lock()
        self.peers: list[P] = []
        self.stopping = threading.Event()
        self.wire_clock = RealClock()
        self._thread: threading.Thread | None = None

    # What a kind of server says.

    @property
    def address(self) -> str:
        """The VISA address of the running server."""
        raise NotImplementedError

    def turned_away(self) -> bool:
        """Whether one more client gets nothing but a reset."""
        return False

    def begin(self) -> None:
        """Forget what was before, when the server is started."""

    def take_in(self, peer: P, data: bytes) -> None:
        """Bytes of a client."""
        raise NotImplementedError

    def proceed(self, peer: P) -> None:
        """Some of what goes out to a client has gone."""

    def waiting(self) -> bool:
        """Whether `look_round` has something to wait for."""
        return False

    def look_round(self) -> None:
        """Called again and again while there is something to wait for."""

    def forget(self, peer: P) -> None:
        """A client is gone."""

    # What is the same for all.

    def start(self) -> None:
        """Bind and serve; returns once clients can connect."""
        if self._thread is not None:
            return
        self.stopping.clear()
        self._listener = socket.create_server((LOOPBACK, 0))
        self.port = self._listener.getsockname()[1]
        self._waker, self._woken = socket.socketpair()
        self.peers = []
        self.begin()
        self._selector = selectors.DefaultSelector()
        for watched in (self._listener, self._woken):
            watched.setblocking(False)
            self._selector.register(watched, selectors.EVENT_READ)
        self._thread = threading.Thread(target=self._serve, name=f"{self.device.name} {self.transport}", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Close every connection and the port; returns when the thread has ended. May be called twice."""
        if self._thread is None:
            return
        self.stopping.set()
        with contextlib.suppress(OSError):  # the thread has ended already
            self._waker.send(b".")
        self._thread.join()
        self._thread = None
        self._waker.close()

    def drop_connections(self) -> None:
        """Break every connection at once; the port stays open for new ones."""
        for peer in list(self.peers):
            with contextlib.suppress(OSError):  # it went by itself just now
                peer.connection.shutdown(socket.SHUT_RDWR)

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def send(self, peer: P, pieces: Iterable[Piece]) -> None:
        """Send what no misbehaviour of the wire concerns."""
        peer.outgoing.extend(memoryview(piece) for piece in pieces if piece)
        self.flush(peer)

    def answer(self, peer: P, reply: bytes, pieces: Sequence[Piece]) -> None:
        """Send the `pieces` that carry a reply of the device, as the wire lets them through; `flush` has to follow."""
        peer.wire = self.misbehaviour.next(len(reply))
        end = self.wire_clock.now() + peer.wire.held
        while (left := end - self.wire_clock.now()) > 0 and not self.stopping.is_set():
            self.wire_clock.sleep(min(left, SLICE))
        peer.outgoing.extend(memoryview(piece) for piece in peer.wire.of(pieces) if piece)
        peer.closing = peer.closing or peer.wire.ends(reply)

    def flush(self, peer: P) -> None:
        """Send what the client takes now; one byte at a time where the wire drips."""
        while peer.outgoing:
            piece, drip = peer.outgoing[0], peer.wire.drip
            try:
                sent = peer.connection.send(piece[:1] if drip else piece)
            except BlockingIOError:
                break
            if sent < len(piece):
                peer.outgoing[0] = piece[sent:]
            else:
                peer.outgoing.popleft()
            if drip:
                self.wire_clock.sleep(drip)
                if self.stopping.is_set() or self.misbehaviour is not peer.wire:  # it behaves again
                    peer.wire = Misbehaviour()
        if peer.closing and not peer.outgoing:
            self.drop(peer)
            return
        reading = 0 if peer.outgoing and not self.reads_while_sending else selectors.EVENT_READ
        self._selector.modify(peer.connection, reading | (selectors.EVENT_WRITE if peer.outgoing else 0), peer)

    def drop(self, peer: P) -> None:
        """Close the connection of a client."""
        if peer not in self.peers:
            return
        self.peers.remove(peer)
        self._selector.unregister(peer.connection)
        peer.wire.close(peer.connection)
        self.forget(peer)

    def _serve(self) -> None:
        with contextlib.ExitStack() as closing:
            closing.callback(self._selector.close)
            closing.callback(self._woken.close)
            closing.callback(self._listener.close)
            closing.callback(self._drop_all)
            while not self.stopping.is_set():
                for key, events in self._selector.select(0 if self.waiting() else None):
                    if key.fileobj is self._listener:
                        self._accept()
                    elif key.data is not None:
                        self._attend(key.data, events)
                self.look_round()

    def _accept(self) -> None:
        try:
            client, _ = self._listener.accept()
        except OSError:
            return  # it went away again before we looked
        if self.turned_away():
            Misbehaviour(then="reset").close(client)
            return
        client.setblocking(False)
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        peer = self.peer(client)
        self.peers.append(peer)
        self._selector.register(client, selectors.EVENT_READ, peer)

    def _attend(self, peer: P, events: int) -> None:
        if peer not in self.peers:
            return  # it went with another one just now
        try:
            if self.misbehaviour.frozen:
                self.stopping.wait(SLICE)
                return
            if events & selectors.EVENT_READ:
                data = peer.connection.recv(MOST_READ)
                if not data:
                    self.drop(peer)
                    return
                self.take_in(peer, data)
            if peer in self.peers:
                self.flush(peer)
            if peer in self.peers:
                self.proceed(peer)
        except OSError:
            self.drop(peer)

    def _drop_all(self) -> None:
        for peer in list(self.peers):
            self.drop(peer)
