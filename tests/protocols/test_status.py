"""Status registers, status byte and error queue, held to IEEE 488.2 11 and SCPI-1999 volume 2, 21.8."""

from __future__ import annotations

import pytest

from autobench.protocols.status import (
    STANDARD_ERRORS,
    ErrorQueue,
    EventStatus,
    StatusByte,
    StatusRegister,
    error_class_bit,
    error_text,
    master_summary,
)

# SCPI-1999 vol. 2, 21.8.9 to 21.8.17: numbers with their texts.
TEXTS = """
0 No error
-100 Command error | -101 Invalid character | -102 Syntax error | -103 Invalid separator | -104 Data type error
-105 GET not allowed | -108 Parameter not allowed | -109 Missing parameter | -110 Command header error
-111 Header separator error | -112 Program mnemonic too long | -113 Undefined header
-114 Header suffix out of range | -115 Unexpected number of parameters | -120 Numeric data error
-121 Invalid character in number | -123 Exponent too large | -124 Too many digits | -128 Numeric data not allowed
-130 Suffix error | -131 Invalid suffix | -134 Suffix too long | -138 Suffix not allowed | -140 Character data error
-141 Invalid character data | -144 Character data too long | -148 Character data not allowed
-150 String data error | -151 Invalid string data | -158 String data not allowed | -160 Block data error
-161 Invalid block data | -168 Block data not allowed | -170 Expression error | -171 Invalid expression
-178 Expression data not allowed | -180 Macro error | -181 Invalid outside macro definition
-183 Invalid inside macro definition | -184 Macro parameter error
-200 Execution error | -201 Invalid while in local | -202 Settings lost due to rtl | -203 Command protected
-210 Trigger error | -211 Trigger ignored | -212 Arm ignored | -213 Init ignored | -214 Trigger deadlock
-215 Arm deadlock | -220 Parameter error | -221 Settings conflict | -222 Data out of range | -223 Too much data
-224 Illegal parameter value | -225 Out of memory | -226 Lists not same length | -230 Data corrupt or stale
-231 Data questionable | -232 Invalid format | -233 Invalid version | -240 Hardware error | -241 Hardware missing
-250 Mass storage error | -252 Missing media | -254 Media full | -256 File name not found | -257 File name error
-258 Media protected | -260 Expression error | -261 Math error in expression
-300 Device-specific error | -310 System error | -311 Memory error | -312 PUD memory lost
-313 Calibration memory lost | -314 Save/recall memory lost | -315 Configuration memory lost | -320 Storage fault
-321 Out of memory | -330 Self-test failed | -340 Calibration failed | -350 Queue overflow
-360 Communication error | -361 Parity error in program message | -362 Framing error in program message
-363 Input buffer overrun | -365 Time out error
-400 Query error | -410 Query INTERRUPTED | -420 Query UNTERMINATED | -430 Query DEADLOCKED
-440 Query UNTERMINATED after indefinite response
-500 Power on | -600 User request | -700 Request control | -800 Operation complete
"""


def test_the_standards_texts() -> None:
    """Error numbers carry the texts of SCPI-1999, each of them and no others."""
    listed = dict(entry.strip().split(" ", 1) for line in TEXTS.strip().splitlines() for entry in line.split(" | "))
    assert {int(number): text for number, text in listed.items()} == STANDARD_ERRORS


def test_every_listed_error_has_a_text_of_its_class() -> None:
    """A number the table lacks is described by its class, a positive one by nothing."""
    assert error_text(-251) == "Execution error"  # SCPI-1999 vol. 2, 21.8.10
    assert error_text(-199) == "Command error"  # SCPI-1999 vol. 2, 21.8.9
    assert error_text(501) == ""  # SCPI-1999 vol. 2, 21.8.1: positive numbers are the device's own


@pytest.mark.parametrize(
    ("number", "weight"),
    [
        # SCPI-1999 vol. 2, 21.8.2 and IEEE 488.2 11.5.1.1
        (-100, 32),
        (-199, 32),
        (-200, 16),
        (-299, 16),
        (-300, 8),
        (-399, 8),
        (1, 8),
        (32767, 8),
        (-400, 4),
        (-499, 4),
        (-500, 128),
        (-600, 64),
        (-700, 2),
        (-800, 1),
        (0, 0),
        (-99, 0),
        (-900, 0),
    ],
)
def test_each_class_of_errors_sets_its_bit(number: int, weight: int) -> None:
    """The hundreds of an error number choose the bit of the event status register."""
    assert int(error_class_bit(number)) == weight


def test_weights_add_up_as_manuals_print_them() -> None:
    """The masks that manuals give as examples come out of the weights."""
    errors = (
        EventStatus.COMMAND_ERROR | EventStatus.EXECUTION_ERROR | EventStatus.DEVICE_ERROR | EventStatus.QUERY_ERROR
    )
    assert int(errors) == 60  # IEEE 488.2 11.5.1: 32 + 16 + 8 + 4
    assert int(StatusByte.EVENT_STATUS | StatusByte.MESSAGE_AVAILABLE) == 48  # IEEE 488.2 11.2: 32 + 16
    assert int(StatusByte.ERROR_QUEUE | StatusByte.QUESTIONABLE | StatusByte.OPERATION) == 140  # SCPI-1999 vol. 1, 9.1


def test_bit_six_summarises_the_enabled_others() -> None:
    """The master summary needs a bit that is both set and enabled, and is never its own cause."""
    assert master_summary(StatusByte.EVENT_STATUS, 48)  # IEEE 488.2 11.2.2.3
    assert not master_summary(StatusByte.QUESTIONABLE, 48)  # IEEE 488.2 11.2.2.3
    assert not master_summary(StatusByte.MASTER_SUMMARY, 255)  # IEEE 488.2 11.3.2.4: enable bit 6 does nothing


def test_a_full_queue_loses_the_newest_and_says_so() -> None:
    """The last place becomes -350, the oldest survive, and one read frees one place."""
    queue = ErrorQueue(4)
    for number in (-101, -102, -103, -104, -108, -109):
        queue.push(number)
    assert [queue.pop().number for _ in range(5)] == [-101, -102, -103, -350, 0]  # SCPI-1999 vol. 2, 21.8.1
    for number in (-101, -102, -103, -104, -108):
        queue.push(number)
    queue.pop()
    queue.push(-222)
    assert [queue.pop().number for _ in range(4)] == [-102, -103, -350, -222]  # SCPI-1999 vol. 2, 21.8.1


def test_entries_read_as_the_standard_writes_them() -> None:
    """Number, comma, quoted text, device information after a semicolon, 255 characters at most."""
    queue = ErrorQueue()
    assert str(queue.pop()) == '0,"No error"'  # SCPI-1999 vol. 2, 21.8.1
    queue.push(-113, "SYSTem:BOGUS")
    assert str(queue.pop()) == '-113,"Undefined header;SYSTem:BOGUS"'  # SCPI-1999 vol. 2, 21.8.1
    queue.push(-113, "x" * 400)
    assert len(str(queue.pop())) == len('-113,""') + 255  # SCPI-1999 vol. 2, 21.8.1
    queue.push(-131, 'a "b"')
    assert str(queue.pop()) == '-131,"Invalid suffix;a ""b"""'  # IEEE 488.2 8.7.8: quotes are doubled


def test_the_queue_is_cleared_and_has_two_places_at_least() -> None:
    """Clearing forgets all; a queue of one place could not say that it overflowed."""
    queue = ErrorQueue(2)
    queue.push(-101)
    queue.clear()
    assert len(queue) == 0
    with pytest.raises(ValueError, match="two"):
        ErrorQueue(1)  # from memory of SCPI-1999 vol. 2, 21.8.1


def test_a_register_latches_transitions_until_read() -> None:
    """Rising conditions latch as events after a preset, falling ones only when their filter says so."""
    register = StatusRegister()
    register.update(0b11)
    register.update(0b01)
    assert register.condition == 0b01
    assert register.read_event() == 0b11  # SCPI-1999 vol. 1, 9.3: PTR all ones, NTR all zeros after preset
    assert register.read_event() == 0  # IEEE 488.2 11.4.2: reading clears
    register.positive, register.negative = 0, 0b01
    register.update(0b10)
    assert register.read_event() == 0b01  # SCPI-1999 vol. 1, 9.3
    register.update(0xFFFF)
    assert register.condition == 0x7FFF  # SCPI-1999 vol. 1, 9.2: bit 15 is never used


def test_the_summary_needs_an_enabled_event() -> None:
    """A register reports to the status byte only what is enabled."""
    register = StatusRegister()
    register.update(0b100)
    disabled = register.summary
    register.enable = 0b100
    assert (disabled, register.summary) == (False, True)  # SCPI-1999 vol. 1, 9.2
    register.preset()
    assert (register.enable, register.positive, register.negative) == (0, 0x7FFF, 0)  # SCPI-1999 vol. 2, 20.7
