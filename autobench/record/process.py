"""Which process writes a run, in a line that another process can check later. Reads the system, changes nothing."""

from __future__ import annotations

import os
import socket
from pathlib import Path

PARTS = 4


def this_process() -> str:
    """`machine boot pid start`: enough to know later whether this very process still lives."""
    return f"{machine()} {boot()} {os.getpid()} {started(os.getpid()) or '-'}"


def has_ended(process: str) -> bool | None:
    """Whether the process of such a line has ended; None where that cannot be told from here."""
    parts = process.split(" ")
    if len(parts) != PARTS or parts[0] != machine() or "-" in (parts[1], parts[3]) or not parts[2].isdigit():
        return None
    return parts[1] != boot() or started(int(parts[2])) != parts[3]


def machine() -> str:
    """Name of this machine, in one word."""
    return socket.gethostname().replace(" ", "_") or "-"


def boot() -> str:
    """Identity of this start of the machine; `-` where there is none."""
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    except OSError:
        return "-"


def started(pid: int) -> str | None:
    """When a process started, in the kernel's ticks, so that a number used again is not taken for the same process.

    None where there is no such process (proc(5), /proc/pid/stat, field 22; the name in field 2 may hold anything).
    """
    try:
        fields = Path(f"/proc/{pid}/stat").read_text(encoding="latin-1").rpartition(")")[2].split()
    except OSError:
        return None
    return None if fields[0] in ("Z", "X") else fields[19]
