"""A device of IEEE 488.2: message exchange, status reporting and the commands that SCPI-1999 asks of every instrument.

Connections bring bytes and take replies; the kinds of instruments are built on this class. It must not know any
circuit, nor how its bytes travel. What a command sets takes effect when its message arrives; what it answers is ready a
little later, and a measurement is made when its answer is ready. The clock alone tells the time, and the device never
sleeps on it.
"""

from __future__ import annotations

import math
import operator
import re
from collections import deque
from collections.abc import Callable, Sequence
from typing import ClassVar

from autobench.clock import Clock
from autobench.protocols.parameters import integer
from autobench.protocols.scpi import ScpiError, Unit, units
from autobench.protocols.status import (
    ErrorQueue,
    EventStatus,
    QueuedError,
    StatusByte,
    StatusRegister,
    error_class_bit,
    master_summary,
)
from simulated_instruments.devices.command_tree import Answer, Command, CommandTree, Later, register_commands
from simulated_instruments.devices.noise import generator

MAKER = "ALDER STREET"
FIRMWARE = "1.0"
INPUT_BUFFER = 65_536  # bytes of one program message
# Strings end with their quote or the line, a block after its count; only a line feed outside a block ends a message.
LANDMARK = re.compile(rb"\"[^\"\n]*\"?|'[^'\n]*'?|#[1-9]|\n")


class Pending:
    """A response message. `data`, terminator included, may be asked for once `ready_at` (clock seconds) has come.

    What is measured is measured when `data` is first asked for, then it stays the same.
    """

    def __init__(self, parts: Sequence[str | Callable[[], str]], ready_at: float, terminator: bytes) -> None:
        self.ready_at = ready_at
        self._parts = parts
        self._terminator = terminator
        self._data: bytes | None = None

    @property
    def data(self) -> bytes:
        if self._data is None:
            texts = [part if isinstance(part, str) else part() for part in self._parts]
            self._data = ";".join(texts).encode("latin-1") + self._terminator
        return self._data


def message_length(data: bytearray) -> int | None:
    """How many bytes of `data` stand before the line feed that ends a message; None if it has not come yet."""
    at = 0
    while match := LANDMARK.search(data, at):
        at = match.end()
        found = match.group()
        if found == b"\n":
            return match.start()
        if found[0:1] == b"#":
            digits = bytes(data[at : at + int(found[1:])])
            at += int(found[1:]) + (int(digits) if digits.isdigit() else 0)
    return None


class Device:
    """One instrument. `silent`: unplugged, it takes nothing in and says nothing. `late`: its replies come so many
    seconds later, and a new message does not displace them, so they answer the next query. `pace`: a message that
    arrives sooner than this many seconds after the one before is lost.
    """

    model: ClassVar[str]
    latency: ClassVar[float] = 0.004  # seconds from a message to its reply, where nothing is measured
    silence: ClassVar[float] = 0.0  # seconds without a byte that end a message on a serial line; 0: a line end does
    prompted: ClassVar[bool] = False  # echoes on a serial line, and ends every exchange there with its `prompt()`
    returns: ClassVar[bool] = False  # a carriage return alone ends a line on a serial line

    def __init__(self, name: str, clock: Clock, seed: int = 0) -> None:
        self.name = name
        self.clock = clock
        self.seed = seed
        self.identity = f"{MAKER},{self.model},{generator(seed, name, 'serial').integers(10_000, 99_999)},{FIRMWARE}"
        self.terminator = b"\n"
        self.silent = False
        self.late = 0.0
        self.pace = 0.0
        self.errors = ErrorQueue(20)
        self.events = EventStatus.POWER_ON
        self.events_enabled = 0
        self.requests_enabled = 0
        self.operation = StatusRegister()
        self.questionable = StatusRegister()
        self.operations_end = -math.inf  # when the last overlapped operation is complete
        self.free_at = -math.inf  # when the firmware is done with what it was told so far
        self._completion_wanted = False
        self._requested = False
        self._summary_before = False
        self._input = bytearray()
        self._overrun = False
        self._heard_at = -math.inf
        self._replies: deque[Pending] = deque()

    # What a connection uses.

    def receive(self, data: bytes, end: bool) -> None:
        """Program bytes as they come; `end` is the END flag, or the transport's terminator seen."""
        if self.silent:
            return
        self._input += data
        while (length := message_length(self._input)) is not None:
            message = bytes(self._input[:length])
            del self._input[: length + 1]
            self._take_in(message)
        if end:
            message, self._input = bytes(self._input), bytearray()
            self._take_in(message)
        elif len(self._input) > INPUT_BUFFER:
            self._input.clear()
            self._overrun = True

    def reply(self) -> Pending | None:
        """The response message that waits to be taken, ready or not; None if there is none to come."""
        if self.silent:
            return None
        self.advance()
        return self._replies[0] if self._replies else None

    def talk(self) -> Pending | None:
        """As `reply`, for a transport that knows it is being read from: with nothing to say this is a query error."""
        pending = self.reply()
        if pending is None and not self.silent:
            self.report(-420)
        return pending

    def take(self) -> None:
        """The waiting response message has been sent."""
        if self._replies:
            _ = self._replies.popleft().data  # what was to be measured is measured now at the latest

    def status_byte(self) -> int:
        """Serial poll: the status byte, with the service request in bit 6, which reading it takes back."""
        if self.silent:
            return 0
        self.advance()
        self._watch_summary()
        requested, self._requested = self._requested, False
        return int(self.status()) | (StatusByte.MASTER_SUMMARY if requested else 0)

    def device_clear(self) -> None:
        """IEEE 488.2 5.8: input and output are emptied and waiting commands forgotten; settings and errors stay."""
        if self.silent:
            return
        self._input.clear()
        self._overrun = False
        self._replies.clear()
        self._completion_wanted = False
        self.abandon()

    def prompt(self) -> bytes:
        """What a `prompted` instrument ends an exchange on a serial line with."""
        return b""

    def advance(self) -> None:
        """Do what has come due by now; called on every contact, and by whoever is about to look at the world."""
        if self._completion_wanted and self.clock.now() >= self.operations_end:
            self._completion_wanted = False
            self.events |= EventStatus.OPERATION_COMPLETE
        self.progress()

    # What a kind of instrument adds.

    def reset(self) -> None:
        """`*RST`: the settings of this instrument. The status reporting is none of its business."""

    def abandon(self) -> None:
        """Forget an operation that waits for something, on a device clear."""

    def registers(self) -> list[StatusRegister]:
        """All registers that `*CLS` and `STATus:PRESet` concern."""
        return [self.operation, self.questionable]

    def progress(self) -> None:
        """Notice what has happened at the terminals since the last contact, and do what has come due."""

    # Message exchange.

    def _take_in(self, message: bytes) -> None:
        """One whole program message has arrived."""
        now = self.clock.now()
        heard, self._heard_at = self._heard_at, now
        if self._overrun or len(message) > INPUT_BUFFER:
            self._overrun = False
            self.report(-363)
        elif now - heard >= self.pace and message.strip():
            self.advance()
            if self._replies and not self.late:
                self._replies.clear()
                self.report(-410)
            self.free_at = max(self.free_at, now) if self.late else now
            self._execute(message.decode("latin-1"))
        self._watch_summary()

    def _execute(self, message: str) -> None:
        self.free_at += self.latency
        parts: list[str | Callable[[], str]] = []
        try:
            for unit in units(message):
                answer = self._perform(unit)
                if isinstance(answer, Later):
                    self.free_at += answer.seconds
                    parts.append(answer.finish)
                elif answer is not None:
                    parts.append(answer)
        except ScpiError as error:  # a command error ends the message, what came before it has been done
            self.report(error.number, error.info)
        if parts:
            self._replies.append(Pending(parts, self.free_at + self.late, self.terminator))

    def _perform(self, unit: Unit) -> Answer:
        """Perform one unit; an execution error is reported and leaves the rest of the message to be done."""
        try:
            return self.tree.perform(self, unit)
        except ScpiError as error:
            if error.number > -200:
                raise
            self.report(error.number, error.info)
            return None

    # Status reporting.

    def report(self, number: int, info: str = "") -> None:
        """Enter an error into queue and event status."""
        self.errors.push(number, info)
        self.events |= error_class_bit(number)

    def status(self) -> StatusByte:
        """The status byte without bit 6."""
        status = StatusByte(0)
        if len(self.errors):
            status |= StatusByte.ERROR_QUEUE
        if self.questionable.summary:
            status |= StatusByte.QUESTIONABLE
        if self._replies and self.clock.now() >= self._replies[0].ready_at:
            status |= StatusByte.MESSAGE_AVAILABLE
        if int(self.events) & self.events_enabled:
            status |= StatusByte.EVENT_STATUS
        if self.operation.summary:
            status |= StatusByte.OPERATION
        return status

    def _watch_summary(self) -> None:
        """A new reason for service sets the request that a serial poll reads (IEEE 488.2 11.3.1)."""
        summary = self.requests_enabled != 0 and master_summary(self.status(), self.requests_enabled)
        self._requested = summary and (self._requested or not self._summary_before)
        self._summary_before = summary

    # The commands of every instrument.

    def clear_status(self) -> Answer:
        self.errors.clear()
        self.events = EventStatus(0)
        for register in self.registers():
            register.event = 0
        self._completion_wanted = False
        return None

    def reset_all(self) -> Answer:
        self._completion_wanted = False
        self.operations_end = -math.inf
        self.reset()
        return None

    def read_events(self) -> Answer:
        events, self.events = self.events, EventStatus(0)
        return str(int(events))

    def enable_events(self, mask: str) -> Answer:
        self.events_enabled = integer(mask, minimum=0, maximum=255)
        return None

    def enable_requests(self, mask: str) -> Answer:
        self.requests_enabled = integer(mask, minimum=0, maximum=255) & ~StatusByte.MASTER_SUMMARY
        return None

    def read_status(self) -> Answer:
        summary = master_summary(self.status(), self.requests_enabled)
        return str(int(self.status()) | (StatusByte.MASTER_SUMMARY if summary else 0))

    def want_completion(self) -> Answer:
        self._completion_wanted = True
        self.advance()
        return None

    def answer_completion(self) -> Answer:
        if self.operations_end == math.inf:
            return None  # nothing will complete it: the instrument hangs, as real ones do
        return Later(max(0.0, self.operations_end - self.free_at), lambda: "1")

    def wait_completion(self) -> Answer:
        if self.operations_end < math.inf:
            self.free_at = max(self.free_at, self.operations_end)
        return None

    def written(self, error: QueuedError) -> str:
        """An error entry as this instrument writes it."""
        return str(error)

    def preset_status(self) -> Answer:
        for register in self.registers():
            register.preset()
        return None

    tree: ClassVar[CommandTree] = CommandTree(
        Command("*IDN?", lambda device: device.identity),
        Command("*RST", reset_all),
        Command("*CLS", clear_status),
        Command("*ESR?", read_events),
        Command("*ESE", enable_events),
        Command("*ESE?", lambda device: str(device.events_enabled)),
        Command("*SRE", enable_requests),
        Command("*SRE?", lambda device: str(device.requests_enabled)),
        Command("*STB?", read_status),
        Command("*OPC", want_completion),
        Command("*OPC?", answer_completion),
        Command("*WAI", wait_completion),
        Command("*TST?", lambda _: "0"),
        Command("SYSTem:ERRor[:NEXT]?", lambda device: device.written(device.errors.pop())),
        Command("SYSTem:ERRor:COUNt?", lambda device: str(len(device.errors))),
        Command("SYSTem:VERSion?", lambda _: "1999.0"),
        Command("STATus:PRESet", preset_status),
        *register_commands("OPERation", operator.attrgetter("operation")),
        *register_commands("QUEStionable", operator.attrgetter("questionable")),
    )
