"""What a VISA address says about the connection behind it. Reads the text only; opens nothing."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable

RAW_SOCKET = re.compile(r"TCPIP\d*::.+::\d+::SOCKET", re.IGNORECASE)
SERIAL_LINE = re.compile(r"ASRL.+", re.IGNORECASE)
SHARED_BUS = re.compile(r"GPIB\d*", re.IGNORECASE)  # carries one conversation at a time


def can_be_guarded(address: str) -> bool:
    """Whether a second process can send over the connection: raw sockets and serial lines only.

    USB and GPIB are opened by one process, HiSLIP and VXI-11 number or wrap their messages.
    """
    return bool(RAW_SOCKET.fullmatch(address) or SERIAL_LINE.fullmatch(address))


def share_a_bus(addresses: Iterable[str]) -> bool:
    """Whether two of these instruments hang on one bus, where one waits while another one talks."""
    found = (SHARED_BUS.match(address) for address in addresses)
    return any(count > 1 for count in Counter(each[0].upper() for each in found if each is not None).values())
