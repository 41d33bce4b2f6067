"""The VXI-11 session, against the simulator's server and against peers that answer wrongly, late or not at all."""

from __future__ import annotations

import contextlib
import re
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator

import pytest
from pyvisa_py.protocols import rpc

from autobench.clock import RealClock
from autobench.errors import LinkError, LinkLostError, NoReplyError
from autobench.instruments.visa import VisaSession, open_session
from autobench.protocols.remote_calls import RecordReader, read_call, record
from simulated_instruments.connections.vxi11 import Vxi11Server
from tests.instruments.conftest import Recorder

LINKED = struct.pack("!IIII", 0, 1, 0, 4096)  # VXI-11, B.6.3: no error, link 1, no abort channel, longest write
WRITTEN = struct.pack("!II", 0, 5)  # VXI-11, B.6.4: no error, five bytes taken


def accepted(number: int, results: bytes) -> bytes:
    """A reply as the back end's own packer writes it (RFC 5531, 9)."""
    packer = rpc.Packer()
    packer.pack_replyheader(number, (0, b""))
    return record(bytes(packer.get_buf()) + results)


def said(data: bytes) -> bytes:
    """The results of a read that ended with END (VXI-11, B.6.5)."""
    return struct.pack("!III", 0, 4, len(data)) + data + bytes(-len(data) % 4)


Answers = Callable[[socket.socket, int, int], None]


@contextlib.contextmanager
def peer(answers: Answers) -> Iterator[str]:
    """A server for one client; `answers` gets the connection, the number of each call and its procedure."""
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def serve() -> None:
            client, _ = listener.accept()
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            reader = RecordReader()
            with client, contextlib.suppress(OSError):
                while data := client.recv(4096):
                    for each in reader.feed(data):
                        call = read_call(each)
                        answers(client, call.number, call.procedure)

        thread = threading.Thread(target=serve)
        thread.start()
        yield f"TCPIP::127.0.0.1,{listener.getsockname()[1]}::inst0::INSTR"
        thread.join(5.0)


@contextlib.contextmanager
def opened(answers: Answers, owed: list[bytes] | None = None) -> Iterator[VisaSession]:
    """A session with such a peer, which gives it a link; what is `owed` goes out before the answer to a write."""

    def first(client: socket.socket, number: int, procedure: int) -> None:
        if procedure == 10:
            client.sendall(accepted(number, LINKED))
        elif procedure == 11:
            client.sendall((owed.pop() if owed else b"") + accepted(number, WRITTEN))
        else:
            answers(client, number, procedure)

    with peer(first) as address:
        session = open_session(address, instrument="meter")
        yield session
        session.close()


def test_a_refused_port_fails_on_opening() -> None:
    """Where nobody listens, opening fails at once and says so."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    with pytest.raises(LinkLostError, match=rf"meter: cannot open TCPIP::127\.0\.0\.1,{port}::inst0::INSTR: .*refused"):
        open_session(f"TCPIP::127.0.0.1,{port}::inst0::INSTR", instrument="meter")


def test_a_link_that_is_not_given_is_said_in_words() -> None:
    """An instrument that has one link and gave it to somebody else says so by a number (VXI-11, table B.2: 9)."""
    with Vxi11Server(Recorder("recorder", RealClock()), one_connection=True) as server:
        first = open_session(server.address, instrument="meter")
        with pytest.raises(LinkError, match=r"meter: cannot open .*: the instrument gives no link \(VXI-11 error 9\)"):
            open_session(server.address, instrument="meter")
        first.close()
        end = time.monotonic() + 5.0
        while time.monotonic() < end:  # the server notices in its own time that the first one went
            with contextlib.suppress(LinkError):
                open_session(server.address, instrument="meter").close()
                break
        else:
            pytest.fail("the link was never free again")


def test_a_reply_that_comes_late_is_known_by_its_number() -> None:
    """What was asked in vain is answered later; the next read gets its own reply all the same."""
    late: list[int] = []

    def answers(client: socket.socket, number: int, procedure: int) -> None:
        if not late:
            late.append(number)
            return
        client.sendall(accepted(late[0], said(b"stale\n")) + accepted(number, said(b"fresh\n")))

    with opened(answers) as session:
        session.write(b"READ?", 1.0)
        with pytest.raises(NoReplyError):
            session.read_message(0.1)
        session.write(b"READ?", 1.0)
        assert session.read_message(1.0) == b"fresh"


def test_a_reply_cut_by_a_time_out_is_read_to_its_end_first() -> None:
    """The rest of a record that came too late is no beginning of another one."""
    asked: list[int] = []
    owed: list[bytes] = []

    def answers(client: socket.socket, number: int, procedure: int) -> None:
        asked.append(number)
        if len(asked) == 1:
            whole = accepted(number, said(b"stale\n"))
            client.sendall(whole[:20])
            owed.append(whole[20:])
        else:
            client.sendall(accepted(number, said(b"fresh\n")))

    with opened(answers, owed) as session:
        session.write(b"READ?", 1.0)
        with pytest.raises(NoReplyError):
            session.read_message(0.1)
        session.write(b"READ?", 1.0)
        assert session.read_message(1.0) == b"fresh"


def test_bytes_that_trickle_in_do_not_stretch_the_deadline() -> None:
    """One byte every 50 ms: the deadline and the instrument's half second of grace, and no more."""

    def answers(client: socket.socket, number: int, procedure: int) -> None:
        for byte in accepted(number, said(b"4.99\n")):
            client.sendall(bytes([byte]))
            time.sleep(0.05)

    with opened(answers) as session:
        session.write(b"READ?", 1.0)
        begun = time.monotonic()
        with pytest.raises(NoReplyError):
            session.read_message(0.2)
        assert time.monotonic() - begun < 1.5


@pytest.mark.parametrize(
    "answer",
    [
        lambda number: record(b""),
        lambda number: record(b"\0" * 7),
        lambda number: record(struct.pack("!II", number, 0)),  # a call where a reply is wanted
        lambda number: record(struct.pack("!IIIIII", number, 1, 1, 0, 2, 2)),  # RFC 5531, 9: denied
        lambda number: record(struct.pack("!IIIIII", number, 1, 0, 0, 0, 3)),  # RFC 5531, 9: no such procedure
        lambda number: accepted(number, b""),  # the results are missing
        lambda number: accepted(number, struct.pack("!III", 0, 4, 1 << 30)),  # longer than what came
        lambda number: accepted(number, struct.pack("!III", 17, 0, 0)),  # VXI-11, table B.2: input or output error
        lambda number: b"\x7f\xff\xff\xff" + b"x" * 100,  # a record of two gigabytes
    ],
)
def test_a_reply_without_sense_is_an_error_of_ours_in_words(answer: Callable[[int], bytes]) -> None:
    """Whatever comes, nothing but the named errors gets out, without the name of any class."""
    with opened(lambda client, number, _: client.sendall(answer(number))) as session:
        session.write(b"READ?", 1.0)
        with pytest.raises(LinkError) as caught:
            session.read_message(0.3)
        assert not re.search(r"[a-z]Error|Exception|RPC", str(caught.value)), str(caught.value)


def test_a_peer_that_goes_is_told_at_once() -> None:
    """The end of the connection in the middle of a reply is not waited out."""

    def answers(client: socket.socket, number: int, procedure: int) -> None:
        client.sendall(accepted(number, said(b"4.99\n"))[:10])
        client.shutdown(socket.SHUT_RDWR)

    with opened(answers) as session:
        session.write(b"READ?", 1.0)
        begun = time.monotonic()
        with pytest.raises(LinkLostError, match="the connection is lost"):
            session.read_message(5.0)
        assert time.monotonic() - begun < 2.0


def test_a_long_message_goes_in_pieces_and_comes_back() -> None:
    """More than the instrument takes at once is sent in several writes, with END on the last."""
    device = Recorder("recorder", RealClock())
    device.curve = bytes(range(256)) * 1000
    with Vxi11Server(device) as server:
        session = open_session(server.address, instrument="meter")
        session.write(b"*ESE 36;" + b" " * 100_000, 2.0)
        session.write(b"*ESE?", 1.0)
        assert session.read_message(1.0) == b"0"  # SCPI-1999 vol. 2, 21.8.11: -363, the input buffer ran over
        assert device.errors.pop().number == -363
        session.write(b"CURV?", 1.0)
        assert len(session.read_message(2.0)) == len(b"#6256000") + 256_000
        session.close()
