"""A peer that does nothing but answer, in a process of its own, so that its work is not measured with the client's."""

from __future__ import annotations

import multiprocessing
import socket
import struct
import time
from multiprocessing.connection import Connection
from typing import Any

HEADER = struct.Struct("!2sBBIQ")
CHUNK = (1 << 20) - HEADER.size  # what the back end's client asks for


def serve(answers: dict[bytes, bytes], hislip: bool, delay: float, told: Connection) -> None:
    """Listen, tell the port, serve one client after another until killed."""
    listener = socket.create_server(("127.0.0.1", 0))
    told.send(listener.getsockname()[1])
    while True:
        client, _ = listener.accept()
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        if hislip:
            second = serve_hislip(listener, client, answers)
            second.close()
        else:
            serve_lines(client, answers, delay)
        client.close()


def serve_lines(client: socket.socket, answers: dict[bytes, bytes], delay: float) -> None:
    """Whole messages, since only one is ever under way; each answer after `delay` s."""
    while data := client.recv(4096):
        if data in answers:
            if delay:
                time.sleep(delay)
            client.sendall(answers[data])


def exactly(client: socket.socket, count: int) -> bytes:
    """So many bytes; empty at the end."""
    data = b""
    while len(data) < count:
        piece = client.recv(count - len(data))
        if not piece:
            return b""
        data += piece
    return data


def serve_hislip(listener: socket.socket, client: socket.socket, answers: dict[bytes, bytes]) -> socket.socket:
    """The least of HiSLIP that a query needs; the messages of each answer are made beforehand."""
    exactly(client, HEADER.unpack(exactly(client, HEADER.size))[4])
    client.sendall(HEADER.pack(b"HS", 1, 0, 0x0100_0001, 0))
    second, _ = listener.accept()
    exactly(second, HEADER.size)
    second.sendall(HEADER.pack(b"HS", 18, 0, 0, 0))
    exactly(second, HEADER.size + 8)
    second.sendall(HEADER.pack(b"HS", 16, 0, 0, 8) + struct.pack("!Q", 1 << 20))
    while head := exactly(client, HEADER.size):
        _, kind, _, number, length = HEADER.unpack(head)
        message = exactly(client, length)
        if kind != 7 or message not in answers:
            continue
        whole = memoryview(answers[message])
        for place in range(0, len(whole), CHUNK):
            piece = whole[place : place + CHUNK]
            last = place + CHUNK >= len(whole)
            client.sendall(HEADER.pack(b"HS", 7 if last else 6, 0, number, len(piece)))
            client.sendall(piece)
    return second


class Answering:
    """The running peer; `address` is its VISA address."""

    def __init__(self, answers: dict[bytes, bytes], *, hislip: bool = False, delay: float = 0.0) -> None:
        self.hislip = hislip
        context = multiprocessing.get_context("spawn")
        self._here, there = context.Pipe()
        self._process: Any = context.Process(target=serve, args=(answers, hislip, delay, there), daemon=True)
        self.port = 0

    @property
    def address(self) -> str:
        return (
            f"TCPIP::127.0.0.1::{'hislip0,' if self.hislip else ''}{self.port}::{'INSTR' if self.hislip else 'SOCKET'}"
        )

    def __enter__(self) -> Answering:
        self._process.start()
        self.port = self._here.recv()
        return self

    def __exit__(self, *_: object) -> None:
        self._process.kill()
        self._process.join()
        self._process.close()
        self._here.close()
