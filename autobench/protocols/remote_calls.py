"""Remote procedure calls over a stream (RFC 5531) in the external data representation (RFC 4506), as VXI-11 uses them.

Bytes in, calls out; results in, bytes out. No input or output, and no procedure: what a call means is not known here.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from enum import IntEnum

from autobench.errors import ProtocolError

WORD = struct.Struct("!I")
LAST = 0x8000_0000  # the bit of a fragment's header that says that the record ends with it (RFC 5531, 11)
VERSION = 2
CALL, REPLY = 0, 1
ACCEPTED, DENIED = 0, 1
VERSION_MISMATCH = 0
MOST_RECORD = 1 << 28  # a length beyond this is taken for damage, not for a record


class Accepted(IntEnum):
    """What became of a call that was accepted (RFC 5531, 9)."""

    SUCCESS = 0
    PROGRAM_UNAVAILABLE = 1
    PROGRAM_MISMATCH = 2
    PROCEDURE_UNAVAILABLE = 3
    GARBAGE_ARGUMENTS = 4


@dataclass(frozen=True)
class Call:
    """One call: its number, by which the reply is known, and what is called with which arguments, still packed."""

    number: int
    protocol: int
    program: int
    version: int
    procedure: int
    arguments: bytes


class RecordReader:
    """Takes bytes as they come and gives whole records; what is not yet whole is kept."""

    def __init__(self, most: int = MOST_RECORD) -> None:
        self.most = most
        self._waiting = bytearray()
        self._record = bytearray()

    def feed(self, data: bytes) -> list[bytes]:
        """The records that are whole now, in order.

        Raises `ProtocolError` where a length is absurd; nothing after it can be understood.
        """
        self._waiting += data
        found = []
        while len(self._waiting) >= WORD.size:
            (header,) = WORD.unpack_from(self._waiting)
            length = header & ~LAST
            if len(self._record) + length > self.most:
                raise ProtocolError(
                    f"a record of {len(self._record) + length} bytes is more than the {self.most} expected"
                )
            end = WORD.size + length
            if len(self._waiting) < end:
                break
            self._record += memoryview(self._waiting)[WORD.size : end]
            del self._waiting[:end]
            if header & LAST:
                found.append(bytes(self._record))
                self._record.clear()
        return found

    @property
    def rest(self) -> int:
        """How many bytes of a record that is not whole wait."""
        return len(self._waiting) + len(self._record)


class Unpacker:
    """Takes values off the front of packed data; raises `ProtocolError` where they are not there."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._place = 0

    def unsigned(self) -> int:
        """An unsigned number of 32 bits."""
        return int(WORD.unpack(self._take(WORD.size))[0])

    def opaque(self) -> bytes:
        """Bytes of a length that stands before them, filled up to a multiple of four."""
        length = self.unsigned()
        data = self._take(length)
        self._take(-length % 4)
        return data

    def rest(self) -> bytes:
        """Whatever is left."""
        return self._take(len(self._data) - self._place)

    def _take(self, count: int) -> bytes:
        if count > len(self._data) - self._place:
            raise ProtocolError("the arguments of a remote call end too early")
        self._place += count
        return self._data[self._place - count : self._place]


def unsigned(*values: int) -> bytes:
    """Numbers of 32 bits, packed."""
    return b"".join(WORD.pack(value & 0xFFFF_FFFF) for value in values)


def opaque(data: bytes) -> bytes:
    """Bytes with their length, packed."""
    return WORD.pack(len(data)) + data + bytes(-len(data) % 4)


def record(data: bytes) -> bytes:
    """One record of a single fragment, as it goes over the connection."""
    return WORD.pack(LAST | len(data)) + data


def read_call(data: bytes) -> Call:
    """The call in a record; raises `ProtocolError` for what is none."""
    packed = Unpacker(data)
    number, kind = packed.unsigned(), packed.unsigned()
    if kind != CALL:
        raise ProtocolError(f"a remote call is wanted, not a message of kind {kind}")
    protocol, program, version, procedure = (packed.unsigned() for _ in range(4))
    for _ in ("credentials", "verifier"):
        packed.unsigned()
        packed.opaque()
    return Call(number, protocol, program, version, procedure, packed.rest())


def reply(call: Call, results: bytes, status: Accepted = Accepted.SUCCESS) -> bytes:
    """The record that answers `call`, without any verifier."""
    return record(unsigned(call.number, REPLY, ACCEPTED, 0, 0, status) + results)


def denied(call: Call) -> bytes:
    """The record that refuses a call of another version of the protocol."""
    return record(unsigned(call.number, REPLY, DENIED, VERSION_MISMATCH, VERSION, VERSION))
