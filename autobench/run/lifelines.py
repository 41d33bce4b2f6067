"""Connections that have broken, seen without sending anything: a socket whose other end closed, a line hung up.

An instrument that just falls silent does not show here; the next exchange with it does, and that with a supply comes
several times a second. It decides nothing.
"""

from __future__ import annotations

import select
from collections.abc import Callable, Iterable

# The other end closed, hung up, or an error waits (poll(2)); readable bytes alone say nothing.
HUNG_UP = select.POLLHUP | select.POLLERR | select.POLLNVAL | getattr(select, "POLLRDHUP", 0)


def broken(connections: Iterable[tuple[str, Callable[[], int | None]]]) -> str | None:
    """The first name whose connection has broken, or None.

    Each name comes with what tells its file descriptor: it may be another one after a recovery, and None where the
    transport has none of its own.
    """
    names: dict[int, str] = {}
    poll = select.poll()
    for name, descriptor in connections:
        number = descriptor()
        if number is not None and number >= 0:
            names[number] = name
            poll.register(number, HUNG_UP)
    return next((names[number] for number, happened in poll.poll(0) if happened & HUNG_UP), None)
