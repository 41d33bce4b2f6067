"""Instruments that echo and prompt: what belongs to which line, and prompts that say a line failed."""

from __future__ import annotations

import pytest

from autobench.errors import InstrumentReportedError, NoReplyError, ReplyError
from autobench.instruments.connection import link_over
from autobench.instruments.console_session import ConsoleSession, PromptWords
from autobench.instruments.link import Link
from simulated_instruments.clock import SimulatedClock
from tests.drivers.meetings import driver_named


class Line:
    """A serial line on which these lines come in, one a read."""

    instrument = "meter"
    has_end = False
    partial = b""

    def __init__(self, coming: list[bytes]) -> None:
        self.coming = coming
        self.sent: list[bytes] = []

    def write(self, message: bytes, within: float) -> None:
        self.sent.append(message)

    def read_message(self, within: float) -> bytes:
        if not self.coming:
            raise NoReplyError("meter", "nothing more came in time")
        return self.coming.pop(0)

    def clear(self) -> None:
        self.coming.clear()

    def reopen(self) -> None:
        self.coming.clear()


def link(*coming: bytes) -> tuple[Link, Line]:
    """A link over a console on such a line."""
    clock, line = SimulatedClock(), Line(list(coming))
    session = ConsoleSession(line, PromptWords("=>", ("?>", "!>")), clock)  # type: ignore[arg-type]
    return link_over(session, driver_named("m-2"), "meter", clock), line


def test_a_reply_stands_between_echo_and_prompt() -> None:
    """Echo, result, prompt (common practice): only the result is the reply."""
    meter, line = link(b"MEAS1?", b"+4.9987E+0", b"=>")
    assert meter.ask("MEAS1?") == "+4.9987E+0"
    assert line.coming == []


def test_a_command_waits_for_its_prompt() -> None:
    """The next line is not sent before the prompt has come."""
    meter, line = link(b"VDC", b"=>", b"MEAS1?", b"+1E+0", b"=>")
    meter.say("VDC")
    assert line.coming[0] == b"MEAS1?"
    assert meter.ask("MEAS1?") == "+1E+0"


@pytest.mark.parametrize("prompt", [b"?>", b"!>"])
def test_an_error_prompt_is_quoted_with_its_line(prompt: bytes) -> None:
    """A refused line is the instrument's error, and the conversation stays in step."""
    meter, _ = link(b"RANGE 9", prompt)
    with pytest.raises(InstrumentReportedError, match=r"^meter: RANGE 9: answered with its error prompt"):
        meter.say("RANGE 9")
    assert not meter.dirty


def test_what_came_before_the_echo_is_an_earlier_lines() -> None:
    """A late answer never passes for this one's."""
    meter, _ = link(b"+9.9E+0", b"=>", b"VAL?", b"+1.0E+0", b"=>")
    assert meter.ask("VAL?") == "+1.0E+0"


def test_a_prompt_without_a_reply_is_no_reply() -> None:
    """A query that is only prompted for is refused in words."""
    meter, _ = link(b"VAL?", b"=>")
    with pytest.raises(ReplyError, match=r"VAL\?: answered with its prompt only"):
        meter.ask("VAL?")


def test_an_answer_where_none_was_asked_for_is_refused() -> None:
    """A command that is answered means the driver takes it for something it is not."""
    meter, _ = link(b"VDC", b"+1.0E+0", b"=>")
    with pytest.raises(ReplyError, match=r"answered '\+1\.0E\+0' where nothing was asked"):
        meter.say("VDC")


def acknowledged(*coming: bytes) -> tuple[Link, Line]:
    """A link over a session with an instrument that sends nothing back but an `OK` behind what it takes."""
    clock, line = SimulatedClock(), Line(list(coming))
    line.clear = lambda: None  # type: ignore[method-assign]  # what comes here is the answer, and nothing older
    session = ConsoleSession(line, PromptWords("OK", (), echo=False), clock)  # type: ignore[arg-type]
    return link_over(session, driver_named("ps-6"), "supply", clock), line


def test_an_acknowledgement_ends_what_is_not_echoed() -> None:
    """Data and `OK` in one piece or in two are the same reply; a command has the `OK` alone."""
    supply, line = acknowledged(b"030201450", b"OK", b"030201451\rOK", b"OK")
    assert [supply.ask("GETD") for _ in range(2)] == ["030201450", "030201451"]
    supply.say("SOUT1")
    assert line.coming == []


def test_what_is_not_acknowledged_was_not_taken() -> None:
    """Silence is a refusal here, and data without an `OK` is no reply."""
    supply, _ = acknowledged()
    with pytest.raises(NoReplyError, match="no reply to VOLT001"):
        supply.say("VOLT001")
    supply, _ = acknowledged(b"030201450")
    with pytest.raises(NoReplyError):
        supply.ask("GETD")


def test_what_is_left_of_an_earlier_reply_is_dropped_before_the_next_line() -> None:
    """Without an echo nothing tells the two apart."""
    clock, line = SimulatedClock(), Line([b"OK"])
    session = ConsoleSession(line, PromptWords("OK", (), echo=False), clock)  # type: ignore[arg-type]
    with pytest.raises(NoReplyError):
        link_over(session, driver_named("ps-6"), "supply", clock).say("SOUT0")


def test_a_prompt_without_a_line_end_ends_the_message_below() -> None:
    """The session below reads to the prompt; echo and data stand before it, whatever line ends are between."""
    clock, line = SimulatedClock(), Line([b"relay readall\r\n0008\n\r", b"relay on 3\r\n"])
    session = ConsoleSession(line, PromptWords(">", (), line_end=False), clock)  # type: ignore[arg-type]
    relays = link_over(session, driver_named("w-4"), "relays", clock)
    assert relays.ask("relay readall") == "0008"
    relays.say("relay on 3")
    assert line.coming == []
