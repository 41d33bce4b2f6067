"""The rule that no test sends anything beyond 127.0.0.1, kept by Python's own audit events (PEP 578) in the test run.

What would leave this machine is refused before it is sent, and the test that tried fails, whoever catches the refusal.
"""

from __future__ import annotations

import socket
import sys
from typing import Any

LOOPBACK = ("127.0.0.1", "localhost", "::1")
SENDING = ("socket.connect", "socket.sendto", "socket.sendmsg")
NAMING = ("socket.getaddrinfo", "socket.gethostbyname")  # to look a name up is to ask somebody else

tried: list[str] = []  # what was refused, in order


class OutsideError(Exception):
    """Something would have been sent to another machine."""


def watch(event: str, arguments: tuple[Any, ...]) -> None:
    """An audit hook; raises `OutsideError` for what would leave this machine."""
    if event in SENDING:
        sender, address = arguments[0], arguments[1]
        inner = sender.family in (socket.AF_INET, socket.AF_INET6) and isinstance(address, tuple)
        if inner and str(address[0]) not in LOOPBACK:
            refuse(f"{event} {address}")
    elif event in NAMING and isinstance(arguments[0], str) and arguments[0] not in LOOPBACK:
        refuse(f"{event} {arguments[0]}")


def refuse(words: str) -> None:
    """Keep what was tried, and stop it."""
    tried.append(words)
    raise OutsideError(words)


def begin() -> None:
    """From now on, for the life of this process; may be called any number of times."""
    if not getattr(sys, "_loopback_only", False):
        sys._loopback_only = True  # type: ignore[attr-defined]
        sys.addaudithook(watch)


def taken() -> list[str]:
    """What was tried since this was last asked."""
    found = tried[:]
    tried.clear()
    return found
