"""The VISA back end behind every session: our own sessions put into it, and resources opened by it.

The library is imported inside functions, since it takes longer to load than all the rest. It sends nothing and never
lists resources, because listing broadcasts on the network.
"""

from __future__ import annotations

import functools
import math
from typing import TYPE_CHECKING, Any

from autobench.documents.serial_line import SerialLine

if TYPE_CHECKING:
    from pyvisa.highlevel import ResourceManager, VisaLibraryBase
    from pyvisa.resources import Resource

BACK_END = "@py"  # always named: looking for another one takes time and may load a vendor's library


def open_resource(
    address: str, library: VisaLibraryBase | None, timeout: float, line: SerialLine | None = None
) -> Resource:
    """Open by the given library, or by the pure Python back end; `line` is how a serial line is set."""
    import pyvisa

    manager = pure_python() if library is None else pyvisa.ResourceManager(library)
    settings = {} if line is None else line_settings(line)
    return manager.open_resource(address, open_timeout=math.ceil(timeout * 1000.0), **settings)


def line_settings(line: SerialLine) -> dict[str, Any]:
    """The attributes of a serial resource for `line`."""
    from pyvisa.constants import Parity, StopBits

    return {
        "baud_rate": line.baud,
        "data_bits": line.bits,
        "parity": {"N": Parity.none, "E": Parity.even, "O": Parity.odd}[line.parity],
        "stop_bits": StopBits.one if line.stops == 1 else StopBits.two,
    }


@functools.cache
def pure_python() -> ResourceManager:
    """The pure Python back end with our own sessions; kept, since closing it closes everybody's connections."""
    import pyvisa

    from autobench.instruments import serial_session, socket_session, vxi11_session

    socket_session.register()
    serial_session.register()
    vxi11_session.register()
    return pyvisa.ResourceManager(BACK_END)


def serial_interface() -> object:
    """VISA's constant for a serial line."""
    from pyvisa.constants import InterfaceType

    return InterfaceType.asrl
