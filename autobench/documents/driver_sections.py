"""The sections a driver file is made of: actions with what they say, ask and wait for, and ratings kind by kind.

Each section checks itself alone; how they fit together is `autobench.documents.driver`. Nothing here is executed and
nothing talks to an instrument.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cached_property
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from autobench.documents.driver_roles import DECODER_KEYS
from autobench.documents.fields import (
    Amps,
    AmpSpan,
    Listed,
    Ohms,
    Seconds,
    VoltSpan,
    Words,
    Written,
    WrongTextError,
    YesNo,
    quantity_in,
    whole,
)
from autobench.documents.section import Complaint, Section
from autobench.documents.words import quoted
from autobench.quantity import Quantity, Span, parse_quantity, parse_span

PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
MOST_NUMBERS = 1000  # channels of one instrument
MOST_DIGITS = 9

Decoder = Literal[
    "number",
    "numbers",
    "text",
    "truth",
    "truths",
    "error",
    "event error",
    "bit",
    "bit clear",
    "any bit",
    "raw bit",
    "raw bit clear",
    "word",
    "digits",
    "digit",
    "channel list",
    "channel mask",
    "preamble",
    "scaling",
    "descriptor",
    "block",
]


def read_line(text: str) -> str:
    """One line to send: printable ASCII (the line end is the link's), and braces only round a placeholder's name."""
    if not text or not text.isascii() or not text.isprintable():
        raise WrongTextError(f"{quoted(text)} is not a line to send: printable ASCII characters, without the line end")
    bare = PLACEHOLDER.sub("", text)
    if "{" in bare or "}" in bare:
        raise WrongTextError(f"{quoted(text)} has a brace without its partner")
    return text


def read_line_end(text: str) -> str:
    """The characters after each line, or nothing."""
    if text not in ("\n", "\r\n", "\r", ""):
        raise WrongTextError(f'{quoted(text)} is not a line end; allowed are "\\n", "\\r\\n", "\\r" and ""')
    return text


def read_layout(text: str) -> str:
    """A reply of digits, character by character: `#` one that is read, `_` one that is not, and where the point is."""
    taken = text.replace("_", "")
    if not re.fullmatch(r"[#_]*\.?[#_]*", text, re.ASCII) or not re.fullmatch(r"#+(\.#+)?", taken, re.ASCII):
        such = "'##.##_____': '#' for a digit that is read, '_' for one that is not, '.' where the point is thought"
        raise WrongTextError(f"{quoted(text)} is no layout of a reply, such as {such}")
    return text


def read_numbers(text: str) -> tuple[int, ...]:
    """`1, 2, 3` or `101 .. 120, 201 .. 220`, in the order written."""
    found: list[int] = []
    for part in text.split(","):
        low, dots, high = (word.strip() for word in part.partition(".."))
        if not dots:
            high = low
        if not re.fullmatch(r"\d{1,6}", low, re.ASCII) or not re.fullmatch(r"\d{1,6}", high, re.ASCII):
            raise WrongTextError(f"{quoted(part.strip())} is not a number or a range such as '101 .. 120'")
        if int(low) > int(high) or int(high) - int(low) >= MOST_NUMBERS:
            raise WrongTextError(f"{quoted(part.strip())} is not a range from low to high")
        found.extend(range(int(low), int(high) + 1))
    if len(set(found)) < len(found) or len(found) > MOST_NUMBERS:
        raise WrongTextError(f"{quoted(text)} names a number twice, or too many of them")
    return tuple(found)


def read_share(text: str) -> float:
    """`0.05 %` or `50 ppm` as a fraction."""
    quantity = parse_quantity(text)
    if quantity.unit not in ("%", "ppm") or quantity.value < 0:
        raise WrongTextError(f"{quoted(text)} is not a share; write it in % or ppm")
    return quantity.value * (1e-2 if quantity.unit == "%" else 1e-6)


def read_amount(text: str) -> Quantity:
    """A quantity that is not negative, in any unit."""
    quantity = parse_quantity(text)
    if quantity.value < 0:
        raise WrongTextError(f"{quoted(text)} cannot be negative")
    return quantity


def one_or_more(value: Any) -> Any:
    """One text or a list of them, as a list."""
    return [value] if isinstance(value, str) else value


Line = Annotated[str, Written(read_line)]
Lines = Annotated[tuple[Line, ...], BeforeValidator(one_or_more, json_schema_input_type=str | list[str])]
LineEnd = Annotated[str, Written(read_line_end)]
Separator = Annotated[str, Written(read_line)]
Numbers = Annotated[tuple[int, ...], Written(read_numbers, {"type": "string", "description": "1, 2 or 101 .. 120"})]
Layout = Annotated[str, Written(read_layout, {"type": "string", "description": "##.##_____"})]
Share = Annotated[float, Written(read_share, {"type": "string", "description": "0.05 % or 50 ppm"})]
Amount = Annotated[Quantity, Written(read_amount)]
Cycles = Annotated[Quantity, quantity_in("", least=0.0)]
AnySpan = Annotated[Span, Written(parse_span)]
Bit = Annotated[int, whole(0, 31)]
Bits = Annotated[tuple[Bit, ...], Listed()]


class Wait(Section):
    """What to wait for after the lines were sent, in this order: `complete`, `poll`, `pause`."""

    complete: Line | None = None  # a query that is answered once the instrument has finished
    poll: Line | None = None  # a query repeated until it answers one of `until`
    until: Lines | None = None  # answers that end the polls
    every: Seconds = Quantity(0.05, "s")
    within: Seconds = Quantity(10.0, "s")  # for `complete`, and for all polls together
    pause: Seconds = Quantity(0.0, "s")

    def check(self) -> Iterator[Complaint]:
        if (self.poll is None) != (self.until is None):
            yield Complaint((), "'poll' and 'until' go together")
        if self.complete is None and self.poll is None and not self.pause.value:
            yield Complaint((), "nothing to wait for; give 'complete', 'poll' with 'until', or 'pause'")


class Trust(Section):
    """Limits of error as a data sheet states them. All parts add up; the resolution is the step of the display."""

    of_reading: Share = 0.0
    of_range: Share = 0.0
    plus: Amount | None = None  # a fixed amount
    resolution: Amount | None = None  # step of the display

    def check(self) -> Iterator[Complaint]:
        if not (self.of_reading or self.of_range or self.plus or self.resolution):
            yield Complaint((), "says nothing; give 'of reading', 'of range', 'plus' or 'resolution'")


class Action(Section):
    """One thing the instrument can do: lines to `say`, then a line to `ask`, then what to `wait` for."""

    say: Lines = ()  # lines to send
    ask: Line | None = None  # a line that is answered; sent after `say`
    answer: Decoder | None = None  # how the answer is read
    length: Annotated[int, whole(1, 1000)] | None = None  # bytes of the reply, where no line end marks its end
    unit: Words | None = None  # unit of the answer
    bit: Bit | None = None  # number of the bit, from 0
    bits: Bits | None = None  # numbers of bits
    word: Words | None = None  # the word looked for
    layout: Layout | None = None  # which digits of the reply are read, such as "##.##_____"
    twice: YesNo = False  # asked twice: the first answer is of what has been, the second of what is now
    wait: Wait | None = None  # what to wait for afterwards
    span: AnySpan | None = None  # values the instrument accepts
    digits: Annotated[int, whole(0, MOST_DIGITS)] | None = None  # decimal places of {value}
    width: Annotated[int, whole(1, 20)] | None = None  # characters of {value}; noughts are put before it
    point: YesNo = True  # whether {value} is sent with its decimal point
    trust: Trust | None = None  # how far a measurement can be off

    @property
    def lines(self) -> tuple[str, ...]:
        """Every line it may send, completion queries and polls included."""
        waits = (self.wait.complete, self.wait.poll) if self.wait else ()
        return (*self.say, *(text for text in (self.ask, *waits) if text is not None))

    @cached_property
    def placeholders(self) -> frozenset[str]:
        """The names in braces in all its lines."""
        return frozenset(name for text in self.lines for name in PLACEHOLDER.findall(text))

    def check(self) -> Iterator[Complaint]:
        if (self.ask is None) != (self.answer is None):
            yield Complaint((), "'ask' and 'answer' go together")
        if self.length is not None and (self.ask is None or self.answer in ("block", "descriptor")):
            yield Complaint(("length",), "only an answer that is no block can have a length", at_key=True)
        if self.twice and self.ask is None:
            yield Complaint(("twice",), "nothing is asked", at_key=True)
        for key in ("bit", "bits", "word", "layout"):
            wanted = self.answer is not None and DECODER_KEYS.get(self.answer) == key
            given = getattr(self, key) is not None
            if wanted and not given:
                yield Complaint((), f"the answer '{self.answer}' needs '{key}'")
            if given and not wanted:
                yield Complaint(
                    (key,), f"the answer '{self.answer}' has no use for it" if self.answer else "no answer uses it"
                )


class LineEnds(Section):
    """Line ends, where the transport has no end-of-message flag of its own."""

    send: LineEnd = "\n"  # after each line sent
    receive: LineEnd = "\n"  # after each reply


class Prompts(Section):
    """What an instrument ends every exchange with on a connection without an end of message of its own.

    `done` says that all went well, each of `errors` that it did not. Without an `echo` a prompt is part of the reply,
    and comes on every connection.
    """

    done: Line  # all went well
    errors: Lines = ()  # something did not
    echo: YesNo = True  # it sends every line back before it answers
    line_end: YesNo = True  # a line end follows the prompt

    def check(self) -> Iterator[Complaint]:
        if not self.line_end and (self.errors or not self.echo):
            yield Complaint(("line end",), "only a single prompt of one that echoes can do without", at_key=True)


class Conversation(Section):
    """How to hold the conversation."""

    ends: LineEnds = LineEnds()  # line ends
    silence: Seconds = Quantity(0.0, "s")  # that ends a reply, where `receive` is no line end
    prompts: Prompts | None = None  # what ends every exchange of one that echoes
    block_ends: Annotated[int, whole(1, 3)] = 1  # line ends behind a block
    reply_within: Seconds = Quantity(2.0, "s")
    pace: Seconds = Quantity(0.0, "s")
    common_commands: YesNo = True  # it knows `*ESE?` and the like (IEEE 488.2), which getting back in step uses
    joined_questions: YesNo = False  # several questions may go in one message, with `;:` between, as SCPI has it
    errors: Action | None = None  # takes the oldest error

    def check(self) -> Iterator[Complaint]:
        if not self.ends.receive and not self.silence.value:
            yield Complaint(("ends",), "without a line end to receive, 'silence' must say what ends a reply")
        if self.ends.receive and self.silence.value:
            yield Complaint(("silence",), "a reply ends with its line end here, not with a silence", at_key=True)
        if self.prompts is not None and not self.ends.receive:
            yield Complaint(("prompts",), "need a line end to receive", at_key=True)


class Outputs(Section):
    """Ratings and manners of a supply's outputs."""

    channels: Numbers
    volts: VoltSpan
    amps: AmpSpan
    negative: Numbers = ()  # outputs that count down from their common terminal: their volts have a minus
    rise: Seconds
    fall: Seconds
    reading_lags: Seconds = Quantity(0.0, "s")
    current_flag_lags: Seconds = Quantity(0.0, "s")

    def check(self) -> Iterator[Complaint]:
        for key, span in (("volts", self.volts), ("amps", self.amps)):
            if span.low is None or span.high is None:
                yield Complaint((key,), "a rating has both ends; write it as 'low .. high'")
        if not set(self.negative) <= set(self.channels):
            yield Complaint(("negative",), "names an output that is not one of 'channels'")


class MeterRange(Section):
    """One range of a meter's function. `range` is its full scale, `drives` the current an ohms range sends out.

    `called` is what `{range}` is filled with, where the dialect has another name for it than its full scale.
    """

    range: Amount  # full scale
    called: Words | None = None  # what {range} is filled with
    trust: Trust  # its limits of error
    drives: Amps | None = None  # current it sends through the board
    settle: Seconds | None = None  # wait after a change to it


class Function(Section):
    """One function of a meter: its ranges from the smallest up. `settle` is the wait after a change of range."""

    settle: Seconds
    ranges: Annotated[tuple[MeterRange, ...], Field(min_length=1)]  # from the smallest up


class Speeds(Section):
    """Power-line cycles that one reading takes, by the names steps use."""

    fast: Cycles
    normal: Cycles
    slow: Cycles


class SpeedNames(Section):
    """What `{cycles}` is filled with, where the dialect has words for its speeds."""

    fast: Words  # word for fast
    normal: Words  # word for normal
    slow: Words  # word for slow


class Measures(Section):
    """What a meter measures and how well. `over_range` is how far beyond full scale it still reads.

    A reading of `overload` or more, in the unit of the function, means that there is no value.
    """

    input: Ohms
    over_range: Share = 0.0
    overload: Annotated[Quantity, quantity_in("", least=1.0)] | None = None  # a number that means "beyond the range"
    speeds: Speeds  # power-line cycles of one reading
    speed_names: SpeedNames | None = None  # what {cycles} is filled with
    volts: Function  # direct volts
    ohms: Function | None = None  # ohms, where it has them
