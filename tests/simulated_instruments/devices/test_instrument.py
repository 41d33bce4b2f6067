"""The IEEE 488.2 side of every simulated device, exercised on the relay multiplexer, which has the fewest commands."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from autobench.protocols.replies import parse_error, parse_number
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.devices.relays_slot_channel import SlotChannelRelays


class Contacts:
    """Relay contacts that do what they are told."""

    def __init__(self) -> None:
        self.now: frozenset[int] = frozenset()

    def closed(self, channels: frozenset[int]) -> None:
        self.now = channels


def device() -> SlotChannelRelays:
    """A device with its status cleared, as a controller leaves it at the start of a session."""
    made = SlotChannelRelays("relays", SimulatedClock(), Contacts(), seed=1)
    made.receive(b"*CLS", True)
    return made


def ask(asked: SlotChannelRelays, message: str) -> str:
    """Send a message, wait as long as the reply takes, and take it."""
    asked.receive(message.encode("latin-1"), True)
    pending = asked.reply()
    assert pending is not None, f"no reply to {message!r}"
    asked.clock.sleep(pending.ready_at - asked.clock.now())
    data = pending.data
    asked.take()
    assert data.endswith(b"\n")
    return data[:-1].decode("latin-1")


def say(told: SlotChannelRelays, message: str) -> None:
    """Send a message that is not answered."""
    told.receive(message.encode("latin-1"), True)
    assert told.reply() is None


def errors(asked: SlotChannelRelays) -> list[int]:
    """Empty the error queue."""
    found = []
    while (number := parse_error(ask(asked, "SYST:ERR?"))[0]) != 0:
        found.append(number)
    return found


def test_identity_has_four_fields() -> None:
    """The identity is maker, model, serial number and firmware."""
    fields = ask(device(), "*IDN?").split(",")
    assert len(fields) == 4  # IEEE 488.2 10.14
    assert fields[0] == "ALDER STREET"


def test_the_mandatory_queries_answer() -> None:
    """Every device answers the common queries that IEEE 488.2 asks for, and the SCPI version."""
    asked = device()
    assert ask(asked, "*OPC?") == "1"  # IEEE 488.2 10.19
    assert ask(asked, "*TST?") == "0"  # IEEE 488.2 10.38
    assert ask(asked, "*ESE?") == "0"
    assert ask(asked, "*SRE?") == "0"
    assert ask(asked, "SYST:VERS?") == "1999.0"  # SCPI-1999 vol. 2, 21.21
    assert ask(asked, "STAT:OPER?;OPER:COND?;:STAT:QUES:ENAB?") == "0;0;0"  # SCPI-1999 vol. 1, 4.2.1
    assert errors(asked) == []


def test_power_on_shows_once() -> None:
    """The event status says that the device was switched on, until it is read."""
    fresh = SlotChannelRelays("relays", SimulatedClock(), Contacts())
    assert ask(fresh, "*ESR?") == "128"  # IEEE 488.2 11.5.1.1: bit 7
    assert ask(fresh, "*ESR?") == "0"  # IEEE 488.2 11.5.1.3: reading clears


@pytest.mark.parametrize(
    ("message", "number", "event"),
    [
        # SCPI-1999 vol. 2, 21.8 with the event bits of IEEE 488.2 11.5.1.1
        ("*XYZ", -113, 32),
        ("SYST:BOGUS", -113, 32),
        ("SYSTE:ERR?", -113, 32),
        ("*IDN", -113, 32),
        ("ROUT:CLOS", -109, 32),
        ("*RST 1", -108, 32),
        ("*ESE", -109, 32),
        ("*ESE ON", -141, 32),
        ("*ESE 256", -222, 16),
        ("ROUT:CLOS 101", -104, 32),
        ("ROUT:CLOS (@701)", -222, 16),
        ('DISP "x', -151, 32),
        ("SETUP&", -101, 32),
    ],
)
def test_wrong_messages_are_reported(message: str, number: int, event: int) -> None:
    """A wrong message leaves the standard's number in the queue and sets the bit of its class; nothing is answered."""
    asked = device()
    say(asked, message)
    assert int(ask(asked, "*ESR?")) == event
    assert errors(asked) == [number]


def test_errors_say_what_they_are_about() -> None:
    """The device adds the header that it does not know."""
    asked = device()
    say(asked, "SYST:BOGUS 5")
    assert ask(asked, "SYST:ERR?") == '-113,"Undefined header;SYST:BOGUS"'  # SCPI-1999 vol. 2, 21.8.1
    assert ask(asked, "SYST:ERR:NEXT?") == '0,"No error"'  # SCPI-1999 vol. 2, 21.8.1


def test_a_command_error_ends_the_message_and_an_execution_error_does_not() -> None:
    """What came before an error is done; what follows it is done only after an execution error."""
    asked = device()
    say(asked, "ROUT:CLOS (@101);BOGUS;CLOS (@102)")
    assert ask(asked, "ROUT:CLOS? (@101:102)") == "1,0"  # IEEE 488.2 6.1.7.1.1: parsing stops at a command error
    say(asked, "ROUT:CLOS (@799);CLOS (@103)")
    assert ask(asked, "ROUT:CLOS? (@103)") == "1"  # IEEE 488.2 11.5.1.1.5: an execution error concerns its command
    assert errors(asked) == [-113, -222]


def test_the_queue_overflows_as_the_standard_says() -> None:
    """After more errors than places, the last entry is -350 and the first ones are still there."""
    asked = device()
    for _ in range(25):
        say(asked, "*XYZ")
    assert errors(asked) == [-113] * 19 + [-350]  # SCPI-1999 vol. 2, 21.8.1


def test_clearing_and_resetting() -> None:
    """*CLS empties the queue and the events; *RST does neither."""
    asked = device()
    say(asked, "*XYZ")
    say(asked, "*RST")
    assert int(ask(asked, "SYST:ERR:COUN?")) == 1  # SCPI-1999 vol. 2, 21.8.1: *RST does not clear the queue
    say(asked, "*CLS")
    assert ask(asked, "*ESR?;SYST:ERR:COUN?") == "0;0"  # IEEE 488.2 10.3


def test_several_queries_have_one_response_message() -> None:
    """The answers of one message come together, separated by semicolons, ended once."""
    answer = ask(device(), "*OPC?;SYST:VERS?;*ESE?")
    assert answer == "1;1999.0;0"  # IEEE 488.2 8.4.1


def test_a_message_may_come_in_pieces_and_several_at_once() -> None:
    """Only a line feed or END ends a message, however the bytes arrive."""
    asked = device()
    for byte in b"ROUT:CLOS (@101)\nROUT:CLOS (@1":
        asked.receive(bytes([byte]), False)
    asked.receive(b"02)\r\n\n", False)
    assert ask(asked, "ROUT:CLOS? (@101:103)") == "1,1,0"  # IEEE 488.2 7.5: NL, END or both
    assert errors(asked) == []


def test_a_line_feed_inside_a_block_does_not_end_the_message() -> None:
    """The count of a block protects its bytes."""
    asked = device()
    asked.receive(b"DATA #15a\nb\nc;*ESE 1\nROUT:CLOS (@101)\n", False)
    assert errors(asked) == [-113]  # IEEE 488.2 7.7.6: one message, refused once, for its header alone
    assert ask(asked, "ROUT:CLOS? (@101)") == "1"


def test_a_second_message_before_the_reply_is_read_interrupts() -> None:
    """The first answer is dropped, -410 is queued, the second answer is the one that comes."""
    asked = device()
    asked.receive(b"*IDN?", True)
    assert ask(asked, "*ESE?") == "0"  # IEEE 488.2 6.3.2.3
    assert int(ask(asked, "*ESR?")) == 4  # IEEE 488.2 11.5.1.1.9: query error
    assert errors(asked) == [-410]  # SCPI-1999 vol. 2, 21.8.12


def test_reading_with_nothing_asked_is_unterminated() -> None:
    """A device that is read from without a question reports -420."""
    asked = device()
    assert asked.talk() is None  # IEEE 488.2 6.3.2.2
    assert errors(asked) == [-420]  # SCPI-1999 vol. 2, 21.8.12


def test_the_status_byte_adds_up() -> None:
    """Error queue, message available, event status and the request bit appear with their weights."""
    asked = device()
    say(asked, "*ESE 60;*SRE 32")
    assert asked.status_byte() == 0
    say(asked, "*XYZ")
    assert asked.status_byte() == 4 + 32 + 64  # IEEE 488.2 11.2 and SCPI-1999 vol. 1, 9.1
    assert asked.status_byte() == 4 + 32  # IEEE 488.2 11.3.3.2: a serial poll takes the request back
    assert int(ask(asked, "*STB?")) == 4 + 32 + 64  # IEEE 488.2 10.36: *STB? shows the summary, which stays
    asked.receive(b"*IDN?", True)
    assert asked.status_byte() & 16 == 0  # IEEE 488.2 6.1.10.2.1: nothing in the output queue yet
    asked.clock.sleep(0.1)
    assert asked.status_byte() & 16 == 16  # IEEE 488.2 11.2.1.2: MAV


def test_operation_complete_waits_for_the_relays() -> None:
    """*OPC sets its event bit and *OPC? answers only after the relays have moved."""
    asked = device()
    say(asked, "ROUT:CLOS (@101);*OPC")
    assert int(asked.events) & 1 == 0  # IEEE 488.2 12.5.2
    asked.clock.sleep(0.05)
    assert int(ask(asked, "*ESR?")) & 1 == 1  # IEEE 488.2 12.5.2
    before = asked.clock.now()
    assert ask(asked, "ROUT:OPEN (@101);*OPC?") == "1"
    assert asked.clock.now() - before > 0.00999  # common practice: some milliseconds to operate


def test_device_clear_empties_both_queues() -> None:
    """A device clear forgets half a message and an unread answer, but no setting and no error."""
    asked = device()
    say(asked, "*XYZ;")
    say(asked, "ROUT:CLOS (@101)")
    asked.receive(b"*IDN?", True)
    asked.receive(b"ROUT:OPEN", False)
    asked.device_clear()
    assert asked.reply() is None  # IEEE 488.2 5.8
    assert ask(asked, "ROUT:CLOS? (@101)") == "1"  # IEEE 488.2 5.8: settings stay
    assert errors(asked) == [-113]


def test_an_endless_message_overruns_the_input_buffer() -> None:
    """Bytes without an end are thrown away with -363, and the next message is understood."""
    asked = device()
    for _ in range(20):
        asked.receive(b"x" * 10_000, False)
    asked.receive(b"\n", False)
    assert errors(asked) == [-363]  # SCPI-1999 vol. 2, 21.8.11


def test_an_unplugged_device_is_silent() -> None:
    """Silent, it neither hears nor answers; plugged in again, it has not heard what was said."""
    asked = device()
    asked.silent = True
    asked.receive(b"ROUT:CLOS (@101)\n*IDN?", True)
    assert asked.reply() is None
    asked.silent = False
    assert asked.reply() is None
    assert ask(asked, "ROUT:CLOS? (@101)") == "0"


def test_late_replies_answer_the_next_question() -> None:
    """A late device keeps the old answer, so that whoever did not wait reads it to the next question."""
    asked = device()
    asked.late = 10.0
    asked.receive(b"*ESE?", True)
    pending = asked.reply()
    assert pending is not None
    assert pending.ready_at - asked.clock.now() >= 10.0
    assert ask(asked, "*IDN?") == "0"
    assert waiting_maker(asked) == "ALDER STREET"


def waiting_maker(asked: SlotChannelRelays) -> str:
    """The maker's name from the answer that still waits."""
    pending = asked.reply()
    assert pending is not None
    asked.clock.sleep(pending.ready_at - asked.clock.now())
    asked.take()
    return pending.data.decode("ascii").split(",")[0]


def test_commands_sent_too_fast_are_lost() -> None:
    """With a pace, a message on the heels of another one is dropped without a word."""
    asked = device()
    asked.clock.sleep(1.0)
    asked.pace = 0.05
    say(asked, "ROUT:CLOS (@101)")
    say(asked, "ROUT:CLOS (@102)")  # common practice: some firmware drops what comes within 20-50 ms
    asked.clock.sleep(0.1)
    assert ask(asked, "ROUT:CLOS? (@101:102)") == "1,0"


@given(st.lists(st.one_of(st.binary(max_size=30), st.text("ROUTCLOS?*IDN;:(@10,2)\n ", max_size=20)), max_size=6))
def test_no_bytes_stop_a_device(pieces: list[bytes | str]) -> None:
    """Whatever arrives, the device goes on and answers the next question that is put properly."""
    asked = device()
    for piece in pieces:
        asked.receive(piece if isinstance(piece, bytes) else piece.encode("latin-1"), False)
        pending = asked.reply()
        assert pending is None or pending.data.endswith(b"\n")
    asked.device_clear()
    assert ask(asked, "*IDN?").startswith("ALDER STREET")
    assert parse_number(ask(asked, "*STB?")).value < 256  # IEEE 488.2 11.2: eight bits
