"""The HiSLIP server: its rules without a socket, and conversations with the VISA back end as independent client."""

from __future__ import annotations

import contextlib
import socket
import struct
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
import pyvisa
from hypothesis import given
from hypothesis import strategies as st
from pyvisa_py.protocols import hislip as reference

from autobench.clock import RealClock
from autobench.protocols.blocks import encode_block
from autobench.protocols.hislip import HislipMessage, HislipReader, Kind
from simulated_instruments.connections.hislip import HislipServer
from simulated_instruments.connections.hislip_conversation import (
    AskStatus,
    Clear,
    Execute,
    HislipConversation,
    Interrupted,
    Send,
)
from simulated_instruments.devices.command_tree import Command, CommandTree, Later
from simulated_instruments.devices.instrument import Device

RECORD = bytes(range(256)) * 12_000  # three messages of the size a client asks for


class Recorder(Device):
    """An instrument with a record and a slow question."""

    model = "TEST RECORDER"
    latency = 0.0

    tree = CommandTree(
        Command("CURVe?", lambda _: encode_block(RECORD).decode("latin-1")),
        Command("SLOW?", lambda _: Later(0.3, lambda: "done")),
        beneath=Device.tree,
    )


@pytest.fixture
def server() -> Iterator[HislipServer]:
    with HislipServer(Recorder("recorder", RealClock())) as running:
        yield running


@pytest.fixture
def client(server: HislipServer) -> Iterator[Any]:
    manager = pyvisa.ResourceManager("@py")
    resource = manager.open_resource(server.address, timeout=2000, read_termination="\n")
    yield resource
    resource.close()


def everything(client: socket.socket) -> bytes:
    """All that comes until the other side closes."""
    data = b""
    while piece := client.recv(4096):
        data += piece
    return data


def end(text: bytes, number: int, control: int = 0) -> HislipMessage:
    """A program message of the client."""
    return HislipMessage(Kind.DATA_END, control, number, text)


def test_a_query_is_answered_under_its_own_number() -> None:
    """The response carries the number of the message that asked (IVI-6.1, 3.1: synchronised mode)."""
    talk = HislipConversation(1)
    assert talk.synchronous(HislipMessage(Kind.DATA, 0, 10, b"*ID")) == []
    assert talk.synchronous(end(b"N?\n", 12)) == [Execute(b"*IDN?\n")]
    assert talk.response(b"me\n") == [HislipMessage(Kind.DATA_END, 0, 12, b"me\n")]


def test_a_long_response_is_cut_to_what_the_client_takes() -> None:
    """Every message but the last is Data, and none is larger than agreed, header included."""
    talk = HislipConversation(1)
    (response,) = talk.asynchronous(HislipMessage(Kind.ASYNC_MAXIMUM_MESSAGE_SIZE, payload=struct.pack("!Q", 26)))
    assert isinstance(response, Send)
    assert response.message.kind == Kind.ASYNC_MAXIMUM_MESSAGE_SIZE_RESPONSE
    talk.synchronous(end(b"CURV?", 4))
    sent = talk.response(b"0123456789abcdefghijKL")
    assert [(one.kind, one.payload) for one in sent] == [
        (Kind.DATA, b"0123456789"),
        (Kind.DATA, b"abcdefghij"),
        (Kind.DATA_END, b"KL"),
    ]


def test_a_response_that_was_not_read_interrupts() -> None:
    """IVI-6.1, 3.1.1: without the sign that the response was read, the next message is an interrupted query (-410)."""
    talk = HislipConversation(1)
    talk.synchronous(end(b"*IDN?", 2))
    talk.response(b"me\n")
    assert talk.synchronous(end(b"*ESE?", 4, control=1)) == [Execute(b"*ESE?")]  # read: RMT-delivered
    talk.response(b"0\n")
    events = talk.synchronous(end(b"*OPC?", 6))
    assert events[0] == Interrupted()
    assert events[1] == Send("synchronous", HislipMessage(Kind.INTERRUPTED, 0, 6))
    assert events[2] == Execute(b"*OPC?")


def test_a_device_clear_drops_what_is_on_its_way() -> None:
    """IVI-6.1, 4.12: between the clear and its completion program messages are dropped; then all is fresh."""
    talk = HislipConversation(1)
    talk.synchronous(HislipMessage(Kind.DATA, 0, 2, b"half a mess"))
    first, second = talk.asynchronous(HislipMessage(Kind.ASYNC_DEVICE_CLEAR))
    assert first == Clear()
    assert second == Send("asynchronous", HislipMessage(Kind.ASYNC_DEVICE_CLEAR_ACKNOWLEDGE))
    assert talk.synchronous(end(b"*RST", 4)) == []
    (done,) = talk.synchronous(HislipMessage(Kind.DEVICE_CLEAR_COMPLETE))
    assert done == Send("synchronous", HislipMessage(Kind.DEVICE_CLEAR_ACKNOWLEDGE))
    assert talk.synchronous(end(b"*IDN?", 0xFFFF_FF00)) == [Execute(b"*IDN?")]


def test_status_trigger_and_locks() -> None:
    """A status query asks the instrument, a trigger is `*TRG`, and an exclusive lock is had once."""
    talk = HislipConversation(1)
    assert talk.asynchronous(HislipMessage(Kind.ASYNC_STATUS_QUERY)) == [AskStatus()]
    assert talk.synchronous(HislipMessage(Kind.TRIGGER, 0, 2)) == [Execute(b"*TRG")]
    codes = []
    for control in (1, 1, 0, 0):
        (sent,) = talk.asynchronous(HislipMessage(Kind.ASYNC_LOCK, control, 1000))
        assert isinstance(sent, Send)
        codes.append(sent.message.control)
    assert codes == [1, 0, 1, 3]  # IVI-6.1, 4.5: success, failure, success, error


@given(st.lists(st.tuples(st.integers(0, 255), st.integers(0, 255), st.integers(0, 2**32 - 1), st.binary(max_size=9))))
def test_no_message_upsets_the_rules(parts: list[tuple[int, int, int, bytes]]) -> None:
    """Whatever a client sends on either channel is answered, dropped or refused, and nothing is raised."""
    talk = HislipConversation(1)
    for part in parts:
        talk.synchronous(HislipMessage(*part))
        talk.asynchronous(HislipMessage(*part))


def test_an_independent_client_speaks_with_it(client: Any, server: HislipServer) -> None:
    """Commands, queries, a record in three messages, serial poll and device clear by the VISA back end."""
    client.write("*ESE 36")
    assert client.query("*ESE?") == "36"
    assert client.query("*IDN?") == server.device.identity
    assert client.read_stb() == 0
    client.write("NONSENSE")
    assert client.query("*STB?") == "36"  # IEEE 488.2 11.2: bit 5, an enabled event; SCPI-1999: bit 2, the error queue
    assert client.read_stb() == 36
    client.write("CURV?")
    client.read_termination = None
    assert client.read_bytes(len(RECORD) + 10) == encode_block(RECORD) + b"\n"
    client.read_termination = "\n"
    client.clear()
    assert client.query("*ESE?") == "36"


def test_a_status_query_is_answered_during_a_slow_query(client: Any) -> None:
    """The other channel is heard while a reply is waited for."""
    interface = client.visalib.sessions[client.session].interface
    began = time.monotonic()
    client.write("SLOW?")
    answered: list[float] = []
    asking = threading.Thread(target=lambda: answered.append(interface.async_status_query() * 0.0 + time.monotonic()))
    asking.start()
    assert client.read() == "done"
    finished = time.monotonic()
    asking.join()
    assert began < answered[0] < finished


def test_locks_and_remote_control_by_an_independent_client(client: Any) -> None:
    """What VISA does not reach is there on the protocol's own object."""
    interface = client.visalib.sessions[client.session].interface
    assert interface.async_lock_request(0.5) == "success"
    assert interface.async_lock_info() == 1
    assert interface.async_lock_release() == "success"
    interface.async_remote_local_control("enableRemote")
    interface.trigger()
    assert client.query("SYST:ERR?").startswith("-113")  # this recorder knows no trigger


@pytest.mark.parametrize("first", [b"GET / HTTP/1.1\r\n\r\n", HislipMessage(Kind.ASYNC_INITIALIZE, 0, 77).encoded()])
def test_what_is_no_client_gets_a_fatal_error(server: HislipServer, first: bytes) -> None:
    """A poor header or a wrong beginning is told, and the connection closed (IVI-6.1, 4.3)."""
    with socket.create_connection(("127.0.0.1", server.port), timeout=2.0) as client:
        client.sendall(first)
        (told,) = HislipReader().feed(everything(client))
    assert told.kind == Kind.FATAL_ERROR
    assert reference.FATALERRORMESSAGE[told.control] in (
        "Poorly formed message header",
        "Invalid Initialization sequence",
    )


def test_a_client_that_goes_takes_both_its_channels_along(server: HislipServer) -> None:
    """Twenty clients one after another leave nothing behind that the next would stumble over."""
    manager = pyvisa.ResourceManager("@py")
    for _ in range(20):
        resource: Any = manager.open_resource(server.address, timeout=2000, read_termination="\n")
        assert resource.query("*IDN?") == server.device.identity
        resource.close()


def test_one_connection(server: HislipServer) -> None:
    """Where only one client is served the second is told so."""
    server.one_connection = True
    manager = pyvisa.ResourceManager("@py")
    resource: Any = manager.open_resource(server.address, timeout=2000, read_termination="\n")
    with socket.create_connection(("127.0.0.1", server.port), timeout=2.0) as second:
        second.sendall(HislipMessage(Kind.INITIALIZE, 0, 0x0100_0000, b"hislip0").encoded())
        (told,) = HislipReader().feed(everything(second))
    assert told.kind == Kind.FATAL_ERROR
    assert resource.query("*IDN?") == server.device.identity
    with contextlib.suppress(pyvisa.Error):
        resource.close()
