"""The serial session (`ASRL/dev/ttyUSB0::INSTR`) that replaces the back end's own one, over the same serial library.

The stock session reads byte by byte, counts its time-out anew with each of them and drops what a time-out cuts. It
imports the back end at the top and is therefore itself imported late, by `autobench.instruments.visa` only. It must not
know messages or commands.
"""

from __future__ import annotations

import serial
from pyvisa.constants import InterfaceType, ResourceAttribute, StatusCode
from pyvisa_py.serial import SerialSession
from pyvisa_py.sessions import Session

from autobench.instruments.buffered_session import LARGEST_READ, BufferedSession
from autobench.instruments.deadline import Deadline

GONE = (serial.SerialException, OSError, TypeError)  # a port that was closed meanwhile has no descriptor any more


class DeadlineSerialSession(BufferedSession, SerialSession):  # type: ignore[misc]  # the back end publishes no types
    """A serial line with one deadline a call and a receive buffer kept over time-outs.

    What ends a message is not its business: the characters are in the message.
    """

    interface: serial.Serial | None

    @staticmethod
    def list_resources() -> list[str]:
        """Nothing: ports are listed where a person asks for it, and opened only where one was named."""
        return []

    def after_parsing(self) -> None:
        """Open the port. Raises `serial.SerialException`, which is an `OSError`."""
        self.empty()
        super().after_parsing()
        self.attrs[ResourceAttribute.termchar_enabled] = False

    def write(self, data: bytes) -> tuple[int, StatusCode]:
        """Send all of `data` before the time-out."""
        if self.interface is None:
            return 0, StatusCode.error_connection_lost
        try:
            self.interface.write_timeout = self.deadline().left()
            count = self.interface.write(data)
        except serial.SerialTimeoutException:
            return 0, StatusCode.error_timeout
        except GONE:
            return 0, StatusCode.error_connection_lost
        return int(count or 0), StatusCode.success

    def receive(self, wanted: int, deadline: Deadline) -> StatusCode:
        if self.interface is None:
            return StatusCode.error_connection_lost
        try:
            waiting = self.interface.in_waiting
            self.interface.timeout = deadline.left()
            data = self.interface.read(max(1, min(waiting, max(wanted, LARGEST_READ))))
        except GONE:
            return StatusCode.error_connection_lost
        self.received += data
        return StatusCode.success if data else StatusCode.error_timeout

    def abort(self) -> None:
        """Break off a read that blocks in another thread."""
        if self.interface is not None:
            self.interface.cancel_read()

    def close(self) -> StatusCode:
        """Close the port; may be called twice."""
        if self.interface is not None:
            self.interface.close()
            self.interface = None
        return StatusCode.success


def register() -> None:
    """Put this session into the back end's registry in place of the stock one; may be called any number of times."""
    if Session.get_session_class(InterfaceType.asrl, "INSTR") is SerialSession:
        Session.register(InterfaceType.asrl, "INSTR")(DeadlineSerialSession)
