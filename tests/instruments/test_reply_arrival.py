"""Replies over real connections, each whole, byte by byte, and with the beginning of the next one behind it.

The replies are those of IEEE 488.2 8.7 and SCPI-1999 7.2, and forms that are common practice.
"""

from __future__ import annotations

import contextlib
import os
import socket
import threading
import tty
from collections.abc import Callable, Iterator

import pytest

from autobench.clock import RealClock
from autobench.instruments.link import Link
from autobench.instruments.visa import open_session

REPLIES = [
    b"12",  # IEEE 488.2 8.7.2: NR1
    b"+1.25000000E+01",  # IEEE 488.2 8.7.4: NR3
    b"9.91E37",  # SCPI-1999 vol. 1, 7.2.1.5
    b"+4.99E+00,+1.20E+01;+0.35E+00",  # IEEE 488.2 8.4.1: units and data of one response message
    b'-113,"Undefined header;SYSTem:BOGUS"',  # SCPI-1999 vol. 2, 21.8.1
    b'"a ""b"""',  # IEEE 488.2 8.7.8
    b"ALDER STREET,PS-3,12345,1.0",  # IEEE 488.2 10.14
    b"V1 5.00",  # common practice
]
BLOCKS = [
    (b"#15HELLO", b"HELLO"),  # IEEE 488.2 8.7.9
    (b"#3005HELLO", b"HELLO"),  # IEEE 488.2 8.7.9
    (b"#14\n#\n;", b"\n#\n;"),  # IEEE 488.2 8.7.9: every byte is data
    (b"#10", b""),  # IEEE 488.2 8.7.9
]
WAYS: dict[str, Callable[[bytes], list[bytes]]] = {
    "whole": lambda data: [data],
    "byte by byte": lambda data: [data[place : place + 1] for place in range(len(data))],
    "in two": lambda data: [data[:3], data[3:]],
}
Send = Callable[[bytes], object]


@contextlib.contextmanager
def socket_link(answer: Callable[[Send, bytes], None]) -> Iterator[Link]:
    """A link to a raw socket whose other side answers each line."""
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def serve() -> None:
            client, _ = listener.accept()
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            with client, client.makefile("rb") as lines:
                for line in lines:
                    answer(client.sendall, line.strip())

        thread = threading.Thread(target=serve)
        thread.start()
        port = listener.getsockname()[1]
        link = Link(open_session(f"TCPIP::127.0.0.1::{port}::SOCKET", instrument="peer"), "peer", RealClock())
        yield link
        link.close()
        thread.join(5.0)


@contextlib.contextmanager
def serial_link(answer: Callable[[Send, bytes], None]) -> Iterator[Link]:
    """A link to a pseudo-terminal whose other end answers each line."""
    near, far = os.openpty()
    tty.setraw(far)

    def serve() -> None:
        pending = b""
        while b"bye" not in pending:
            pending += os.read(near, 100)
            while b"\n" in pending:
                line, pending = pending.split(b"\n", 1)
                if line == b"bye":
                    return
                answer(lambda data: os.write(near, data), line)

    thread = threading.Thread(target=serve)
    thread.start()
    link = Link(open_session(f"ASRL{os.ttyname(far)}::INSTR", instrument="peer"), "peer", RealClock())
    yield link
    link.say("bye")
    thread.join(5.0)
    link.close()
    os.close(near)
    os.close(far)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("connect", [socket_link, serial_link], ids=["socket", "serial"])
def test_replies_are_the_same_however_they_arrive(
    connect: Callable[..., contextlib.AbstractContextManager[Link]], way: str
) -> None:
    """Each reply, asked for in turn, with line ends of both kinds."""

    def answer(send: Send, line: bytes) -> None:
        for piece in WAYS[way](REPLIES[int(line)] + (b"\r\n" if int(line) % 2 else b"\n")):
            send(piece)

    with connect(answer) as link:
        for number, reply in enumerate(REPLIES):
            assert link.ask(str(number)).encode("latin-1") == reply


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("connect", [socket_link, serial_link], ids=["socket", "serial"])
def test_blocks_are_the_same_however_they_arrive(
    connect: Callable[..., contextlib.AbstractContextManager[Link]], way: str
) -> None:
    """Each block by its count; its line end belongs to it, and nothing of it is left for the next reply."""

    def answer(send: Send, line: bytes) -> None:
        for piece in WAYS[way](BLOCKS[int(line)][0] + b"\n"):
            send(piece)

    with connect(answer) as link:
        for number, (_, content) in enumerate(BLOCKS):
            assert link.ask_block(str(number)) == content


@pytest.mark.parametrize("connect", [socket_link, serial_link], ids=["socket", "serial"])
def test_what_comes_behind_a_reply_waits_for_its_own_question(
    connect: Callable[..., contextlib.AbstractContextManager[Link]],
) -> None:
    """The beginning of the next reply in the same packet is neither lost nor taken for part of this one."""

    def answer(send: Send, line: bytes) -> None:
        number = int(line)
        reply, ahead = REPLIES[number] + b"\n", REPLIES[(number + 1) % len(REPLIES)][:1]
        send((reply if number == 0 else reply[1:]) + ahead)

    with connect(answer) as link:
        for number, reply in enumerate(REPLIES):
            assert link.ask(str(number)).encode("latin-1") == reply
