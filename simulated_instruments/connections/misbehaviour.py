"""What a connection does to the replies that go over it, when it is told to misbehave. It carries no bytes itself.

Silence and lateness of the instrument itself are not here (`Device.silent`, `Device.late`).
"""

from __future__ import annotations

import socket
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

RESET_ON_CLOSE = struct.pack("ii", 1, 0)  # linger on, zero seconds: the peer sees a reset instead of an orderly end
Piece = bytes | memoryview


@dataclass
class Misbehaviour:
    """`cut`: so many bytes of a longer reply still go out, `then` comes silence, an orderly close or a reset.
    `garbage`: these bytes go out instead of a reply. `drip`: one byte after another, so many seconds apart. `held`: a
    reply is kept back for so many seconds and then goes out all the same, before any other. `frozen`: nothing is taken
    in any more, as from a peer that died without saying so. `times`: only so many replies are treated like this, every
    one if None.

    Seconds are those of the wire: real ones, but for instruments in the program's own process.
    """

    cut: int | None = None
    then: Literal["silence", "close", "reset"] = "silence"
    garbage: bytes = b""
    drip: float = 0.0
    held: float = 0.0
    frozen: bool = False
    times: int | None = None

    def next(self, length: int | None = None) -> Misbehaviour:
        """How the reply that goes out now is treated, of so many bytes if that is known yet."""
        if self.cut is not None and length is not None and length <= self.cut:
            return Misbehaviour()
        if self.times is None:
            return self
        if self.times <= 0:
            return Misbehaviour()
        self.times -= 1
        return self

    def of(self, pieces: Sequence[Piece]) -> Sequence[Piece]:
        """What goes out for a reply that is carried in `pieces`."""
        if self.garbage:
            return [self.garbage]
        return pieces if self.cut is None else [b"".join(pieces)[: self.cut]]

    def ends(self, reply: bytes) -> bool:
        """Whether the connection is closed after `reply`."""
        return self.cut is not None and self.then != "silence" and len(reply) > self.cut

    def close(self, client: socket.socket) -> None:
        """Close a connection in the way that was chosen."""
        if self.then == "reset":
            client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, RESET_ON_CLOSE)
        client.close()
