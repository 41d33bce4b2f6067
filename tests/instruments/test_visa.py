"""Opening sessions: which addresses are refused, and how every foreign error is worded."""

from __future__ import annotations

import errno
import socket
from typing import Any

import pytest
from pyvisa import errors, rname
from pyvisa.constants import StatusCode

from autobench.clock import RealClock
from autobench.errors import LinkError, LinkLostError, NoReplyError
from autobench.instruments.foreign_errors import in_words
from autobench.instruments.visa import open_session
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.connections.hislip import HislipServer
from simulated_instruments.connections.in_process import InProcessLibrary
from simulated_instruments.connections.raw_socket import SocketServer
from simulated_instruments.devices.command_tree import Command, CommandTree
from simulated_instruments.devices.instrument import Device


class Echo(Device):
    """An instrument with a reply that is longer than one chunk."""

    model = "TEST ECHO"
    tree = CommandTree(Command("LONG?", lambda device: "0123456789" * 100_000), beneath=Device.tree)


@pytest.mark.parametrize(
    ("error", "kind", "words"),
    [
        (errors.VisaIOError(StatusCode.error_timeout), NoReplyError, "nothing more came"),
        (errors.VisaIOError(StatusCode.error_connection_lost), LinkLostError, "VI_ERROR_CONN_LOST"),
        (errors.VisaIOError(StatusCode.error_resource_not_found), LinkLostError, "nothing answers"),
        (errors.VisaIOError(StatusCode.error_resource_locked), LinkError, "VI_ERROR_RSRC_LOCKED"),
        (errors.VisaIOError(-1), LinkError, "the connection reports"),
        (errors.InvalidSession(), LinkLostError, "closed"),
        (rname.InvalidResourceName("cannot parse 'X'"), LinkError, "address cannot be understood"),
        (ConnectionRefusedError(errno.ECONNREFUSED, "Connection refused"), LinkLostError, "refused"),
        (ConnectionResetError(errno.ECONNRESET, "Connection reset by peer"), LinkLostError, "reset by peer"),
        (OSError("device disconnected"), LinkLostError, "device disconnected"),
        (TimeoutError(), NoReplyError, "nothing more came"),
        (RuntimeError("message type 9"), LinkError, "the connection failed: message type 9"),
        (TypeError("no length"), LinkError, "the connection failed: no length"),
        (ValueError("filedescriptor out of range"), LinkError, "the connection failed: filedescriptor"),
        (UnicodeDecodeError("ascii", b"\xff", 0, 1, "ordinal not in range"), LinkError, "what came is no text"),
        (Exception("error creating link: 3"), LinkError, "error creating link: 3"),
    ],
)
def test_foreign_errors_in_words(error: Exception, kind: type[LinkError], words: str) -> None:
    """Each class of error that leaves the VISA stack becomes exactly one of ours, with its reason."""
    told = in_words("meter", error)
    assert type(told) is kind
    assert told.instrument == "meter"
    assert words in str(told)
    assert type(error).__name__ not in str(told)


@pytest.fixture
def library() -> InProcessLibrary:
    clock = SimulatedClock()
    return InProcessLibrary({"GPIB0::5::INSTR": Echo("echo", clock)}, clock)


def test_unknown_address(library: InProcessLibrary) -> None:
    """An address where no instrument is cannot be opened, and is named."""
    with pytest.raises(LinkLostError, match="meter: cannot open GPIB0::6::INSTR: nothing answers at this address"):
        open_session("GPIB0::6::INSTR", instrument="meter", library=library)


def test_nonsense_address(library: InProcessLibrary) -> None:
    """An address that is none is refused in words."""
    with pytest.raises(LinkError, match="cannot open somewhere: "):
        open_session("somewhere", instrument="meter", library=library)


def test_long_message_in_chunks(library: InProcessLibrary) -> None:
    """A message longer than one chunk is put together up to its END."""
    session = open_session("GPIB0::5::INSTR", instrument="echo", library=library)
    session.write(b"LONG?", 1.0)
    assert session.read_message(1.0) == b"0123456789" * 100_000
    session.close()


def test_status_byte(library: InProcessLibrary) -> None:
    """A transport with serial poll gives the status byte."""
    session = open_session("GPIB0::5::INSTR", instrument="echo", library=library)
    assert session.status_byte() == 0
    session.write(b"NONSENSE", 1.0)
    assert session.status_byte() == 4  # SCPI-1999 vol. 1, 9: bit 2, the error queue is not empty
    session.close()


def test_no_status_byte_on_a_socket() -> None:
    """A raw socket has no serial poll, and says so with None."""
    with SocketServer(Echo("echo", SimulatedClock())) as server:
        session = open_session(server.address, instrument="echo")
        assert session.status_byte() is None
        session.close()


def test_replies_without_a_line_end() -> None:
    """Where neither the transport nor the dialect ends a message, a whole message cannot be asked for."""
    with SocketServer(Echo("echo", SimulatedClock())) as server:
        session = open_session(server.address, instrument="echo", receive_end="")
        with pytest.raises(LinkError, match="neither a line end nor an END flag"):
            session.read_message(0.1)
        session.write(b"*ESE?", 1.0)
        assert session.read_exact(1, 1.0) == b"0"
        assert session.finish_message(0.1) == b""
        session.close()


def test_closing_one_leaves_the_others_open() -> None:
    """Each session is closed alone: the resource manager they share stays."""
    with SocketServer(Echo("one", SimulatedClock())) as one, SocketServer(Echo("two", SimulatedClock())) as two:
        first, second = (open_session(server.address, instrument="echo") for server in (one, two))
        first.close()
        second.write(b"*ESE?", 1.0)
        assert second.read_message(1.0) == b"0"
        second.close()


def test_each_message_over_hislip_has_a_deadline_of_its_own() -> None:
    """The same time-out again is a new one: what the messages before took is not counted."""
    with HislipServer(Echo("it", RealClock())) as server:
        session = open_session(server.address, instrument="it")
        for _ in range(3):
            session.write(b"*ESE?", 0.3)
            assert session.read_message(0.3) == b"0"
            RealClock().sleep(0.2)
        session.close()


def test_refused_port_leaves_nothing_open(recwarn: Any) -> None:
    """Failing to open does not leave a socket behind: there is nothing to warn of."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    with pytest.raises(LinkLostError):
        open_session(f"TCPIP::127.0.0.1::{port}::SOCKET", instrument="meter")
    assert list(recwarn) == []
