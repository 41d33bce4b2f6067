"""One simulated device behind a serial line: a pseudo-terminal whose other end any program opens as a port.

Messages end with a line end, or with a silence where the device says so; a device that prompts echoes each line and
ends every exchange with its prompt. It must not know any command.
"""

from __future__ import annotations

import contextlib
import os
import select
import termios
import threading
import tty

from autobench.clock import RealClock
from simulated_instruments.connections.misbehaviour import Misbehaviour, Piece
from simulated_instruments.devices.instrument import INPUT_BUFFER, Device, message_length

MOST_READ = 4096
SLICE = 0.02  # seconds; waiting is cut into such slices, so that stop() need not wait for a slow reply
INTERRUPT = 0x03


class PseudoTerminalServer:
    """Serves `device` on a pseudo-terminal; `address` is what a bench file says.

    `lock` is held while the device works; the servers of one bench share it.
    """

    def __init__(self, device: Device, *, lock: threading.Lock | None = None) -> None:
        self.device = device
        self.misbehaviour = Misbehaviour()
        self._wire = self.misbehaviour  # how the reply that goes out is treated
        self._wire_clock = RealClock()
        self.path = ""
        self.baud: int | None = None  # its speed; what comes at another one is garbage. None: any will do
        self._lock = lock or threading.Lock()
        self._thread: threading.Thread | None = None
        self._stopping = threading.Event()
        self._incoming = bytearray()

    @property
    def address(self) -> str:
        """The VISA address of the running server."""
        return f"ASRL{self.path}::INSTR"

    def start(self) -> None:
        """Make the terminal and serve; returns once it can be opened."""
        if self._thread is not None:
            return
        self._stopping.clear()
        self._incoming.clear()
        # The far end is kept open here as well: else the line would go dead whenever a client closes it.
        self._near, self._far = os.openpty()
        tty.setraw(self._far)
        os.set_blocking(self._near, False)
        self.path = os.ttyname(self._far)
        self._woken, self._waker = os.pipe()
        self._thread = threading.Thread(target=self._serve, name=f"{self.device.name} serial", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Close the terminal; returns when the thread has ended. May be called twice."""
        if self._thread is None:
            return
        self._stopping.set()
        with contextlib.suppress(OSError):
            os.write(self._waker, b".")
        self._thread.join()
        self._thread = None
        os.close(self._waker)
        os.close(self._woken)

    def drop_connections(self) -> None:
        """A serial line has no connection that could be broken and made again."""

    def __enter__(self) -> PseudoTerminalServer:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def _serve(self) -> None:
        try:
            while not self._stopping.is_set():
                silence = self.device.silence if self._incoming and self.device.silence else None
                readable, _, _ = select.select([self._near, self._woken], [], [], silence)
                if self._near in readable and self.misbehaviour.frozen:
                    self._stopping.wait(SLICE)
                elif self._near in readable:
                    self._incoming += self._heard(os.read(self._near, MOST_READ))
                    self._lines()
                elif not readable and self._incoming:
                    message = bytes(self._incoming)
                    self._incoming.clear()
                    self._execute(message, True)
        except OSError:
            return  # the terminal was closed under us, as a misbehaving line does
        finally:
            for end in (self._near, self._far):
                with contextlib.suppress(OSError):
                    os.close(end)

    def _heard(self, data: bytes) -> bytes:
        """What arrives of `data`: nothing that makes sense where the two ends of the line have different speeds."""
        if self.baud is None or termios.tcgetattr(self._far)[4] == getattr(termios, f"B{self.baud}"):
            return data
        return bytes(byte & 0x55 | 0x80 for byte in data)

    def _lines(self) -> None:
        """Execute every line that is whole."""
        if self.device.silence:
            return
        if self.device.prompted or self.device.returns:
            self._normalise()
        while (length := message_length(self._incoming)) is not None:
            message = bytes(self._incoming[:length])
            del self._incoming[: length + 1]
            self._execute(message, True)
        if len(self._incoming) > INPUT_BUFFER:
            message = bytes(self._incoming)
            self._incoming.clear()
            self._execute(message, False)  # the device itself has words for this

    def _normalise(self) -> None:
        """An interrupt forgets what was begun; a carriage return ends a line as a line feed does."""
        if INTERRUPT in self._incoming:
            del self._incoming[: self._incoming.rindex(INTERRUPT) + 1]
            with self._lock:
                self.device.device_clear()
            if self.device.prompted:
                self._send(self.device.prompt())
        data = bytes(self._incoming).replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        self._incoming[:] = data

    def _execute(self, message: bytes, whole: bool) -> None:
        """Give one message to the device, wait for its reply, if it has one, and send it."""
        device = self.device
        with self._lock:
            device.receive(message, whole)
            pending = device.reply()
        if device.prompted and not device.silent:
            self._send(message + b"\r\n")
        while pending is not None:
            while (wait := pending.ready_at - device.clock.now()) > 0:
                if self._stopping.is_set():
                    return
                device.clock.sleep(min(wait, SLICE))
            with self._lock:
                data = pending.data  # what is measured is measured now
                device.take()
                pending = device.reply()
            self._answer(data)
        if device.prompted and not device.silent and self._wire.cut is None:
            self._send(device.prompt())

    def _answer(self, data: bytes) -> None:
        """Send a reply as the wire lets it through."""
        wire = self._wire = self.misbehaviour.next(len(data))
        end = self._wire_clock.now() + wire.held
        while (left := end - self._wire_clock.now()) > 0 and not self._stopping.is_set():
            self._wire_clock.sleep(min(left, SLICE))
        for piece in wire.of([data]):
            self._send(piece)
        if wire.ends(data):
            raise OSError("the line is pulled")

    def _send(self, data: Piece) -> None:
        rest = memoryview(data)
        while rest and not self._stopping.is_set():
            _, writable, _ = select.select([], [self._near], [], SLICE)
            if writable:
                drip = self._wire.drip if self.misbehaviour is self._wire else 0.0  # else it behaves again
                with contextlib.suppress(BlockingIOError):
                    rest = rest[os.write(self._near, rest[:1] if drip else rest) :]
                self._wire_clock.sleep(drip)
