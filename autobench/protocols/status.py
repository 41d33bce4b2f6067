"""Status reporting of IEEE 488.2 and SCPI-1999: registers, status byte, error queue and the standard's error texts.

Plain state and arithmetic, used by the simulated devices to keep their status and by the program to read it. It must
not know any command, and it sends nothing.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from enum import IntFlag


class EventStatus(IntFlag):
    """Standard Event Status Register, weights of IEEE 488.2 11.5.1."""

    OPERATION_COMPLETE = 1
    REQUEST_CONTROL = 2
    QUERY_ERROR = 4
    DEVICE_ERROR = 8
    EXECUTION_ERROR = 16
    COMMAND_ERROR = 32
    USER_REQUEST = 64
    POWER_ON = 128


class StatusByte(IntFlag):
    """Status byte, weights of IEEE 488.2 11.2 with the bits that SCPI-1999 adds."""

    ERROR_QUEUE = 4
    QUESTIONABLE = 8
    MESSAGE_AVAILABLE = 16
    EVENT_STATUS = 32
    MASTER_SUMMARY = 64
    OPERATION = 128


# The texts of SCPI-1999 volume 2, 21.8.
STANDARD_ERRORS: dict[int, str] = {
    0: "No error",
    -100: "Command error",
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -104: "Data type error",
    -105: "GET not allowed",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -110: "Command header error",
    -111: "Header separator error",
    -112: "Program mnemonic too long",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -115: "Unexpected number of parameters",
    -120: "Numeric data error",
    -121: "Invalid character in number",
    -123: "Exponent too large",
    -124: "Too many digits",
    -128: "Numeric data not allowed",
    -130: "Suffix error",
    -131: "Invalid suffix",
    -134: "Suffix too long",
    -138: "Suffix not allowed",
    -140: "Character data error",
    -141: "Invalid character data",
    -144: "Character data too long",
    -148: "Character data not allowed",
    -150: "String data error",
    -151: "Invalid string data",
    -158: "String data not allowed",
    -160: "Block data error",
    -161: "Invalid block data",
    -168: "Block data not allowed",
    -170: "Expression error",
    -171: "Invalid expression",
    -178: "Expression data not allowed",
    -180: "Macro error",
    -181: "Invalid outside macro definition",
    -183: "Invalid inside macro definition",
    -184: "Macro parameter error",
    -200: "Execution error",
    -201: "Invalid while in local",
    -202: "Settings lost due to rtl",
    -203: "Command protected",
    -210: "Trigger error",
    -211: "Trigger ignored",
    -212: "Arm ignored",
    -213: "Init ignored",
    -214: "Trigger deadlock",
    -215: "Arm deadlock",
    -220: "Parameter error",
    -221: "Settings conflict",
    -222: "Data out of range",
    -223: "Too much data",
    -224: "Illegal parameter value",
    -225: "Out of memory",
    -226: "Lists not same length",
    -230: "Data corrupt or stale",
    -231: "Data questionable",
    -232: "Invalid format",
    -233: "Invalid version",
    -240: "Hardware error",
    -241: "Hardware missing",
    -250: "Mass storage error",
    -252: "Missing media",
    -254: "Media full",
    -256: "File name not found",
    -257: "File name error",
    -258: "Media protected",
    -260: "Expression error",
    -261: "Math error in expression",
    -300: "Device-specific error",
    -310: "System error",
    -311: "Memory error",
    -312: "PUD memory lost",
    -313: "Calibration memory lost",
    -314: "Save/recall memory lost",
    -315: "Configuration memory lost",
    -320: "Storage fault",
    -321: "Out of memory",
    -330: "Self-test failed",
    -340: "Calibration failed",
    -350: "Queue overflow",
    -360: "Communication error",
    -361: "Parity error in program message",
    -362: "Framing error in program message",
    -363: "Input buffer overrun",
    -365: "Time out error",
    -400: "Query error",
    -410: "Query INTERRUPTED",
    -420: "Query UNTERMINATED",
    -430: "Query DEADLOCKED",
    -440: "Query UNTERMINATED after indefinite response",
    -500: "Power on",
    -600: "User request",
    -700: "Request control",
    -800: "Operation complete",
}

# SCPI-1999 volume 2, 21.8.2: hundreds of a negative error number -> the event bit that it sets.
CLASSES: dict[int, EventStatus] = {
    1: EventStatus.COMMAND_ERROR,
    2: EventStatus.EXECUTION_ERROR,
    3: EventStatus.DEVICE_ERROR,
    4: EventStatus.QUERY_ERROR,
    5: EventStatus.POWER_ON,
    6: EventStatus.USER_REQUEST,
    7: EventStatus.REQUEST_CONTROL,
    8: EventStatus.OPERATION_COMPLETE,
}
LONGEST_TEXT = 255  # characters of an error string with its device information
QUEUE_OVERFLOW = -350


def error_class_bit(number: int) -> EventStatus:
    """The event status bit that error `number` sets; no bit for 0 and for numbers outside the standard's classes."""
    if number > 0:
        return EventStatus.DEVICE_ERROR
    return CLASSES.get(-number // 100, EventStatus(0))


def error_text(number: int) -> str:
    """The standard's text of an error number; for one it does not list, the text of its class, or nothing."""
    if number in STANDARD_ERRORS:
        return STANDARD_ERRORS[number]
    return STANDARD_ERRORS.get(-(-number // 100) * 100, "") if number < 0 else ""


def master_summary(status: StatusByte, enabled: int) -> bool:
    """Bit 6 as `*STB?` reports it (IEEE 488.2 11.2.2.3): any enabled bit of `status` other than bit 6 itself is set."""
    return bool(int(status) & enabled & ~int(StatusByte.MASTER_SUMMARY))


@dataclass(frozen=True)
class QueuedError:
    """One entry of an error queue; `info` is what the device adds after the standard's text."""

    number: int
    info: str = ""

    def __str__(self) -> str:
        """As `SYSTem:ERRor?` answers it: `-113,"Undefined header;SYST:BOGUS"`."""
        text = error_text(self.number)
        if self.info:
            text = f"{text};{self.info}"
        return '{},"{}"'.format(self.number, text[:LONGEST_TEXT].replace('"', '""'))


class ErrorQueue:
    """First in, first out; when full, the last entry becomes -350 and the new one is lost (SCPI-1999 vol. 2, 21.8)."""

    def __init__(self, length: int = 30) -> None:
        if length < 2:
            raise ValueError("an error queue has at least two places")
        self.length = length
        self._entries: deque[QueuedError] = deque()

    def __len__(self) -> int:
        return len(self._entries)

    def push(self, number: int, info: str = "") -> None:
        """Enter an error."""
        if len(self._entries) < self.length:
            self._entries.append(QueuedError(number, info))
        else:
            self._entries[-1] = QueuedError(QUEUE_OVERFLOW)

    def pop(self) -> QueuedError:
        """The oldest entry, taken out; number 0 when there is none."""
        return self._entries.popleft() if self._entries else QueuedError(0)

    def clear(self) -> None:
        """Forget all entries."""
        self._entries.clear()


class StatusRegister:
    """An OPERation or QUEStionable register: condition, filters, latched event, enable (SCPI-1999 vol. 1, 9).

    All parts are 15 bits wide: bit 15 is always 0, so that the value fits a signed 16-bit integer.
    """

    MASK = 0x7FFF

    def __init__(self) -> None:
        self.condition = 0
        self.event = 0
        self.preset()

    def preset(self) -> None:
        """As after `STATus:PRESet`: nothing enabled, rising conditions latched, falling ones not."""
        self.enable = 0
        self.positive = self.MASK
        self.negative = 0

    def update(self, condition: int) -> None:
        """The device's condition is now this; transitions that pass the filters latch in `event`."""
        condition &= self.MASK
        rose = condition & ~self.condition
        fell = self.condition & ~condition
        self.event |= (rose & self.positive) | (fell & self.negative)
        self.condition = condition

    def read_event(self) -> int:
        """The latched events, cleared by reading."""
        event, self.event = self.event, 0
        return event

    @property
    def summary(self) -> bool:
        """The summary bit for the status byte."""
        return bool(self.event & self.enable)
