"""One total deadline for each call on a HiSLIP connection, whose own session counts its time-out from byte to byte.

It stands between the back end's protocol object and its two sockets and knows nothing of the protocol.
"""

from __future__ import annotations

import contextlib
import socket
import traceback
from collections.abc import Iterator
from typing import Any

from autobench.clock import RealClock
from autobench.instruments.deadline import Deadline

CLOCK = RealClock()  # a real transport lives in real time, whatever clock the run has


class DeadlineSocket:
    """A socket whose time-out, set before each call on the session, is the total time until it is set again."""

    def __init__(self, inner: socket.socket) -> None:
        self._inner = inner
        self._deadline: Deadline | None = None

    def settimeout(self, seconds: float | None) -> None:
        """From now on so many seconds in all."""
        self._deadline = None if seconds is None else Deadline(CLOCK, seconds)

    def recv_into(self, buffer: Any, count: int = 0) -> int:
        """As of a socket; raises `TimeoutError` once the deadline has passed, also while bytes still trickle in."""
        self._limit()
        return self._inner.recv_into(buffer, count)

    def sendall(self, data: bytes) -> None:
        """As of a socket, before the deadline."""
        self._limit()
        self._inner.sendall(data)

    def _limit(self) -> None:
        if self._deadline is None:
            self._inner.settimeout(None)
            return
        left = self._deadline.left()
        if left <= 0.0:
            raise TimeoutError("the deadline of the message has passed")
        self._inner.settimeout(left)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)


def hold_to_deadline(session: object) -> bool:
    """Put a `DeadlineSocket` before both sockets of a HiSLIP session; any other session stays as it is.

    Returns whether it did: then the time-out must be set before each call, though it be the same.
    """
    interface = getattr(session, "interface", None)
    held = False
    for name in ("_sync", "_async"):
        inner = getattr(interface, name, None)
        if isinstance(inner, socket.socket):
            setattr(interface, name, DeadlineSocket(inner))
            held = True
    return held


@contextlib.contextmanager
def closing_half_open() -> Iterator[None]:
    """Close the sockets of a connection that fails to open inside.

    The back end leaves them open, and its object is then reachable only through the error's traceback.
    """
    try:
        yield
    except Exception as error:
        cause: BaseException | None = error
        while cause is not None:
            for frame, _ in traceback.walk_tb(cause.__traceback__):
                for name in ("_sync", "_async"):
                    half_open = getattr(frame.f_locals.get("self"), name, None)
                    if isinstance(half_open, socket.socket):
                        half_open.close()
            cause = cause.__cause__ or cause.__context__
        raise
