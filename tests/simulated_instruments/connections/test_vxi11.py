"""The VXI-11 server: its rules without a socket, and conversations with the VISA back end as independent client.

Numbers of programs, procedures, flags and errors are those of VXI-11 revision 1.0, section B, as the back end's own
tables have them; records and calls are those of RFC 5531.
"""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyvisa_py.protocols import rpc
from pyvisa_py.protocols import vxi11 as reference
from pyvisa_py.tcpip import Vxi11CoreClient

from autobench.clock import RealClock
from autobench.errors import ProtocolError
from autobench.protocols.blocks import encode_block
from autobench.protocols.remote_calls import RecordReader, record
from simulated_instruments.connections.vxi11 import Vxi11Server
from simulated_instruments.connections.vxi11_conversation import (
    LARGEST,
    PROCEDURES,
    Abort,
    AskStatus,
    Clear,
    Execute,
    Links,
    Read,
    Send,
    Vxi11Conversation,
)
from simulated_instruments.devices.command_tree import Command, CommandTree, Later
from simulated_instruments.devices.instrument import Device

RECORD = bytes(range(256)) * 1200
END = reference.OP_FLAG_END


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
def server() -> Iterator[Vxi11Server]:
    with Vxi11Server(Recorder("recorder", RealClock())) as running:
        yield running


@contextlib.contextmanager
def linked(server: Vxi11Server) -> Iterator[tuple[Any, int]]:
    """The back end's own stock client, and the link it was given."""
    client = Vxi11CoreClient("127.0.0.1", server.port)
    try:
        error, link, port, most = client.create_link(7, 0, 0, "inst0")
        assert (error, port, most) == (0, server.port, LARGEST)
        yield client, link
    finally:
        client.close()


@pytest.fixture
def client(server: Vxi11Server) -> Iterator[tuple[Any, int]]:
    with linked(server) as met:
        yield met


def packed(
    procedure: int, *arguments: int | bytes, program: int = reference.DEVICE_CORE_PROG, version: int = 1
) -> bytes:
    """One call, packed by the back end's own packer."""
    packer = rpc.Packer()
    packer.pack_callheader(1, program, version, procedure, (0, b""), (0, b""))
    for argument in arguments:
        packer.pack_opaque(argument) if isinstance(argument, bytes) else packer.pack_uint(argument)
    return bytes(packer.get_buf())


def accepted(events: list[Any]) -> int:
    """How the one answer says that its call was accepted (RFC 5531, 9)."""
    (event,) = events
    assert isinstance(event, Send)
    (data,) = RecordReader().feed(event.record)
    unpacker = rpc.Unpacker(data)
    assert (unpacker.unpack_uint(), unpacker.unpack_uint(), unpacker.unpack_uint()) == (1, 1, 0)
    unpacker.unpack_auth()
    return int(unpacker.unpack_uint())


def talk() -> Vxi11Conversation:
    """A conversation with one link, number 1."""
    conversation = Vxi11Conversation(Links(), 4711)
    assert accepted(conversation.take(packed(reference.CREATE_LINK, 7, 0, 0, b"inst0"))) == 0
    return conversation


def test_procedures_have_the_numbers_of_the_standard() -> None:
    """Those of the core channel, as the back end's table has them."""
    names = (
        "CREATE_LINK DEVICE_WRITE DEVICE_READ DEVICE_READSTB DEVICE_TRIGGER DEVICE_CLEAR DEVICE_REMOTE DEVICE_LOCAL "
        "DEVICE_LOCK DEVICE_UNLOCK DEVICE_ENABLE_SRQ DEVICE_DOCMD DESTROY_LINK CREATE_INTR_CHAN DESTROY_INTR_CHAN"
    )
    assert set(PROCEDURES) == {getattr(reference, name) for name in names.split()}


def test_what_is_not_served_is_refused_by_its_reason() -> None:
    """Another program, version or procedure, arguments that end too early, and no call at all."""
    conversation = talk()
    assert accepted(conversation.take(packed(10, program=100_000))) == rpc.AcceptStatus.program_unavailable
    assert accepted(conversation.take(packed(10, version=2))) == rpc.AcceptStatus.program_mismatch
    assert accepted(conversation.take(packed(99))) == rpc.AcceptStatus.procedure_unavailable
    assert accepted(conversation.take(packed(reference.DEVICE_READ, 1))) == rpc.AcceptStatus.garbage_args
    assert accepted(conversation.take(packed(0))) == rpc.AcceptStatus.success  # RFC 5531, 12.1: the null procedure
    with pytest.raises(ProtocolError):
        conversation.take(b"\0\0\0\1\0\0\0\1")


def test_operations_become_what_is_to_be_done() -> None:
    """END goes with a write that says so; a read has its count, its stop and its time."""
    conversation = talk()
    done = conversation.take(packed(reference.DEVICE_WRITE, 1, 1000, 0, END, b"*IDN?"))
    assert done[0] == Execute(b"*IDN?", True)
    assert conversation.take(packed(reference.DEVICE_WRITE, 1, 1000, 0, 0, b"*I"))[0] == Execute(b"*I", False)
    (read,) = conversation.take(
        packed(reference.DEVICE_READ, 1, 100, 2500, 0, reference.OP_FLAG_TERMCHAR_SET, ord("\n"))
    )
    assert isinstance(read, Read)
    assert (read.link, read.count, read.stop, read.seconds) == (1, 100, 10, 2.5)
    assert isinstance(conversation.take(packed(reference.DEVICE_READSTB, 1, 0, 0, 0))[0], AskStatus)
    assert conversation.take(packed(reference.DEVICE_TRIGGER, 1, 0, 0, 0))[0] == Execute(b"*TRG", True)
    assert conversation.take(packed(reference.DEVICE_CLEAR, 1, 0, 0, 0))[0] == Clear()
    stop = packed(reference.DEVICE_ABORT, 1, program=reference.DEVICE_ASYNC_PROG)
    assert conversation.take(stop)[0] == Abort(1)


@given(st.binary(max_size=200))
def test_no_record_raises_anything_but_a_protocol_error(data: bytes) -> None:
    """Whatever comes, as a record and as the arguments of a call."""
    with contextlib.suppress(ProtocolError):
        talk().take(data)
    for procedure in PROCEDURES:
        talk().take(packed(procedure) + data)


@given(st.lists(st.binary(max_size=40), max_size=5), st.binary(max_size=3), st.data())
def test_records_come_whole_however_they_arrive(records: list[bytes], rest: bytes, data: st.DataObject) -> None:
    """In one piece, byte by byte, in fragments, and with the beginning of another behind them (RFC 5531, 11)."""
    stream = b"".join(map(record, records)) + rest
    whole, bytewise = RecordReader(), RecordReader()
    assert whole.feed(stream) == records
    assert [each for byte in stream for each in bytewise.feed(bytes([byte]))] == records
    assert whole.rest == bytewise.rest == len(rest)
    joined = b"".join(records)
    cut = data.draw(st.integers(0, len(joined)))
    fragments = cut.to_bytes(4, "big") + joined[:cut] + record(joined[cut:])
    assert RecordReader().feed(fragments) == [joined]


@given(st.binary(max_size=64))
def test_no_stream_raises_anything_but_a_protocol_error(stream: bytes) -> None:
    """A length that is absurd is refused; anything else is a record, or may become one."""
    with contextlib.suppress(ProtocolError):
        RecordReader(most=1000).feed(stream)


def test_a_query_and_a_long_record(client: tuple[Any, int], server: Vxi11Server) -> None:
    """An independent client asks, reads in pieces and is told why each ends."""
    asked, link = client
    assert asked.device_write(link, 1000, 0, END, b"*IDN?") == (0, 5)
    assert asked.device_read(link, 4, 1000, 0, 0, 0) == (0, reference.RX_REQCNT, server.device.identity[:4].encode())
    rest = server.device.identity[4:].encode() + b"\n"
    assert asked.device_read(link, 1000, 1000, 0, 0, 0) == (0, reference.RX_END, rest)
    asked.device_write(link, 1000, 0, END, b"*ESE?;*ESE?")
    flags = reference.OP_FLAG_TERMCHAR_SET
    assert asked.device_read(link, 99, 1000, 0, flags, ord(";")) == (0, reference.RX_CHR, b"0;")
    assert asked.device_read(link, 99, 1000, 0, flags, ord(";")) == (0, reference.RX_END, b"0\n")
    asked.device_write(link, 1000, 0, END, b"CURV?")
    assert asked.device_read(link, 10**6, 2000, 0, 0, 0)[2] == encode_block(RECORD) + b"\n"


def test_a_read_of_nothing_times_out_and_is_an_error_of_its_own(client: tuple[Any, int], server: Vxi11Server) -> None:
    """-420 is the query error of who reads without having asked (SCPI-1999 vol. 2, 21.8.11)."""
    asked, link = client
    begun = time.monotonic()
    error, _, data = asked.device_read(link, 100, 100, 0, 0, 0)
    assert (error, data) == (reference.ErrorCodes.io_timeout, b"")
    assert time.monotonic() - begun >= 0.1
    assert server.device.errors.pop().number == -420


def test_the_status_is_polled_while_a_reply_is_waited_for(server: Vxi11Server) -> None:
    """One link's slow query does not hold another link's poll; a clear forgets the query."""
    with linked(server) as (first, one), linked(server) as (second, two):
        first.device_write(one, 1000, 0, END, b"SLOW?")
        assert second.device_read_stb(two, 0, 0, 1000) == (0, 0)
        assert second.device_clear(two, 0, 0, 1000) == 0
        assert first.device_read(one, 100, 100, 0, 0, 0)[0] == reference.ErrorCodes.io_timeout


def test_a_waiting_read_is_aborted_over_the_other_channel(server: Vxi11Server) -> None:
    """Error 23 ends it at once (VXI-11, B.6.15)."""
    with linked(server) as (client, link):
        results: list[Any] = []
        thread = threading.Thread(target=lambda: results.append(client.device_read(link, 10, 5000, 0, 0, 0)))
        thread.start()
        time.sleep(0.1)
        other = rpc.RawTCPClient("127.0.0.1", reference.DEVICE_ASYNC_PROG, 1, server.port)
        other.packer, other.unpacker = rpc.Packer(), rpc.Unpacker(b"")
        assert other.make_call(reference.DEVICE_ABORT, link, other.packer.pack_int, other.unpacker.unpack_int) == 0
        other.close()
        thread.join(3.0)
        assert results[0][0] == reference.ErrorCodes.abort


def test_a_lock_keeps_others_out_and_ends_with_its_link(server: Vxi11Server) -> None:
    """Error 11 for everybody else, 12 for who holds none; a connection that goes takes its lock along."""
    with linked(server) as (first, one):
        with linked(server) as (second, two):
            assert second.device_lock(two, 0, 0) == 0
            assert (
                first.device_write(one, 100, 0, END, b"*CLS")[0] == reference.ErrorCodes.device_locked_by_another_link
            )
            assert first.device_lock(one, 0, 0) == reference.ErrorCodes.device_locked_by_another_link
            assert first.device_unlock(one) == reference.ErrorCodes.no_lock_held_by_this_link
            assert second.device_unlock(two) == 0
            assert second.device_lock(two, 0, 0) == 0
        for _ in range(100):
            if first.device_write(one, 100, 0, END, b"*CLS")[0] == 0:
                break
            time.sleep(0.01)
        assert first.device_lock(one, 0, 0) == 0


def test_unknown_links_and_names_are_refused(client: tuple[Any, int]) -> None:
    """Error 4 for a link there is none of, 3 for another instrument behind this address, 8 for what is not there."""
    asked, link = client
    assert asked.device_write(link + 5, 100, 0, END, b"*CLS")[0] == reference.ErrorCodes.invalid_link_identifier
    assert asked.create_link(7, 0, 0, "inst9")[0] == reference.ErrorCodes.device_not_accessible
    assert asked.device_enable_srq(link, False, b"") == reference.ErrorCodes.operation_not_supported
    assert asked.destroy_link(link) == 0
    assert asked.destroy_link(link) == reference.ErrorCodes.invalid_link_identifier


def test_garbage_ends_the_connection_and_nothing_else(server: Vxi11Server) -> None:
    """A client that speaks something else is dropped; the next one is served."""
    for garbage in (b"GET / HTTP/1.1\r\n\r\n", record(b"not a call")):
        with socket.create_connection(("127.0.0.1", server.port), timeout=2.0) as client:
            client.sendall(garbage if garbage[:1] != b"G" else b"\xff" * 8)
            assert client.recv(10) == b""
    with linked(server) as (asked, link):
        assert asked.device_write(link, 100, 0, END, b"*CLS")[0] == 0


def test_one_connection_means_one_link() -> None:
    """The second client is told that there is no room (error 9)."""
    with Vxi11Server(Recorder("recorder", RealClock()), one_connection=True) as server, linked(server):
        second = Vxi11CoreClient("127.0.0.1", server.port)
        assert second.create_link(8, 0, 0, "inst0")[0] == reference.ErrorCodes.out_of_resources
        second.close()
