"""What a VISA address says about the connection behind it. Reads the text only; opens nothing."""

from __future__ import annotations

import re

RAW_SOCKET = re.compile(r"TCPIP\d*::.+::\d+::SOCKET", re.IGNORECASE)
SERIAL_LINE = re.compile(r"ASRL.+", re.IGNORECASE)


def can_be_guarded(address: str) -> bool:
    """Whether a second process can send over the connection: raw sockets and serial lines only.

    USB and GPIB are opened by one process, HiSLIP and VXI-11 number or wrap their messages.
    """
    return bool(RAW_SOCKET.fullmatch(address) or SERIAL_LINE.fullmatch(address))
