"""What a connection does to the replies that go over it, when it is told to misbehave. It carries no bytes itself.

Silence and lateness are the instrument's own and not here (`Device.silent`, `Device.late`).
"""

from __future__ import annotations

import socket
import struct
from dataclasses import dataclass
from typing import Literal

RESET_ON_CLOSE = struct.pack("ii", 1, 0)  # linger on, zero seconds: the peer sees a reset instead of an orderly end


@dataclass
class Misbehaviour:
    """`cut`: so many bytes of a reply still go out, `then` comes silence, an orderly close or a reset. `garbage`: these
    bytes go out instead of a reply. `drip`: one byte after another, so many seconds apart. `frozen`: nothing is taken
    in any more, as from a peer that died without saying so.
    """

    cut: int | None = None
    then: Literal["silence", "close", "reset"] = "silence"
    garbage: bytes = b""
    drip: float = 0.0
    frozen: bool = False

    def of(self, reply: bytes) -> bytes:
        """What goes out for `reply`."""
        if self.garbage:
            return self.garbage
        return reply if self.cut is None else reply[: self.cut]

    def ends(self, reply: bytes) -> bool:
        """Whether the connection is closed after `reply`."""
        return self.cut is not None and self.then != "silence" and len(reply) > 0

    def close(self, client: socket.socket) -> None:
        """Close a connection in the way that was chosen."""
        if self.then == "reset":
            client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, RESET_ON_CLOSE)
        client.close()
