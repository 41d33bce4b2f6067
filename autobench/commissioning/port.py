"""A port as a person names it, and what lies below any conversation: is it there, may we open it, is it free.

It sends nothing. The layers above – whether something answers, in which dialect, and who – come afterwards.
"""

from __future__ import annotations

import contextlib
import errno
import fcntl
import getpass
import grp
import os
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from autobench.documents.bench import LOOPBACK
from autobench.documents.words import printable, quoted
from autobench.errors import LayerError, UsageError
from autobench.instruments.plugged_in import UsbInstrument, serial_ports, usb_instruments

NUMBER = re.compile(r"\d{1,5}", re.ASCII)
HOST = re.compile(r"([A-Za-z0-9.\-]+):(\d{1,5})", re.ASCII)
DEVICE = re.compile(r"/.+|COM\d+", re.ASCII)
SERIAL = re.compile(r"ASRL(/.+?)(::INSTR)?", re.IGNORECASE)
USB = re.compile(r"USB\d*::(0x[0-9A-F]+|\d+)::(0x[0-9A-F]+|\d+)(::.*)?", re.IGNORECASE)
SUCH = "a serial port (/dev/ttyUSB0), an address (USB0::0x1234::0x5678::INSTR), or HOST:PORT"
RULES = "/etc/udev/rules.d/60-instruments.rules"
May = Callable[[str, int], bool]


@dataclass(frozen=True)
class Port:
    """One port: what the person wrote, and the VISA address it means."""

    name: str
    address: str

    @property
    def local(self) -> bool:
        """Whether nothing goes out over the network."""
        return not self.address.upper().startswith("TCPIP") or bool(LOOPBACK.fullmatch(self.address))

    @property
    def device(self) -> str | None:
        """The path of a serial port, None for anything else."""
        found = SERIAL.fullmatch(self.address)
        return found[1] if found else None


def port_named(text: str) -> Port:
    """The port a person means by `text`; raises `UsageError`."""
    if "::" in text and text.isascii() and text.isprintable() and not re.search(r"[\s;]", text):
        return Port(text, text)
    if NUMBER.fullmatch(text):
        return Port(text, f"TCPIP::127.0.0.1::{text}::SOCKET")
    if found := HOST.fullmatch(text):
        return Port(text, f"TCPIP::{found[1]}::{found[2]}::SOCKET")
    if DEVICE.fullmatch(text) and text.isprintable() and not re.search(r"[\s;:]", text):
        return Port(text, f"ASRL{text}::INSTR")
    raise UsageError(f"{quoted(text)} is no port; write {SUCH}")


def require_open_to_us(
    port: Port, may: May = os.access, usb: Callable[[], list[UsbInstrument]] = usb_instruments
) -> None:
    """Raise `LayerError` for the lowest layer that fails, of `port`, `permission` and `busy`."""
    if port.device is not None:
        require_serial(port, port.device, may)
    elif found := USB.fullmatch(port.address):
        require_usb(port, int(found[1], 0), int(found[2], 0), may, usb())


def require_serial(port: Port, path: str, may: May) -> None:
    """The three layers of a serial port."""
    if not Path(path).exists():
        there = ", ".join(each.path for each in serial_ports())
        raise LayerError(
            port.name, "port", f"there is no such port; {f'there are {there}' if there else 'there is none at all'}"
        )
    if not may(path, os.R_OK | os.W_OK):
        raise LayerError(port.name, "permission", serial_permission(path))
    try:
        with exclusively(path):
            pass
    except OSError as error:
        if error.errno not in (errno.EBUSY, errno.EWOULDBLOCK, errno.EAGAIN):
            raise LayerError(port.name, "port", f"it cannot be opened: {error.strerror}") from error
        by = ", ".join(holders(path)) or "another program"
        raise LayerError(port.name, "busy", f"it is in use by {by}: close that first") from error


@contextlib.contextmanager
def exclusively(path: str) -> Iterator[None]:
    """The port opened and locked, and left again."""
    descriptor = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield
    finally:
        os.close(descriptor)


def holders(path: str) -> list[str]:
    """Programs that have `path` open, as far as this user may see: name and process number."""
    found = []
    for entry in Path("/proc").glob("[0-9]*/fd/*"):
        with contextlib.suppress(OSError):
            number = entry.parts[2]
            if int(number) != os.getpid() and os.readlink(entry) == os.path.realpath(path):
                name = Path(f"/proc/{number}/comm").read_text(encoding="utf-8", errors="replace").strip()
                found.append(f"{printable(name)} (process {number})")
    return sorted(set(found))


def serial_permission(path: str) -> str:
    """What to do so that this user may open a serial port."""
    status = os.stat(path)
    group, user = group_name(status.st_gid), getpass.getuser()
    if status.st_mode & 0o060 == 0o060 and group != "root":
        return f"you may not open it; its group '{group}' may: `sudo usermod -aG {group} {user}`, then log in again"
    rule = f'KERNEL=="{Path(path).name}", SUBSYSTEM=="tty", GROUP="dialout", MODE="0660"'
    return (
        f"you may not open it; write the line `{rule}` to {RULES}, `sudo usermod -aG dialout {user}`, log in again, "
        "and unplug and replug it"
    )


def group_name(number: int) -> str:
    """The name of a group, or its number where it has none."""
    try:
        return grp.getgrgid(number).gr_name
    except KeyError:
        return str(number)


def require_usb(port: Port, vendor: int, product: int, may: May, plugged: list[UsbInstrument]) -> None:
    """Whether a USB instrument is there and may be opened; who else uses it shows on opening."""
    there = next((each for each in plugged if (each.vendor, each.product) == (vendor, product)), None)
    if there is None:
        known = ", ".join(each.address for each in plugged)
        shown = f"there are {known}" if known else "none at all is seen"
        raise LayerError(port.name, "port", f"no such USB instrument is plugged in; {shown}")
    if not may(there.node, os.R_OK | os.W_OK):
        rule = (
            f'SUBSYSTEM=="usb", ATTR{{idVendor}}=="{vendor:04x}", ATTR{{idProduct}}=="{product:04x}", '
            'GROUP="plugdev", MODE="0660", TAG+="uaccess"'
        )
        text = f"you may not open it; write the line `{rule}` to {RULES}, and unplug and replug it"
        raise LayerError(port.name, "permission", text)
