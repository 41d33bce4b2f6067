"""The server's side of a HiSLIP conversation (IVI-6.1) in synchronised mode: messages in, what is to be done out.

It owns the rules – which response goes with which message, what an interrupted query is, how a device clear runs – and
moves no bytes. The connection that uses it is `simulated_instruments.connections.hislip`.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, field
from typing import Literal

from autobench.protocols.hislip import HEADER, HislipMessage, Kind

VERSION = 0x0100
VENDOR = 0x4153  # two letters of the simulator's own
RESPONSE_DELIVERED = 1  # control code of a message whose client has read the response before it to its end
LOCKED, UNLOCKED, LOCK_REFUSED, LOCK_MISUSED = 1, 1, 0, 3
UNKNOWN_KIND = 1  # control codes of Error and FatalError (IVI-6.1, tables 14 and 16)
POOR_HEADER, ONE_CHANNEL, WRONG_BEGINNING, TOO_MANY = 1, 2, 3, 4
LARGEST = 1 << 20  # bytes of one message, header included, that this side takes

Channel = Literal["synchronous", "asynchronous"]


@dataclass(frozen=True)
class Send:
    """Send a message on a channel."""

    channel: Channel
    message: HislipMessage


@dataclass(frozen=True)
class Execute:
    """Give the instrument these bytes; END goes with them."""

    message: bytes


@dataclass(frozen=True)
class Interrupted:
    """The client went on without reading a response: the instrument shall know (-410)."""


@dataclass(frozen=True)
class Clear:
    """Clear the instrument, and forget what was to be sent."""


@dataclass(frozen=True)
class AskStatus:
    """Poll the instrument and answer with `status_response`."""


Event = Send | Execute | Interrupted | Clear | AskStatus


@dataclass
class HislipConversation:
    """One client. `number` is its session's, `largest` what its client takes in one message."""

    number: int
    largest: int = LARGEST
    locked: bool = False
    clearing: bool = False
    message_id: int = 0  # of the last message of the client
    delivering: bool = False  # a response went out, and the client has not said that it read it
    incoming: bytearray = field(default_factory=bytearray)

    def synchronous(self, message: HislipMessage) -> list[Event]:
        """What to do for a message on the synchronous channel, after its Initialize."""
        if message.kind in (Kind.DATA, Kind.DATA_END, Kind.TRIGGER):
            return self._program_message(message)
        if message.kind == Kind.DEVICE_CLEAR_COMPLETE:
            self.clearing = self.delivering = False
            self.incoming.clear()
            return [Send("synchronous", HislipMessage(Kind.DEVICE_CLEAR_ACKNOWLEDGE))]
        return [Send("synchronous", unknown(message))]

    def asynchronous(self, message: HislipMessage) -> list[Event]:
        """What to do for a message on the asynchronous channel, after its AsyncInitialize."""
        answers = {
            Kind.ASYNC_REMOTE_LOCAL_CONTROL: Kind.ASYNC_REMOTE_LOCAL_RESPONSE,
            Kind.ASYNC_LOCK_INFO: Kind.ASYNC_LOCK_INFO_RESPONSE,
        }
        if message.kind == Kind.ASYNC_MAXIMUM_MESSAGE_SIZE and len(message.payload) == 8:
            (self.largest,) = struct.unpack("!Q", message.payload)
            payload = struct.pack("!Q", LARGEST)
            return [answer(HislipMessage(Kind.ASYNC_MAXIMUM_MESSAGE_SIZE_RESPONSE, payload=payload))]
        if message.kind == Kind.ASYNC_STATUS_QUERY:
            self._delivered(message)
            return [AskStatus()]
        if message.kind == Kind.ASYNC_DEVICE_CLEAR:
            self.clearing = True
            self.incoming.clear()
            return [Clear(), answer(HislipMessage(Kind.ASYNC_DEVICE_CLEAR_ACKNOWLEDGE))]
        if message.kind == Kind.ASYNC_LOCK:
            return [answer(HislipMessage(Kind.ASYNC_LOCK_RESPONSE, self._lock(message)))]
        if message.kind in answers:
            held = int(self.locked)
            return [answer(HislipMessage(answers[Kind(message.kind)], held, held))]
        return [answer(unknown(message))]

    def response(self, data: bytes) -> list[HislipMessage]:
        """A response message, cut into messages of at most what the client takes; the last one carries END."""
        self.delivering = True
        room = max(1, self.largest - HEADER.size)
        pieces = [data[place : place + room] for place in range(0, len(data), room)] or [b""]
        return [
            HislipMessage(Kind.DATA_END if piece is pieces[-1] else Kind.DATA, 0, self.message_id, piece)
            for piece in pieces
        ]

    def status_response(self, status: int) -> HislipMessage:
        """The answer to a status query."""
        return HislipMessage(Kind.ASYNC_STATUS_RESPONSE, status)

    def _program_message(self, message: HislipMessage) -> list[Event]:
        if self.clearing:
            return []  # what was on its way when the client cleared is dropped
        events: list[Event] = []
        self._delivered(message)
        if self.delivering:
            self.delivering = False
            interrupted = HislipMessage(Kind.INTERRUPTED, 0, message.parameter)
            events += [Interrupted(), Send("synchronous", interrupted)]
        self.message_id = message.parameter
        if message.kind == Kind.TRIGGER:
            return [*events, Execute(b"*TRG")]  # IEEE 488.2, 10.37: the same as the bus message
        self.incoming += message.payload
        if message.kind == Kind.DATA_END:
            events.append(Execute(bytes(self.incoming)))
            self.incoming.clear()
        return events

    def _delivered(self, message: HislipMessage) -> None:
        if message.control & RESPONSE_DELIVERED:
            self.delivering = False

    def _lock(self, message: HislipMessage) -> int:
        """Exclusive locks only: one with a name is for sharing, which this server refuses."""
        if message.control == 0:
            was, self.locked = self.locked, False
            return UNLOCKED if was else LOCK_MISUSED
        if message.payload or self.locked:
            return LOCK_REFUSED
        self.locked = True
        return LOCKED


def answer(message: HislipMessage) -> Send:
    """Send on the asynchronous channel."""
    return Send("asynchronous", message)


def unknown(message: HislipMessage) -> HislipMessage:
    """The error for a message that has no place here."""
    return HislipMessage(Kind.ERROR, UNKNOWN_KIND, 0, f"unexpected message type {message.kind}".encode("ascii"))


def fatal(code: int, words: str) -> HislipMessage:
    """The last message before closing."""
    return HislipMessage(Kind.FATAL_ERROR, code, 0, words.encode("ascii"))


def welcome(number: int) -> HislipMessage:
    """The response to Initialize: synchronised mode, this version, this session."""
    return HislipMessage(Kind.INITIALIZE_RESPONSE, 0, VERSION << 16 | number)


def second_welcome() -> HislipMessage:
    """The response to AsyncInitialize."""
    return HislipMessage(Kind.ASYNC_INITIALIZE_RESPONSE, 0, VENDOR)
