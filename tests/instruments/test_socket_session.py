"""The raw-socket session, against plain sockets that behave and misbehave as peers do."""

from __future__ import annotations

import contextlib
import random
import socket
import threading
import time
from collections.abc import Callable, Iterator

import pytest

from autobench.errors import LinkLostError, NoReplyError, ReplyError
from autobench.instruments.visa import VisaSession, open_session

Behaviour = Callable[[socket.socket], None]


class Peer:
    """A server for one client that does what it is told and then waits for the end of the test."""

    def __init__(self) -> None:
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.address = f"TCPIP::127.0.0.1::{self.listener.getsockname()[1]}::SOCKET"
        self.over = threading.Event()
        self.threads: list[threading.Thread] = []
        self.sessions: list[VisaSession] = []

    def serve(self, behave: Behaviour) -> VisaSession:
        """Open a session whose other side behaves so."""

        def run() -> None:
            client, _ = self.listener.accept()
            with client, contextlib.suppress(OSError):  # the session may go first
                behave(client)

        self.threads.append(threading.Thread(target=run))
        self.threads[-1].start()
        self.sessions.append(open_session(self.address, instrument="meter"))
        return self.sessions[-1]

    def stay(self, client: socket.socket) -> None:
        """Keep the connection, saying nothing."""
        self.over.wait(10.0)


@pytest.fixture
def peer() -> Iterator[Peer]:
    serving = Peer()
    yield serving
    serving.over.set()
    for session in serving.sessions:
        session.close()
    for thread in serving.threads:
        thread.join(5.0)
    serving.listener.close()


def lines(client: socket.socket) -> Iterator[bytes]:
    """The messages a client sends, until it goes."""
    with client.makefile("rb") as stream:
        for line in stream:
            yield line.rstrip(b"\n")


def test_refused_port_fails_on_opening() -> None:
    """Opening a port where nobody listens fails at once and says so."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    with pytest.raises(LinkLostError, match=r"meter: cannot open TCPIP::127\.0\.0\.1::\d+::SOCKET: .*refused"):
        open_session(f"TCPIP::127.0.0.1::{port}::SOCKET", instrument="meter")


def test_writes_and_queries_in_a_row(peer: Peer) -> None:
    """Commands followed at once by queries are answered in order, each reply without its line end."""

    def behave(client: socket.socket) -> None:
        for line in lines(client):
            if line.endswith(b"?"):
                client.sendall(b"+%d\n" % len(line))

    session = peer.serve(behave)
    for _ in range(50):
        session.write(b"VOLT 5.000", 1.0)
        session.write(b"VOLT?", 1.0)
        assert session.read_message(1.0) == b"+5"  # the peer's own rule: the length of the query


def test_nodelay_is_on(peer: Peer) -> None:
    """Small segments are sent at once: the TCP option that asks for it is set."""
    session = peer.serve(peer.stay)
    inner = session._inner()
    option = inner.interface.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)  # type: ignore[attr-defined]
    assert option != 0  # RFC 896 and its option: TCP_NODELAY


def test_the_whole_message_has_one_deadline(peer: Peer) -> None:
    """A reply that trickles in byte by byte does not stretch the deadline, and what came is kept as evidence."""

    def behave(client: socket.socket) -> None:
        for byte in b"+1.2345E+00":
            client.sendall(bytes([byte]))
            time.sleep(0.02)
        self_ended.set()
        client.sendall(b"\n")
        peer.stay(client)

    self_ended = threading.Event()
    session = peer.serve(behave)
    session.write(b"READ?", 1.0)
    with pytest.raises(NoReplyError):
        session.read_message(0.08)
    assert not self_ended.is_set()
    assert b"+1.2345E+00".startswith(session.partial)
    assert session.partial


def test_a_time_out_loses_nothing(peer: Peer) -> None:
    """Bytes that came before the deadline are there for the next read."""
    go_on = threading.Event()

    def behave(client: socket.socket) -> None:
        client.sendall(b"+1.0")
        go_on.wait(5.0)
        client.sendall(b"E+00\n")
        peer.stay(client)

    session = peer.serve(behave)
    with pytest.raises(NoReplyError):
        session.read_message(0.05)
    go_on.set()
    assert session.read_message(1.0) == b"+1.0E+00"


def test_peer_closes_inside_a_block(peer: Peer) -> None:
    """A connection closed half way through a block is a lost connection, not a time-out."""

    def behave(client: socket.socket) -> None:
        client.recv(100)
        client.sendall(b"#41000" + bytes(400))

    session = peer.serve(behave)
    session.write(b"CURV?", 1.0)
    assert session.read_exact(6, 5.0) == b"#41000"
    with pytest.raises(LinkLostError):
        session.read_exact(1000, 5.0)
    assert session.partial == bytes(400)


def test_clear_ends_when_the_peer_is_gone(peer: Peer) -> None:
    """Clearing a connection whose peer has closed fails as lost instead of going on for ever."""
    session = peer.serve(lambda client: None)
    peer.threads[0].join(5.0)
    with pytest.raises(LinkLostError):
        session.clear()


def test_clear_drops_what_has_arrived(peer: Peer) -> None:
    """After a clear nothing of the old reply is left."""
    sent = threading.Event()
    go_on = threading.Event()

    def behave(client: socket.socket) -> None:
        client.sendall(b"old" * 100000)
        sent.set()
        go_on.wait(5.0)
        client.sendall(b"new\n")
        peer.stay(client)

    session = peer.serve(behave)
    with pytest.raises(NoReplyError):
        session.read_message(0.05)
    sent.wait(5.0)
    session.clear()
    go_on.set()
    assert session.read_message(1.0) == b"new"


def test_dead_peer_on_writing(peer: Peer) -> None:
    """A peer that takes nothing any more ends a write at its deadline."""
    session = peer.serve(peer.stay)
    with pytest.raises(NoReplyError):
        session.write(bytes(64 * 1024 * 1024), 0.1)


def test_a_blocked_read_can_be_broken_off(peer: Peer) -> None:
    """Another thread's abort ends a read as a lost connection."""
    session = peer.serve(peer.stay)
    timer = threading.Timer(0.05, session.abort)
    timer.start()
    with pytest.raises(LinkLostError):
        session.read_message(30.0)
    timer.join()


@pytest.mark.parametrize("size", [0, 1, 999, 10_000_000])
def test_blocks_arrive_intact(peer: Peer, size: int) -> None:
    """Blocks of any size and any bytes are read by exact counts, line feeds inside them included."""
    data = random.Random(size).randbytes(size)
    session = peer.serve(lambda client: client.sendall(data + b"\nnext\n"))
    assert session.read_exact(size, 10.0) == data
    assert session.finish_message(1.0) == b"\n"
    assert session.read_message(1.0) == b"next"


def test_block_without_a_line_end(peer: Peer) -> None:
    """A block that no line end follows is complete all the same."""

    def behave(client: socket.socket) -> None:
        client.sendall(b"data")
        peer.stay(client)

    session = peer.serve(behave)
    assert session.read_exact(4, 1.0) == b"data"
    assert session.finish_message(0.05) == b""


def test_something_else_behind_a_block(peer: Peer) -> None:
    """Anything but a line end behind a block means that the conversation is out of step."""
    session = peer.serve(lambda client: client.sendall(b"dataX\n"))
    assert session.read_exact(4, 1.0) == b"data"
    with pytest.raises(ReplyError, match="follow where the message should end"):
        session.finish_message(0.5)


def test_line_end_of_two_characters(peer: Peer) -> None:
    """With CR LF as its end, a message may hold a line feed alone."""
    peer.serve(lambda client: client.sendall(b"a\nb\r\nc\r\n"))
    session = peer.sessions[0]
    session._receive_end = b"\r\n"
    assert session.read_message(1.0) == b"a\nb"
    assert session.read_message(1.0) == b"c"


def test_reopening_gives_a_fresh_stream(peer: Peer) -> None:
    """After reopening nothing of the old connection can be read, and the back end has forgotten the old one."""

    def behave(client: socket.socket) -> None:
        client.sendall(b"stale\n")
        peer.stay(client)

    session = peer.serve(behave)
    with pytest.raises(NoReplyError):
        session.read_exact(100, 0.05)
    kept = len(session._open_resource().visalib.sessions)  # type: ignore[attr-defined]
    session.reopen()
    assert len(session._open_resource().visalib.sessions) == kept  # type: ignore[attr-defined]
    with pytest.raises(NoReplyError):
        session.read_message(0.05)


def test_a_closed_session_says_so(peer: Peer) -> None:
    """Closing twice is allowed, using afterwards fails as lost."""
    session = peer.serve(peer.stay)
    session.close()
    session.close()
    with pytest.raises(LinkLostError, match="closed"):
        session.write(b"*CLS", 1.0)
