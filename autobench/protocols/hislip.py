"""HiSLIP messages (IVI-6.1, 2.3 and 4): bytes in, messages out, and back. No input or output, and no conversation.

A message is a header of 16 bytes – `HS`, type, control code, parameter, length – and a payload, all big-endian.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from enum import IntEnum

from autobench.errors import ProtocolError

HEADER = struct.Struct("!2sBBIQ")
PROLOGUE = b"HS"
MOST_PAYLOAD = 1 << 28  # a length beyond this is taken for damage, not for a message


class Kind(IntEnum):
    """Message types by their numbers (IVI-6.1, table 4)."""

    INITIALIZE = 0
    INITIALIZE_RESPONSE = 1
    FATAL_ERROR = 2
    ERROR = 3
    ASYNC_LOCK = 4
    ASYNC_LOCK_RESPONSE = 5
    DATA = 6
    DATA_END = 7
    DEVICE_CLEAR_COMPLETE = 8
    DEVICE_CLEAR_ACKNOWLEDGE = 9
    ASYNC_REMOTE_LOCAL_CONTROL = 10
    ASYNC_REMOTE_LOCAL_RESPONSE = 11
    TRIGGER = 12
    INTERRUPTED = 13
    ASYNC_INTERRUPTED = 14
    ASYNC_MAXIMUM_MESSAGE_SIZE = 15
    ASYNC_MAXIMUM_MESSAGE_SIZE_RESPONSE = 16
    ASYNC_INITIALIZE = 17
    ASYNC_INITIALIZE_RESPONSE = 18
    ASYNC_DEVICE_CLEAR = 19
    ASYNC_SERVICE_REQUEST = 20
    ASYNC_STATUS_QUERY = 21
    ASYNC_STATUS_RESPONSE = 22
    ASYNC_DEVICE_CLEAR_ACKNOWLEDGE = 23
    ASYNC_LOCK_INFO = 24
    ASYNC_LOCK_INFO_RESPONSE = 25


@dataclass(frozen=True)
class HislipMessage:
    """One message. `kind` is a number, known or not; `control` a byte, `parameter` 32 bits."""

    kind: int
    control: int = 0
    parameter: int = 0
    payload: bytes = b""

    def encoded(self) -> bytes:
        """The bytes that go over the connection."""
        return self.header() + self.payload

    def header(self) -> bytes:
        """The first 16 of them."""
        return HEADER.pack(PROLOGUE, self.kind, self.control, self.parameter, len(self.payload))


class HislipReader:
    """Takes bytes as they come and gives whole messages; what is not yet whole is kept."""

    def __init__(self, most: int = MOST_PAYLOAD) -> None:
        self.most = most
        self._waiting = bytearray()

    def feed(self, data: bytes) -> list[HislipMessage]:
        """The messages that are whole now, in order.

        Raises `ProtocolError` where a header is poorly formed or a length absurd; nothing after it can be understood.
        """
        self._waiting += data
        found = []
        while (message := self._next()) is not None:
            found.append(message)
        return found

    @property
    def rest(self) -> int:
        """How many bytes of a message that is not whole wait."""
        return len(self._waiting)

    def _next(self) -> HislipMessage | None:
        begun = bytes(self._waiting[: len(PROLOGUE)])
        if begun != PROLOGUE[: len(begun)]:
            raise ProtocolError(f"a HiSLIP message begins with {PROLOGUE!r}, not with {begun!r}")
        if len(self._waiting) < HEADER.size:
            return None
        _, kind, control, parameter, length = HEADER.unpack_from(self._waiting)
        if length > self.most:
            raise ProtocolError(f"a HiSLIP message of {length} bytes is more than the {self.most} expected here")
        end = HEADER.size + length
        if len(self._waiting) < end:
            return None
        payload = bytes(memoryview(self._waiting)[HEADER.size : end])
        del self._waiting[:end]
        return HislipMessage(kind, control, parameter, payload)
