"""A device served on a raw socket, used by plain sockets."""

from __future__ import annotations

import random
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import closing

import pytest

from autobench.clock import RealClock
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.connections.raw_socket import SocketServer
from simulated_instruments.devices.command_tree import Command, CommandTree, Later
from simulated_instruments.devices.instrument import INPUT_BUFFER, Device


class Store(Device):
    """An instrument that keeps a block and gives it back."""

    model = "TEST STORE"
    stored = ""

    def store(self, block: str) -> None:
        self.stored = block

    tree = CommandTree(
        Command("STORe", store),
        Command("STORe?", lambda device: device.stored),
        Command("SLOW?", lambda device: Later(60.0, lambda: "+1.5")),
        beneath=Device.tree,
    )


class Client:
    """A plain socket that reads lines."""

    def __init__(self, server: SocketServer) -> None:
        self.socket = socket.create_connection(("127.0.0.1", server.port), timeout=5.0)
        self.lines = self.socket.makefile("rb")

    def say(self, data: bytes) -> None:
        self.socket.sendall(data)

    def ask(self, data: bytes) -> bytes:
        self.say(data)
        return self.lines.readline()

    def close(self) -> None:
        self.lines.close()
        self.socket.close()


@pytest.fixture
def device() -> Store:
    return Store("store", SimulatedClock())


@pytest.fixture
def server(device: Store) -> Iterator[SocketServer]:
    with SocketServer(device) as serving:
        yield serving


@pytest.fixture
def client(server: SocketServer) -> Iterator[Client]:
    with closing(Client(server)) as connected:
        yield connected


def test_messages_and_replies_end_with_a_line_feed(client: Client, device: Store) -> None:
    """A message is executed at its line feed, and its reply ends with one."""
    assert client.ask(b"*IDN?\n") == device.identity.encode("ascii") + b"\n"
    assert client.ask(b"*ESE 36\n*ESE?\n") == b"36\n"


def test_carriage_returns_before_the_line_feed(client: Client) -> None:
    """A carriage return before the line feed is white space."""
    assert client.ask(b"*ESE 36\r\n*ESE?\r\n") == b"36\n"  # IEEE 488.2, 7.4.1.2


@pytest.mark.parametrize("pieces", [1, 1000])
def test_line_feeds_inside_a_block(client: Client, device: Store, pieces: int) -> None:
    """A block is not cut at the line feeds inside it, however its bytes arrive."""
    message = b"STOR #14a\nb\n\n*ESE?\n"  # IEEE 488.2, 7.7.6: a definite block takes any bytes
    for at in range(0, len(message), -(-len(message) // pieces)):
        client.say(message[at : at + -(-len(message) // pieces)])
    assert client.lines.readline() == b"0\n"
    assert device.stored == "#14a\nb\n"


def test_a_message_too_long(client: Client) -> None:
    """A message that never ends overruns the input buffer; the device reports it and goes on."""
    client.say(b"X" * (2 * INPUT_BUFFER) + b"\n")
    assert client.ask(b"SYST:ERR?\n").startswith(b"-363")  # SCPI-1999 vol. 2, 21.8: input buffer overrun


def test_waiting_on_a_simulated_clock(client: Client, device: Store) -> None:
    """A slow reply on a simulated clock takes simulated time only."""
    assert client.ask(b"SLOW?\n") == b"+1.5\n"
    assert device.clock.now() >= 60.0


def test_stopping_during_a_slow_reply() -> None:
    """A server that waits in real time for a slow reply can be stopped, and the client sees the connection end."""
    server = SocketServer(Store("store", RealClock()))
    server.start()
    with closing(Client(server)) as client:
        client.say(b"*ESE?;SLOW?\n")
        client.socket.settimeout(0.05)
        with pytest.raises(TimeoutError):
            client.socket.recv(1)
        server.stop()
        client.socket.settimeout(5.0)
        assert client.socket.recv(1) == b""


def test_silent_device(client: Client, device: Store) -> None:
    """A device that is unplugged behind its converter answers nothing; the connection stays."""
    device.silent = True
    client.say(b"*IDN?\n")
    client.socket.settimeout(0.05)
    with pytest.raises(TimeoutError):
        client.socket.recv(1)


def test_two_clients_do_not_mix(server: SocketServer, client: Client) -> None:
    """What one client has half sent is not mixed with what another sends; each gets its own replies."""
    with closing(Client(server)) as other:
        client.say(b"*ES")
        assert other.ask(b"*IDN?\n").startswith(b"ALDER STREET")
        assert client.ask(b"E?\n") == b"0\n"


def test_half_a_message_goes_with_its_client(server: SocketServer, device: Store) -> None:
    """A client that goes in the middle of a message leaves nothing behind."""
    with closing(Client(server)) as gone:
        gone.say(b"*ESE 3")
        assert gone.ask(b"2;*ESE?\n*ESE 6") == b"32\n"
    with closing(Client(server)) as client:
        assert client.ask(b"*ESE?\n") == b"32\n"
        assert client.ask(b"SYST:ERR?\n").startswith(b"0,")


def test_one_connection(device: Store) -> None:
    """A server that takes one client resets a second one, and takes the next when the first has gone."""
    with SocketServer(device, one_connection=True) as server:
        with closing(Client(server)) as first:
            assert first.ask(b"*ESE?\n") == b"0\n"
            # The reset may come as early as the connection itself.
            with pytest.raises(ConnectionResetError), closing(Client(server)) as second:
                second.socket.recv(1)
            assert first.ask(b"*ESE?\n") == b"0\n"
        assert any(answers(server) for _ in range(500))


def answers(server: SocketServer) -> bool:
    """Whether a new client is served; waits a moment, since the server must notice first that the old one has gone."""
    time.sleep(0.005)
    try:
        with closing(Client(server)) as client:
            return client.ask(b"*ESE?\n") == b"0\n"
    except OSError:
        return False


def test_client_that_does_not_read(server: SocketServer, client: Client, device: Store) -> None:
    """A client that does not take its replies is not listened to any more, and does not stop the others."""
    device.stored = "#0" + "x" * 1_000_000
    client.socket.settimeout(0.1)
    with pytest.raises(TimeoutError):
        client.say(b"STOR?\n" * 2_000_000)
    with closing(Client(server)) as other:
        assert other.ask(b"*ESE?\n") == b"0\n"


def test_ten_megabytes(client: Client, device: Store) -> None:
    """A large block is sent whole."""
    data = random.Random(1).randbytes(10_000_000)
    device.stored = "#810000000" + data.decode("latin-1")
    client.say(b"STOR?\n")
    received = bytearray()
    while len(received) < 10_000_011:
        received += client.socket.recv(1 << 20)
    assert received == b"#810000000" + data + b"\n"


def test_start_and_stop_twice(device: Store) -> None:
    """Starting and stopping again does no harm, and a stopped server refuses clients."""
    server = SocketServer(device)
    server.start()
    server.start()
    port = server.port
    server.stop()
    server.stop()
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", port), timeout=1.0)
    assert not any(thread.name == "store socket" for thread in threading.enumerate())


def test_it_binds_to_the_loopback(server: SocketServer) -> None:
    """The server can be reached on this machine only."""
    assert server.address == f"TCPIP::127.0.0.1::{server.port}::SOCKET"
    assert server._listener.getsockname()[0] == "127.0.0.1"
