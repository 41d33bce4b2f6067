"""A loopback port behind which a simulated instrument listens with any line end, or none. Nothing here is checked."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Iterator

from simulated_instruments.devices.instrument import Device


@contextlib.contextmanager
def listening(device: Device | None, end: bytes, heard: list[bytes] | None = None) -> Iterator[int]:
    """The number of the port; `device` None never answers, and what arrives goes to `heard`."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        threading.Thread(target=serve, args=(server, device, end, heard), daemon=True).start()
        try:
            yield int(server.getsockname()[1])
        finally:
            server.shutdown(socket.SHUT_RDWR)  # a thread that waits for clients keeps a closed socket open


def serve(server: socket.socket, device: Device | None, end: bytes, heard: list[bytes] | None) -> None:
    """One client after another, until the server is closed."""
    with contextlib.suppress(OSError):
        while True:
            client, _ = server.accept()
            with client, contextlib.suppress(OSError):
                waiting = b""
                while data := client.recv(4096):
                    if heard is not None:
                        heard.append(data)
                    waiting += data
                    while device is not None and end in waiting:
                        message, _, waiting = waiting.partition(end)
                        if message:
                            client.sendall(answer(device, message, end))


def answer(device: Device, message: bytes, end: bytes) -> bytes:
    """The reply of the instrument to one message, nothing where it has none."""
    device.receive(message, True)
    pending = device.reply()
    if pending is None:
        return b""
    device.clock.sleep(max(0.0, pending.ready_at - device.clock.now()))
    data = pending.data
    device.take()
    return data.rstrip(b"\r\n") + end
