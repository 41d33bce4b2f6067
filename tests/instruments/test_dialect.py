"""The interpreter of driver files: what is sent, what is refused before it is sent, and how it waits.

The far end here is a plain conversation partner over the session port, so that replies no shipped simulated instrument
gives can be tried; the shipped drivers meet the simulated instruments in `tests/drivers`.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable

import pytest

from autobench.documents.driver import Driver
from autobench.documents.loader import parse
from autobench.documents.reading import model_of
from autobench.errors import BenchError, InstrumentReportedError, LinkLostError, NoReplyError, ReplyError
from autobench.instruments.dialect import Dialect, fixed, plain, runs_of
from autobench.instruments.link import Link
from simulated_instruments.clock import SimulatedClock

SUPPLY = """
driver: spoken
kind: supply
words: for these tests
link:
  errors: {ask: "ERR?", answer: error}
identity: {ask: "*IDN?", answer: text}
clear: {say: "*CLS"}
outputs: {channels: "1, 2", volts: 0 V .. 20 V, amps: 0 A .. 5 A, rise: 50 ms, fall: 3 s}
actions:
  local: {say: "LOCAL"}
  set volts: {say: ["SEL {channel}", "VOLT {value}"], span: 0 V .. 20.5 V, digits: 3}
  set amps: {say: "CURR {channel},{value}", span: 0 A .. 5.1 A, digits: 2}
  on:
    say: "ON {channel}"
    wait: {complete: "*OPC?", poll: "ON? {channel}", until: ["ON", "1"], every: 100 ms, within: 1 s}
  off: {say: "OFF {channel}", wait: {pause: 250 ms}}
  on?: {ask: "ON? {channel}", answer: truth}
  volts?: {ask: "V? {channel}", answer: number, trust: {plus: 5 mV}}
  amps?: {ask: "A? {channel}", answer: number, trust: {plus: 5 mA}}
"""

RELAYS = """
driver: spoken
kind: relays
words: for these tests
channels: {numbers: 101 .. 120, operate: 15 ms, release: 5 ms, amps: at most 0.1 A, between: ", ", through: ":"}
actions:
  open all: {say: "OPEN"}
  close: {say: "CLOSE (@ {channels})"}
"""


class Partner:
    """The far end of a session: answers each question from its list, the last answer again and again."""

    instrument = "supply"
    partial = b""
    has_end = True

    def __init__(self, clock: SimulatedClock, answers: dict[str, Iterable[str]]) -> None:
        self.clock = clock
        self.answers = {question: deque(replies) for question, replies in answers.items()}
        self.heard: list[str] = []
        self.waiting: deque[str] = deque()
        self.closed = False

    def write(self, message: bytes, within: float) -> None:
        text = message.decode("ascii")
        self.heard.append(text)
        if text in self.answers:
            replies = self.answers[text]
            self.waiting.append(replies.popleft() if len(replies) > 1 else replies[0])
        elif text.startswith("*ESE") and text.endswith("*ESE?"):  # the link getting back in step
            self.waiting.append(("0;" if text.startswith("*ESE?") else "") + text.split("*ESE ")[1].split(";")[0])

    def confirm(self, within: float) -> None:
        """Nothing confirms a command."""

    def read_message(self, within: float) -> bytes:
        if not self.waiting:
            self.clock.sleep(within)
            raise NoReplyError(self.instrument, "nothing came")
        return self.waiting.popleft().encode("ascii")

    def read_exact(self, count: int, within: float) -> bytes:
        raise LinkLostError(self.instrument, "no blocks here")

    read_to_end = finish_message = read_message

    def clear(self) -> None:
        self.waiting.clear()

    def status_byte(self) -> int | None:
        return None

    def abort(self) -> None:
        self.closed = True

    def reopen(self) -> None:
        self.waiting.clear()

    def close(self) -> None:
        self.closed = True


def spoken(text: str, **answers: Iterable[str]) -> tuple[Dialect, Partner, SimulatedClock]:
    """A dialect for a driver file's text, with a partner that gives `answers` (`V_1` stands for `V? 1`)."""
    clock = SimulatedClock()
    questions = {key.replace("_", "? "): replies for key, replies in answers.items()}
    partner = Partner(clock, {"ERR?": ['0,"No error"'], "*OPC?": ["1"], **questions})
    tree, mistakes = parse(text.encode(), "spoken.yaml")
    return Dialect(model_of(tree, Driver, mistakes), Link(partner, "supply", clock)), partner, clock


def test_lines_are_sent_in_order_with_a_plain_number() -> None:
    """All lines of an action go out one after another, values with fixed decimal places."""
    dialect, partner, _ = spoken(SUPPLY)
    assert dialect.perform("set volts", channel=2, value=5) is None
    assert partner.heard == ["SEL 2", "VOLT 5.000"]


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (5.0, 3, "5.000"),
        (0.1 + 0.2, 3, "0.300"),  # computed: 0.30000000000000004
        (0.7 * 3, 2, "2.10"),  # computed: 2.0999999999999996
        (1.2399, 2, "1.23"),  # cut, so that a limit is never above what was asked for
        (-5.2599, 2, "-5.25"),
        (-0.0001, 2, "0.00"),
        (1e-7, 3, "0.000"),
        (12.0, 0, "12"),
    ],
)
def test_fixed_numbers_are_cut_towards_zero(value: float, digits: int, text: str) -> None:
    """What is sent is never more than what was asked for, and what binary arithmetic left behind does not show."""
    assert fixed(value, digits) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [(10.0, "10"), (0.1, "0.1"), (1e8, "100000000"), (0.02, "0.02"), (1000, "1000"), (1e-7, "0.0000001")],
)
def test_plain_numbers_have_no_exponent(value: float, text: str) -> None:
    """Ranges and counts are written in full."""
    assert plain(value) == text


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (20.6, "supply: 'set volts' refused: 20.60 V is not in 0 V .. 20.50 V"),
        (-0.1, "supply: 'set volts' refused: -100.0 mV is not in 0 V .. 20.50 V"),
        (math.nan, "supply: 'set volts' refused: nan is no value to send"),
        (math.inf, "supply: 'set volts' refused: inf is no value to send"),
    ],
)
def test_a_value_out_of_span_is_refused_before_anything_is_sent(value: float, words: str) -> None:
    """The instrument never hears of it, not even the line before the value."""
    dialect, partner, _ = spoken(SUPPLY)
    with pytest.raises(BenchError) as refused:
        dialect.perform("set volts", channel=1, value=value)
    assert str(refused.value) == words
    assert partner.heard == []


def test_an_output_the_file_does_not_know_is_refused() -> None:
    """Only declared channels are ever addressed."""
    dialect, partner, _ = spoken(SUPPLY)
    with pytest.raises(BenchError, match="supply: the driver 'spoken' knows no channel 3"):
        dialect.perform("on", channel=3)
    assert partner.heard == []


def test_an_action_the_dialect_lacks_is_refused_in_words() -> None:
    """What the driver file leaves out cannot be done, and the sentence says so."""
    dialect, _, _ = spoken(SUPPLY)
    assert not dialect.can("limiting?")
    with pytest.raises(BenchError, match=r"supply: the driver 'spoken' has no 'limiting\?'"):
        dialect.perform("limiting?", channel=1)


def test_a_forgotten_value_is_an_error_of_the_program() -> None:
    """Calling an action without what its lines need is nobody's fault at the bench."""
    dialect, partner, _ = spoken(SUPPLY)
    with pytest.raises(ValueError, match="called without channel, value"):
        dialect.perform("set volts")
    assert partner.heard == []


@pytest.mark.parametrize("word", ["10;ON 1", "10\nON 1", '"', "a b", ""])
def test_a_word_that_could_smuggle_a_command_is_refused(word: str) -> None:
    """Words that go into a line hold no separator, quote or line end."""
    dialect, partner, _ = spoken(SUPPLY)
    with pytest.raises(BenchError, match="is not one plain word"):
        dialect.perform("on?", channel=1, range=word)
    assert partner.heard == []


def test_channels_are_written_as_the_dialect_writes_a_list() -> None:
    """Runs that count up become one range, in the order given."""
    dialect, partner, _ = spoken(RELAYS)
    dialect.perform("close", channels=(101, 102, 103, 110, 105))
    assert partner.heard == ["CLOSE (@ 101:103, 110, 105)"]
    assert runs_of((1, 2, 4)) == [(1, 2), (4, 4)]


def test_it_waits_for_completion_and_then_for_the_state() -> None:
    """Completion is asked once, the state again and again on the clock, until one of the awaited answers comes."""
    dialect, partner, clock = spoken(SUPPLY, ON_1=["OFF", "OFF", "on"])
    dialect.perform("on", channel=1)
    assert partner.heard == ["ON 1", "*OPC?", "ON? 1", "ON? 1", "ON? 1"]
    assert clock.now() == pytest.approx(0.2)


def test_a_state_that_never_comes_is_a_missing_reply() -> None:
    """The wait ends at its deadline and says what still came."""
    dialect, _, clock = spoken(SUPPLY, ON_2=["OFF"])
    with pytest.raises(NoReplyError, match=r"supply: 'ON\? 2' still answered 'OFF' after 1.000 s"):
        dialect.perform("on", channel=2)
    assert clock.now() == pytest.approx(1.0, abs=0.11)


def test_a_pause_passes_on_the_clock() -> None:
    """A dialect that can only be waited for is waited for in its own time."""
    dialect, _, clock = spoken(SUPPLY)
    dialect.perform("off", channel=1)
    assert clock.now() == pytest.approx(0.25)


def test_what_the_instrument_reports_is_quoted() -> None:
    """After a checked action every queued error is taken out and shown with the line that caused it."""
    dialect, partner, _ = spoken(SUPPLY)
    partner.answers["ERR?"] = deque(['-222,"Data out of range"', '-113,"Undefined header"', '0,"No error"'])
    with pytest.raises(InstrumentReportedError) as reported:
        dialect.perform("set amps", channel=1, value=1.0, check=True)
    assert str(reported.value) == (
        'supply: reported -222,"Data out of range"; -113,"Undefined header" after \'CURR 1,1.00\''
    )
    assert dialect.errors() == []


def test_a_queue_that_never_empties_does_not_hold_the_run() -> None:
    """Reading errors ends after as many as the longest queue holds (common practice: 30)."""
    dialect, partner, _ = spoken(SUPPLY)
    partner.answers["ERR?"] = deque(['-350,"Queue overflow"'])
    assert len(dialect.errors()) == 30


def test_a_reply_without_sense_brings_the_link_back_in_step() -> None:
    """After a reply that cannot be the answer the next question gets its own answer again."""
    dialect, partner, _ = spoken(SUPPLY, V_1=["4.99V"], A_1=["hello"])
    partner.answers["A? 1"].append("0.5")
    with pytest.raises(ReplyError, match=r"supply: the reply to 'A\? 1' is not understood"):
        dialect.perform("amps?", channel=1)
    partner.waiting.clear()
    answer = dialect.perform("volts?", channel=1)
    assert answer is not None
    assert answer.number == 4.99
    assert not dialect.link.dirty


def test_a_reading_in_the_wrong_unit_is_refused() -> None:
    """Volts where amps were asked for: the reply belongs to another question."""
    dialect, _, _ = spoken(SUPPLY, A_1=["4.99V"])
    with pytest.raises(ReplyError, match="is in V, expected was A"):
        dialect.perform("amps?", channel=1)


def test_identity_and_clear_come_from_the_file() -> None:
    """The identity is text as sent; clearing also empties the error queue."""
    dialect, partner, _ = spoken(SUPPLY)
    partner.answers["*IDN?"] = deque(["ALDER STREET,SPOKEN,1,1.0"])
    assert dialect.identify() == "ALDER STREET,SPOKEN,1,1.0"
    dialect.clear()
    assert partner.heard == ["*IDN?", "*CLS", "ERR?"]


def test_closing_gives_the_panel_back() -> None:
    """The last command hands the front panel back, and the connection closes whatever happens."""
    dialect, partner, _ = spoken(SUPPLY)
    dialect.close()
    assert partner.heard == ["LOCAL"]
    assert partner.closed
