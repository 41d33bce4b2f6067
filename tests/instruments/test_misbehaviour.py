"""Misbehaving instruments over every transport: each ends in the stated time, with the right error in words, and once
the instrument behaves again the next exchange on the same link is in step.

The stated time is the deadline of the message, a device clear and half a second for asking why, and some for a busy
machine.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import pytest

from autobench.clock import Clock, RealClock
from autobench.errors import LinkError, LinkLostError, NoReplyError, ReplyError
from autobench.instruments.exchange import Exchange
from autobench.instruments.link import Link
from autobench.instruments.visa import open_session
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.connections.hislip import HislipServer
from simulated_instruments.connections.in_process import InProcessLibrary
from simulated_instruments.connections.misbehaviour import Misbehaviour
from simulated_instruments.connections.pseudo_terminal import PseudoTerminalServer
from simulated_instruments.connections.raw_socket import SocketServer
from simulated_instruments.connections.vxi11 import Vxi11Server
from tests.instruments.conftest import Recorder

TRANSPORTS = ("in process", "raw socket", "hislip", "vxi-11", "serial")
REAL = ("raw socket", "hislip", "vxi-11", "serial")  # these take real time
SERVERS: dict[str, Any] = {
    "raw socket": SocketServer,
    "hislip": HislipServer,
    "vxi-11": Vxi11Server,
    "serial": PseudoTerminalServer,
}
WITHIN = 0.3  # s; the deadline of a message
STATED = WITHIN + 1.0 + 0.5 + 0.7  # s
BLOCK = bytes(range(256)) * 8


@dataclass
class Meeting:
    """A recorder on a link, and the switch for what its transport does wrong."""

    device: Recorder
    link: Link
    clock: Clock
    far_end: Any
    exchanges: list[Exchange] = field(default_factory=list)

    def behave(self) -> None:
        """Everything is as it should be again."""
        self.far_end.misbehaviour = Misbehaviour()
        self.device.silent, self.device.late = False, 0.0

    def counted(self, query: str) -> int:
        """How often a query was sent."""
        return sum(exchange.sent == query.encode("ascii") for exchange in self.exchanges)


class Bus:
    """The bus in this process as a far end like the others."""

    def __init__(self, library: InProcessLibrary) -> None:
        self._library = library

    @property
    def misbehaviour(self) -> Misbehaviour:
        return self._library.misbehaviours["GPIB0::5::INSTR"]

    @misbehaviour.setter
    def misbehaviour(self, misbehaviour: Misbehaviour) -> None:
        self._library.misbehaviours["GPIB0::5::INSTR"] = misbehaviour


@contextlib.contextmanager
def over(transport: str) -> Iterator[Meeting]:
    """The recorder over one of the transports."""
    clock: Clock = SimulatedClock() if transport == "in process" else RealClock()
    device = Recorder("recorder", clock)
    device.curve = BLOCK
    exchanges: list[Exchange] = []

    def link(address: str, library: InProcessLibrary | None = None) -> Link:
        session = open_session(address, instrument="recorder", library=library)
        return Link(session, "recorder", clock, within=WITHIN, errors="SYST:ERR?", on_exchange=exchanges.append)

    if transport == "in process":
        library = InProcessLibrary({"GPIB0::5::INSTR": device}, clock)
        yield Meeting(device, link("GPIB0::5::INSTR", library), clock, Bus(library), exchanges)
        return
    with SERVERS[transport](device) as server:
        meeting = Meeting(device, link(server.address), clock, server, exchanges)
        try:
            yield meeting
        finally:
            meeting.link.close()


def fails(meeting: Meeting, query: str, kind: type[LinkError], words: str, block: bool = False) -> None:
    """The exchange fails as it should, in the stated time, real time included."""
    by_clock, really = meeting.clock.now(), time.monotonic()
    with pytest.raises(LinkError, match=words) as caught:
        meeting.link.ask_block(query) if block else meeting.link.ask(query)
    assert isinstance(caught.value, kind), caught.value
    assert meeting.clock.now() - by_clock <= STATED
    assert time.monotonic() - really <= STATED
    assert meeting.link.dirty


def in_step(meeting: Meeting) -> None:
    """The next session of exchanges gets its own answers, and nothing was said twice that must not be."""
    meeting.behave()
    assert meeting.link.ask("*IDN?") == meeting.device.identity
    before = meeting.device.counted
    assert meeting.link.ask("COUN?") == str(before + 1)
    assert meeting.link.ask_block("CURV?", 2.0) == BLOCK
    assert meeting.link.ask("*ESE?") == "0"
    assert meeting.link.drain_errors("SYST:ERR?") == []
    assert not meeting.link.dirty
    assert meeting.counted("COUN?") <= 2


@pytest.mark.parametrize("transport", TRANSPORTS)
def test_no_reply(transport: str) -> None:
    """An instrument that says nothing at all is asked about its plug."""
    with over(transport) as meeting:
        meeting.device.silent = True
        fails(meeting, "COUN?", NoReplyError, r"no reply to COUN\? within 300 ms; nor does it answer SYST:ERR\?")
        in_step(meeting)


@pytest.mark.parametrize("transport", TRANSPORTS)
def test_late_reply(transport: str) -> None:
    """A reply after the deadline is told as one that came afterwards, or as an instrument that needs longer, and never
    answers the next query."""
    with over(transport) as meeting:
        meeting.device.late = 1.5 * WITHIN
        fails(meeting, "COUN?", NoReplyError, r"no reply to COUN\? within 300 ms; ")
        in_step(meeting)
        assert meeting.device.counted == 2  # the late one and the one after it: nothing was asked again


@pytest.mark.parametrize("transport", TRANSPORTS)
def test_half_a_block_then_silence(transport: str) -> None:
    """A block that stops half way ends at its deadline."""
    with over(transport) as meeting:
        meeting.far_end.misbehaviour = Misbehaviour(cut=1000)
        fails(meeting, "CURV?", NoReplyError, r"no (complete )?reply to CURV\? within 300 ms", block=True)
        in_step(meeting)


@pytest.mark.parametrize("then", ["close", "reset"])
@pytest.mark.parametrize("transport", ["in process", "raw socket", "hislip", "vxi-11"])
def test_closed_or_reset_within_a_block(transport: str, then: Any) -> None:
    """A connection that breaks within a block is told as lost at once, long before the deadline."""
    with over(transport) as meeting:
        meeting.far_end.misbehaviour = Misbehaviour(cut=1000, then=then)
        fails(meeting, "CURV?", LinkError, r"CURV\?: the connection (is lost|failed)", block=True)
        assert meeting.exchanges[0].seconds < WITHIN / 2.0
        in_step(meeting)


def test_a_serial_line_that_is_pulled() -> None:
    """A port that vanishes is told as lost at once; plugged in again it has another name, so the link stays lost."""
    with over("serial") as meeting:
        meeting.far_end.misbehaviour = Misbehaviour(cut=1000, then="close")
        fails(meeting, "CURV?", LinkLostError, r"CURV\?: the connection is lost", block=True)
        with pytest.raises(LinkLostError, match="neither clearing nor reopening helped"):
            meeting.link.ask("*IDN?")


@pytest.mark.parametrize("transport", TRANSPORTS)
def test_garbage(transport: str) -> None:
    """Bytes that mean nothing are refused in words, whether a block, a number or a message was expected."""
    with over(transport) as meeting:
        meeting.far_end.misbehaviour = Misbehaviour(garbage=b"\xff\x00HX\x93~garbage" * 3 + b"\n")
        with pytest.raises(LinkError) as caught:
            meeting.link.ask_block("CURV?")
        assert isinstance(caught.value, ReplyError | LinkError)
        assert "CURV?" in str(caught.value)
        in_step(meeting)


@pytest.mark.parametrize("transport", ["in process", *(pytest.param(each, marks=pytest.mark.long) for each in REAL)])
def test_one_byte_every_50_ms(transport: str) -> None:
    """A reply that trickles in does not stretch the deadline: it is one for the whole message."""
    with over(transport) as meeting:
        meeting.far_end.misbehaviour = Misbehaviour(drip=0.05)
        fails(meeting, "*IDN?", NoReplyError, r"no (complete )?reply to \*IDN\? within 300 ms")
        meeting.behave()
        meeting.clock.sleep(2.5)  # what has begun to trickle goes on
        in_step(meeting)


@pytest.mark.long
@pytest.mark.parametrize("transport", REAL)
def test_a_dead_peer(transport: str) -> None:
    """A peer that takes nothing in any more cannot hold the program, neither while asking nor while recovering."""
    with over(transport) as meeting:
        meeting.far_end.misbehaviour = Misbehaviour(frozen=True)
        acknowledged = transport == "vxi-11"  # only there the instrument says that it got what was sent
        words = r"could not send COUN\?" if acknowledged else r"no reply to COUN\? within 300 ms; nor does it answer"
        fails(meeting, "COUN?", NoReplyError, words)
        really = time.monotonic()
        with pytest.raises(LinkError, match="neither clearing nor reopening helped"):
            meeting.link.recover()
        assert time.monotonic() - really < 8.0
        in_step(meeting)


@pytest.mark.parametrize("transport", ["raw socket", "hislip", "vxi-11"])
def test_another_instrument_at_the_address(transport: str) -> None:
    """After a connection had to be opened again, somebody else behind it is refused by name; the right one is taken."""
    with over(transport) as meeting:
        meeting.link.remember("*IDN?", meeting.link.ask("*IDN?"))
        own = meeting.device.identity
        meeting.device.identity = "SOMEBODY,ELSE,1,2"
        meeting.far_end.misbehaviour = Misbehaviour(cut=1000, then="close")
        fails(meeting, "CURV?", LinkError, r"CURV\?: the connection (is lost|failed)", block=True)
        meeting.behave()
        with pytest.raises(LinkLostError, match="another instrument answers there now: 'SOMEBODY,ELSE,1,2'"):
            meeting.link.say("*CLS")
        meeting.device.identity = own
        in_step(meeting)


@pytest.mark.parametrize("transport", TRANSPORTS)
def test_a_full_error_queue(transport: str) -> None:
    """A queue that ran over gives its oldest errors and the overflow, and afterwards the link is in step."""
    with over(transport) as meeting:
        for _ in range(25):
            meeting.link.say("NONSENSE")
        found = [number for number, _ in meeting.link.drain_errors("SYST:ERR?")]
        assert found[0] == -113  # SCPI-1999 vol. 2, 21.8.1: the oldest errors stay …
        assert found[-1] == -350  # … and the last entry says that some were lost
        in_step(meeting)
