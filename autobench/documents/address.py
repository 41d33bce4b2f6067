"""What a VISA address says about where the instrument is: this machine or elsewhere, socket, serial line or other.

Reads the text only; opens nothing.
"""

from __future__ import annotations

import ipaddress
import re

LOOPBACK_NAMES = ("localhost",)
NETWORK = re.compile(r"TCPIP\d*::(\[?::1\]?|[^:\s]+)(?:::[^:\s]+)*", re.IGNORECASE)
RAW_SOCKET = re.compile(r"TCPIP\d*::.+::\d+::SOCKET", re.IGNORECASE)
SERIAL_LINE = re.compile(r"ASRL.+", re.IGNORECASE)


def on_this_machine(address: str) -> bool:
    """Whether the address is on this machine's loopback and cannot be another's."""
    network = NETWORK.fullmatch(address)
    return network is not None and loopback(network.group(1).strip("[]").split(",")[0])


def loopback(host: str) -> bool:
    """Whether a host, by name or number, is this machine and cannot be another."""
    if host.lower() in LOOPBACK_NAMES:
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def can_be_guarded(address: str) -> bool:
    """Whether a second process can send over the connection: raw sockets and serial lines only.

    USB and GPIB are opened by one process, HiSLIP and VXI-11 number or wrap their messages.
    """
    return bool(RAW_SOCKET.fullmatch(address) or SERIAL_LINE.fullmatch(address))
