"""The server's side of a VXI-11 conversation (revision 1.0): remote calls in, what is to be done out.

It owns the rules – links, locks, flags, error numbers – and moves no bytes. The connection that uses it is
`simulated_instruments.connections.vxi11`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import IntEnum

from autobench.errors import ProtocolError
from autobench.protocols.remote_calls import (
    VERSION,
    Accepted,
    Call,
    Unpacker,
    denied,
    opaque,
    read_call,
    reply,
    unsigned,
)

CORE, ABORT_CHANNEL = 0x0607AF, 0x0607B0  # program numbers (VXI-11, B.6)
CHANNEL_VERSION = 1
DEVICE_ABORT = 1  # the one procedure of the abort channel
LARGEST = 64 * 1024  # bytes of one write that this side takes
NAME = b"inst0"
WRITE_ENDS, STOPS_AT_CHARACTER = 8, 128  # flags of an operation (VXI-11, B.5.3)
COUNT_REACHED, CHARACTER_SEEN, END_SEEN = 1, 2, 4  # why a read ended (VXI-11, B.5.4)


class Trouble(IntEnum):
    """Error numbers of results (VXI-11, table B.2)."""

    NONE = 0
    NOT_ACCESSIBLE = 3
    INVALID_LINK = 4
    PARAMETER = 5
    NOT_SUPPORTED = 8
    OUT_OF_RESOURCES = 9
    LOCKED_BY_ANOTHER = 11
    NOT_LOCKED = 12
    TIMED_OUT = 15
    ABORTED = 23


@dataclass(frozen=True)
class Send:
    """Send a record."""

    record: bytes


@dataclass(frozen=True)
class Execute:
    """Give the instrument these bytes; `end` says whether END goes with the last."""

    message: bytes
    end: bool


@dataclass(frozen=True)
class Read:
    """Answer with what the instrument says: at most `count` bytes, at most up to the byte `stop`, within `seconds`."""

    call: Call
    link: int
    count: int
    stop: int | None
    seconds: float


@dataclass(frozen=True)
class Clear:
    """Clear the instrument, and forget what was to be read."""


@dataclass(frozen=True)
class AskStatus:
    """Poll the instrument and answer with `status_response`."""

    call: Call


@dataclass(frozen=True)
class Abort:
    """End the read that waits on this link, if there is one."""

    link: int


Event = Send | Execute | Read | Clear | AskStatus | Abort


@dataclass
class Links:
    """The links of one instrument, whichever connection they came over; `holder` is the one that locked it."""

    open: set[int] = field(default_factory=set)
    most: int | None = None
    holder: int | None = None
    made: int = 0

    def create(self) -> int | None:
        """A new link, or None where there are too many."""
        if self.most is not None and len(self.open) >= self.most:
            return None
        self.made += 1
        self.open.add(self.made)
        return self.made

    def destroy(self, link: int) -> None:
        """A link is gone, and with it its lock."""
        self.open.discard(link)
        if self.holder == link:
            self.holder = None

    def barred(self, link: int) -> bool:
        """Whether another link holds the instrument."""
        return self.holder is not None and self.holder != link


class Vxi11Conversation:
    """One client. `port` is where its abort channel is; `own` are the links it made."""

    def __init__(self, links: Links, port: int) -> None:
        self.links = links
        self.port = port
        self.own: set[int] = set()

    def take(self, record: bytes) -> list[Event]:
        """What to do for one record. Raises `ProtocolError` for what is no call at all."""
        call = read_call(record)
        if call.protocol != VERSION:
            return [Send(denied(call))]
        if call.program not in (CORE, ABORT_CHANNEL):
            return [Send(reply(call, b"", Accepted.PROGRAM_UNAVAILABLE))]
        if call.version != CHANNEL_VERSION:
            span = unsigned(CHANNEL_VERSION, CHANNEL_VERSION)
            return [Send(reply(call, span, Accepted.PROGRAM_MISMATCH))]
        if call.procedure == 0:  # every program has one that does nothing (RFC 5531, 12.1)
            return [Send(reply(call, b""))]
        if call.program == ABORT_CHANNEL:
            perform: Perform | None = abort if call.procedure == DEVICE_ABORT else None
        else:
            perform = PROCEDURES.get(call.procedure)
        if perform is None:
            return [Send(reply(call, b"", Accepted.PROCEDURE_UNAVAILABLE))]
        try:
            return perform(self, call, Unpacker(call.arguments))
        except ProtocolError:
            return [Send(reply(call, b"", Accepted.GARBAGE_ARGUMENTS))]

    def close(self) -> None:
        """The client is gone: so are its links."""
        for link in self.own:
            self.links.destroy(link)
        self.own.clear()

    def trouble_with(self, link: int) -> Trouble:
        """Why an operation on `link` cannot be done, or that it can."""
        if link not in self.links.open:
            return Trouble.INVALID_LINK
        return Trouble.LOCKED_BY_ANOTHER if self.links.barred(link) else Trouble.NONE


Perform = Callable[[Vxi11Conversation, Call, Unpacker], list[Event]]


def status_response(call: Call, status: int) -> bytes:
    """The answer to a status poll."""
    return reply(call, unsigned(Trouble.NONE, status))


def read_response(call: Call, data: bytes, reason: int) -> bytes:
    """The answer to a read that ended well, for `reason`."""
    return reply(call, unsigned(Trouble.NONE, reason) + opaque(data))


def failed_read(call: Call, trouble: Trouble) -> bytes:
    """The answer to a read that did not."""
    return reply(call, unsigned(trouble, 0) + opaque(b""))


def told(call: Call, trouble: Trouble = Trouble.NONE) -> list[Event]:
    """The answer that is an error number and nothing else."""
    return [Send(reply(call, unsigned(trouble)))]


def create_link(talk: Vxi11Conversation, call: Call, packed: Unpacker) -> list[Event]:
    """A client takes up a link; `lock` at once is asked for with it."""
    _, lock, _ = (packed.unsigned() for _ in range(3))
    name = packed.opaque()
    trouble, link = Trouble.NONE, None
    if name.lower() != NAME:
        trouble = Trouble.NOT_ACCESSIBLE
    elif lock and talk.links.holder is not None:
        trouble = Trouble.LOCKED_BY_ANOTHER
    elif (link := talk.links.create()) is None:
        trouble = Trouble.OUT_OF_RESOURCES
    if link is not None:
        talk.own.add(link)
        if lock:
            talk.links.holder = link
    return [Send(reply(call, unsigned(trouble, link or 0, talk.port, LARGEST)))]


def device_write(talk: Vxi11Conversation, call: Call, packed: Unpacker) -> list[Event]:
    """Bytes for the instrument."""
    link, _, _, flags = (packed.unsigned() for _ in range(4))
    data = packed.opaque()
    trouble = talk.trouble_with(link)
    if trouble is Trouble.NONE and len(data) > LARGEST:
        trouble = Trouble.PARAMETER
    if trouble is not Trouble.NONE:
        return [Send(reply(call, unsigned(trouble, 0)))]
    return [Execute(data, bool(flags & WRITE_ENDS)), Send(reply(call, unsigned(Trouble.NONE, len(data))))]


def device_read(talk: Vxi11Conversation, call: Call, packed: Unpacker) -> list[Event]:
    """Bytes from the instrument, once it has some."""
    link, count, milliseconds, _, flags, character = (packed.unsigned() for _ in range(6))
    trouble = talk.trouble_with(link)
    if trouble is not Trouble.NONE:
        return [Send(failed_read(call, trouble))]
    stop = character & 0xFF if flags & STOPS_AT_CHARACTER else None
    return [Read(call, link, count, stop, milliseconds / 1000.0)]


def device_status(talk: Vxi11Conversation, call: Call, packed: Unpacker) -> list[Event]:
    """A status poll."""
    trouble = talk.trouble_with(packed.unsigned())
    if trouble is not Trouble.NONE:
        return [Send(reply(call, unsigned(trouble, 0)))]
    return [AskStatus(call)]


def device_trigger(talk: Vxi11Conversation, call: Call, packed: Unpacker) -> list[Event]:
    """A trigger, which is the same as the common command (IEEE 488.2, 10.37)."""
    trouble = talk.trouble_with(packed.unsigned())
    return [*([Execute(b"*TRG", True)] if trouble is Trouble.NONE else []), *told(call, trouble)]


def device_clear(talk: Vxi11Conversation, call: Call, packed: Unpacker) -> list[Event]:
    """A device clear."""
    trouble = talk.trouble_with(packed.unsigned())
    return [*([Clear()] if trouble is Trouble.NONE else []), *told(call, trouble)]


def device_panel(talk: Vxi11Conversation, call: Call, packed: Unpacker) -> list[Event]:
    """Remote and local: there is no front panel to be locked."""
    return told(call, talk.trouble_with(packed.unsigned()))


def device_lock(talk: Vxi11Conversation, call: Call, packed: Unpacker) -> list[Event]:
    """An exclusive lock; nobody is made to wait for one."""
    link = packed.unsigned()
    if link in talk.links.open and talk.links.holder is not None:
        return told(call, Trouble.LOCKED_BY_ANOTHER)
    trouble = talk.trouble_with(link)
    if trouble is Trouble.NONE:
        talk.links.holder = link
    return told(call, trouble)


def device_unlock(talk: Vxi11Conversation, call: Call, packed: Unpacker) -> list[Event]:
    """The lock is given back by who holds it."""
    link = packed.unsigned()
    if link not in talk.links.open:
        return told(call, Trouble.INVALID_LINK)
    if talk.links.holder != link:
        return told(call, Trouble.NOT_LOCKED)
    talk.links.holder = None
    return told(call)


def destroy_link(talk: Vxi11Conversation, call: Call, packed: Unpacker) -> list[Event]:
    """A client gives up a link of its own."""
    link = packed.unsigned()
    if link not in talk.own:
        return told(call, Trouble.INVALID_LINK)
    talk.own.discard(link)
    talk.links.destroy(link)
    return [Abort(link), *told(call)]


def unsupported(talk: Vxi11Conversation, call: Call, packed: Unpacker) -> list[Event]:  # noqa: ARG001  # of the table
    """Service requests over a channel of their own, which this server has none of."""
    return told(call, Trouble.NOT_SUPPORTED)


def unsupported_command(talk: Vxi11Conversation, call: Call, packed: Unpacker) -> list[Event]:  # noqa: ARG001
    """Commands of an interface, of which an instrument has none; the result has data as well."""
    return [Send(reply(call, unsigned(Trouble.NOT_SUPPORTED) + opaque(b"")))]


def abort(talk: Vxi11Conversation, call: Call, packed: Unpacker) -> list[Event]:
    """Over the abort channel: the read of a link, whoever waits for it, ends."""
    link = packed.unsigned()
    if link not in talk.links.open:
        return told(call, Trouble.INVALID_LINK)
    return [Abort(link), *told(call)]


# Procedures of the core channel by their numbers (VXI-11, B.6).
PROCEDURES: dict[int, Perform] = {
    10: create_link,
    11: device_write,
    12: device_read,
    13: device_status,
    14: device_trigger,
    15: device_clear,
    16: device_panel,
    17: device_panel,
    18: device_lock,
    19: device_unlock,
    20: unsupported,
    22: unsupported_command,
    23: destroy_link,
    25: unsupported,
    26: unsupported,
}
