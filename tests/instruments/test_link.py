"""The link in good order: what it sends and reads, its words, its pace, and who may break in."""

from __future__ import annotations

import random
import threading
from typing import Any

import pytest

from autobench.errors import NoReplyError, ProtocolError, ReplyError, StoppedError
from autobench.instruments.exchange import Exchange


def test_commands_and_queries(bench: Any) -> None:
    """What is said takes effect, what is asked is answered without its line end, and both are reported."""
    bench.link.say("*ESE 36")
    assert bench.link.ask("*ESE?") == "36"
    assert [(one.sent, one.received, one.error) for one in bench.exchanges] == [
        (b"*ESE 36", None, None),
        (b"*ESE?", b"36", None),
    ]
    assert not bench.link.dirty


def test_silence_in_words(bench: Any) -> None:
    """An instrument that does not answer is named with the command, the time that was allowed, and what to look at."""
    bench.device.silent = True
    with pytest.raises(NoReplyError) as caught:
        bench.link.ask("MEAS:VOLT? (@1)", 0.05)
    assert str(caught.value) == (
        "recorder: no reply to MEAS:VOLT? (@1) within 50.0 ms; nor does it answer SYST:ERR?: is it switched on and "
        "plugged in, and is this its address?"
    )
    assert bench.link.dirty
    assert str(caught.value).startswith(str(bench.exchanges[0].error))


@pytest.mark.parametrize(
    ("command", "cause"),
    [
        # SCPI-1999 vol. 2, 21.8: undefined header, missing parameter, data out of range
        ("MEAS:VOLT? (@1)", "-113: it does not know this command – is the driver right?"),
        ("*ESE;*ESE?", "-109: it wants other parameters than it was sent – is the driver right?"),
        ("*ESE 999", "-222: a value is out of its range"),
    ],
)
def test_why_there_was_no_reply(bench: Any, command: str, cause: str) -> None:
    """After a time-out the instrument is asked for its errors, and the sentence says what they mean."""
    with pytest.raises(NoReplyError) as caught:
        bench.link.ask(command)
    assert str(caught.value) == f"recorder: no reply to {command} within 200 ms; the instrument reports {cause}"
    assert bench.link.ask("*ESE?") == "0"


def test_no_reply_without_a_cause(bench: Any) -> None:
    """An instrument that answers otherwise and knows of no error is said to be too slow, perhaps."""
    with pytest.raises(NoReplyError, match="reports no cause: it may need longer than that"):
        bench.link.ask("*CLS")  # a command is not answered


def test_while_making_safe_nobody_is_asked_why(in_process: Any) -> None:
    """Switching off must not wait for an explanation: a time-out costs exactly its deadline then."""
    in_process.device.silent = True
    with in_process.link.safing(), pytest.raises(NoReplyError, match=r"within 200 ms$"):
        in_process.link.ask("*IDN?")
    assert in_process.clock.now() == pytest.approx(0.2)


def test_time_allowed_in_words(in_process: Any) -> None:
    """A deadline of seconds is told in seconds; so much time has passed, and half a second for asking why."""
    in_process.device.silent = True
    with pytest.raises(NoReplyError, match=r"no reply to \*IDN\? within 2\.0 s"):
        in_process.link.ask("*IDN?", 2.0)
    assert in_process.clock.now() == pytest.approx(2.5)
    assert in_process.exchanges[0].seconds == pytest.approx(2.0)


@pytest.mark.parametrize("size", [0, 1, 12_345, 10_000_000])
def test_blocks_arrive_intact(bench: Any, size: int) -> None:
    """A block of any bytes arrives as it was sent, and the next query is in step."""
    bench.device.curve = random.Random(size).randbytes(size)
    assert bench.link.ask_block("CURV?", 20.0) == bench.device.curve
    assert bench.link.ask("COUN?") == "1"


def test_block_without_a_length(in_process: Any) -> None:
    """An indefinite block ends with END; line feeds and carriage returns inside it, the last one too, are data."""
    in_process.device.curve = b"a\nb\r\n\r"
    assert in_process.link.ask_block("CURV:ENDL?") == in_process.device.curve  # IEEE 488.2, 8.7.10


def test_missing_line_end_in_words(over_socket: Any) -> None:
    """A reply whose line end never comes is quoted, since that is how a wrong line end in a driver file shows."""
    over_socket.device.terminator = b"\r"
    with pytest.raises(NoReplyError, match=r"no complete reply to \*ESE\? within 200 ms, only: 0\\r"):
        over_socket.link.ask("*ESE?")


def test_pace(in_process: Any) -> None:
    """Messages keep their distance: an instrument that loses what comes too soon loses nothing."""
    in_process.link.pace = in_process.device.pace = 0.05
    for value in range(1, 6):
        in_process.link.say(f"*ESE {value}")
        assert in_process.link.ask("*ESE?") == str(value)


def test_check_may_break_off(bench: Any) -> None:
    """The check is called before each exchange; where it raises, nothing is sent and the link is not dirty."""

    def stop() -> None:
        raise StoppedError("stopped by the operator")

    bench.link.check = stop
    with pytest.raises(StoppedError):
        bench.link.say("*ESE 1")
    assert bench.exchanges == []
    assert not bench.link.dirty


def test_making_safe_is_not_broken_off(bench: Any) -> None:
    """While making safe the check is suspended, and afterwards it is back."""
    calls: list[int] = []
    bench.link.check = lambda: calls.append(1)
    with bench.link.safing(), bench.link.safing():
        bench.link.say("*ESE 1")
    assert calls == []
    assert bench.link.ask("*ESE?") == "1"
    assert calls == [1]


def test_error_queue(bench: Any) -> None:
    """The error queue is emptied, oldest first."""
    bench.link.say("NONSENSE")
    bench.link.say("*ESE")
    numbers = [number for number, _ in bench.link.drain_errors("SYST:ERR?")]
    assert numbers == [-113, -109]  # SCPI-1999 vol. 2, 21.8: undefined header, missing parameter
    assert bench.link.drain_errors("SYST:ERR?") == []


def test_error_queue_is_read_with_a_limit(bench: Any) -> None:
    """An instrument that always has one more error cannot hold the caller."""
    for _ in range(5):
        bench.link.say("NONSENSE")
    assert len(bench.link.drain_errors("SYST:ERR?", limit=3)) == 3


def test_answer_that_is_no_error_entry(bench: Any) -> None:
    """A reply that cannot be an entry of an error queue means the conversation is out of step."""
    with pytest.raises(ReplyError):
        bench.link.drain_errors("*IDN?")
    assert bench.link.dirty


@pytest.mark.parametrize("text", ["", "*CLS\n*RST", "VOLT 5\x00", "VOLT 5 Ω"])
def test_only_one_printable_message_is_sent(bench: Any, text: str) -> None:
    """Text that could become two messages, or none, is refused before anything is sent."""
    with pytest.raises(ProtocolError):
        bench.link.say(text)
    assert bench.exchanges == []


def test_one_exchange_at_a_time(bench: Any) -> None:
    """Two threads on one link get their own answers."""
    wrong: list[str] = []

    def ask(query: str, wanted: str) -> None:
        wrong.extend(reply for _ in range(30) if (reply := bench.link.ask(query, 5.0)) != wanted)

    asking = [threading.Thread(target=ask, args=pair) for pair in (("*ESE?", "0"), ("*IDN?", bench.device.identity))]
    for thread in asking:
        thread.start()
    for thread in asking:
        thread.join()
    assert wrong == []


def test_an_exchange_in_one_line() -> None:
    """The summary of an exchange is printable and short, whatever was received."""
    exchange = Exchange("scope", 0.0, b"CURV?", b"#41000" + bytes(1000), 0.1)
    assert exchange.summary(12) == "CURV? -> #41000\\x00\\x… (1006 bytes)"
    assert Exchange("scope", 0.0, b"*IDN?", None, 2.0, "scope: no reply").summary() == "*IDN? (scope: no reply)"
