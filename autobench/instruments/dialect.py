"""The one interpreter of driver files: an action's name and values in, exchanges over one link, an `Answer` out.

It decides nothing about safety (the interlock does) and nothing about verdicts. What it sends is only the driver file's
lines with formatted numbers and checked words in them.
"""

from __future__ import annotations

import math
import re
from collections import deque
from collections.abc import Sequence
from decimal import ROUND_DOWN, ROUND_HALF_EVEN, Decimal

from autobench.clock import Clock
from autobench.documents.driver import Driver
from autobench.documents.driver_sections import PLACEHOLDER, Action, Wait
from autobench.errors import BenchError, InstrumentReportedError, NoReplyError, ReplyError
from autobench.instruments.decoders import BY_LENGTH, Answer, decode
from autobench.instruments.link import Link
from autobench.quantity import show

WORD = re.compile(
    r"[A-Za-z0-9_.+\-]+"
)  # what may be filled into a line besides numbers: never `;`, quotes or line ends


MOST_UNLOOKED = 50  # lines; the last ones of those that nobody asked for errors after
NAMED = 3  # lines quoted where any of several may have been refused


class Dialect:
    """One instrument's dialect on its link. One thread uses it at a time, as the link demands."""

    def __init__(self, driver: Driver, link: Link, clock: Clock | None = None) -> None:
        self.driver = driver
        self.link = link
        self.clock = clock if clock is not None else link.clock
        self.name = link.instrument
        self.unlooked: deque[str] = deque(maxlen=MOST_UNLOOKED)  # said since the last look at the error queue

    def can(self, name: str) -> bool:
        """Whether the driver file has the action."""
        return name in self.driver.actions

    def action(self, name: str) -> Action:
        """The action as the file has it; raises `BenchError` where this dialect lacks it."""
        try:
            return self.driver.actions[name]
        except KeyError:
            raise BenchError(f"{self.name}: the driver '{self.driver.driver}' has no '{name}'") from None

    def perform(
        self,
        name: str,
        *,
        channel: int | None = None,
        value: float | None = None,
        channels: Sequence[int] = (),
        check: bool = False,
        within: float | None = None,
        unit: str = "",
        **fields: float | int | str,
    ) -> Answer | None:
        """Do one action: say its lines, ask its question, wait as it says. The answer, or None where it only sets.

        `value` is in the action's base unit; `within` is the deadline of the question in seconds (else the file's);
        `check` looks at the instrument's error queue afterwards; `unit` is the base unit of the numbers in the reply,
        where the role leaves it open. Nothing is sent before every line is complete. Raises `BenchError` for what the
        driver cannot do or take, `InstrumentReportedError` for what the instrument refused, `ReplyError` and the other
        errors of the link.
        """
        action = self.action(name)
        filled = self.filling(name, action, channel, value, channels, fields)
        answer = self.carry_out(action, unit or self.driver.role[name].unit, filled, within)
        if check:
            self.refuse_errors()
        return answer

    def lines(self, name: str, *, channel: int) -> tuple[str, ...]:
        """The lines that an action which only sets says for one channel; sends nothing."""
        action = self.action(name)
        filled = self.filling(name, action, channel, None, (), {})
        return tuple(fill(text, filled) for text in action.say)

    def carry_out(
        self, action: Action, unit: str, filled: dict[str, str], within: float | None = None
    ) -> Answer | None:
        """Send an action's lines with the placeholders `filled` and wait as it says."""
        for text in [fill(text, filled) for text in action.say]:
            self.unlooked.append(text)
            self.link.say(text)
        answer = None
        if action.ask is not None:
            answer = self.question(action, fill(action.ask, filled), unit, within)
        if action.wait:
            self.wait(action.wait, filled)
        return answer

    def ask_together(self, names: Sequence[str], *, channel: int) -> dict[str, Answer]:
        """The answers of several actions that read, about one place and one moment: a line that several of them ask is
        asked once. Raises as `perform` does.
        """
        asked: dict[str, str] = {}
        for name in names:
            action = self.action(name)
            if action.ask is None or action.say or action.wait or action.answer in BY_LENGTH:
                raise ValueError(f"'{name}' is more than a question")
            asked[name] = fill(action.ask, self.filling(name, action, channel, None, (), {}))
        if self.driver.link.joined_questions:
            replies = self.joined(list(dict.fromkeys(asked.values())))
        else:
            first = {line: self.action(name) for name, line in reversed(asked.items())}
            replies = {line: self.reply(first[line], line, None) for line in dict.fromkeys(asked.values())}
        return {
            name: self.decoded(self.action(name), replies[line], self.driver.role[name].unit, line)
            for name, line in asked.items()
        }

    def joined(self, lines: Sequence[str]) -> dict[str, str]:
        """The replies to several questions in one message (SCPI-1999 vol. 1, 6.2.4; IEEE 488.2, 8.4.1)."""
        reply = self.link.ask(";:".join(line.removeprefix(":") for line in lines))
        answers = reply.split(";")
        if len(answers) != len(lines):
            self.link.distrust()
            raise ReplyError(self.name, f"{len(answers)} answers came to {len(lines)} questions: '{reply[:60]}'")
        return dict(zip(lines, answers, strict=True))

    def question(self, action: Action, asked: str, unit: str, within: float | None) -> Answer:
        """Ask and decode."""
        if action.answer in BY_LENGTH:
            return Answer("", data=self.link.ask_block(asked, within))
        return self.decoded(action, self.reply(action, asked, within), unit, asked)

    def reply(self, action: Action, asked: str, within: float | None) -> str:
        """The text of the reply; of a register that is asked twice, what it says now and not what it has kept."""
        if action.twice:
            self.link.ask(asked, within, action.length)
        return self.link.ask(asked, within, action.length)

    def decoded(self, action: Action, reply: str, unit: str, asked: str) -> Answer:
        """What a reply means; one without sense may belong to an earlier question, so the link is not trusted."""
        try:
            return decode(self.name, action, reply, unit=unit, asked=asked)
        except ReplyError:
            self.link.distrust()  # not recovered here: whoever hears of this may have an output to switch off first
            raise

    def wait(self, wait: Wait, filled: dict[str, str]) -> None:
        """Wait for completion, then for a state, then for a time; raises `NoReplyError` when it takes too long."""
        deadline = self.clock.now() + wait.within.value
        if wait.complete is not None:
            self.link.ask(fill(wait.complete, filled), wait.within.value)
        if wait.poll is not None and wait.until is not None:
            question = fill(wait.poll, filled)
            wanted = {text.strip().upper() for text in wait.until}
            while (reply := self.link.ask(question).strip()).upper() not in wanted:
                if self.clock.now() >= deadline:
                    raise NoReplyError(
                        self.name, f"'{question}' still answered '{reply}' after {show(wait.within.value, 's')}"
                    )
                self.clock.sleep(wait.every.value)
        self.clock.sleep(wait.pause.value)

    def filling(
        self,
        name: str,
        action: Action,
        channel: int | None,
        value: float | None,
        channels: Sequence[int],
        fields: dict[str, float | int | str],
    ) -> dict[str, str]:
        """The text of every placeholder of `action`, checked; raises `BenchError` for a value that must not be sent."""
        filled = {field: self.field_text(name, field, content) for field, content in fields.items()}
        if channel is not None:
            filled["channel"] = self.place_text((channel,))
        if channels:
            filled["channels"] = self.place_text(channels)
        if value is not None:
            filled["value"] = self.value_text(name, action, value)
        lacking = action.placeholders - filled.keys()
        if lacking:
            raise ValueError(f"'{name}' was called without {', '.join(sorted(lacking))}")
        return filled

    def place_text(self, places: Sequence[int]) -> str:
        """Numbers of outputs or relay channels as the dialect writes a list of them."""
        unknown = [place for place in places if place not in self.driver.places]
        if unknown:
            raise BenchError(
                f"{self.name}: the driver '{self.driver.driver}' knows no channel {', '.join(map(str, unknown))}"
            )
        contacts = self.driver.channels
        if contacts is None:
            return ",".join(str(place) for place in places)
        runs = [(place, place) for place in places] if contacts.through is None else runs_of(places)
        named = [(contacts.name_of(low), contacts.name_of(high)) for low, high in runs]
        through = contacts.through or ""
        return contacts.between.join(low if low == high else f"{low}{through}{high}" for low, high in named)

    def value_text(self, name: str, action: Action, value: float) -> str:
        """`value` as sent: fixed decimal places, a point, no exponent and no unit."""
        unit = self.driver.role[name].value
        if not math.isfinite(value):
            raise BenchError(f"{self.name}: '{name}' refused: {value} is no value to send")
        if action.span is not None and not action.span.holds(value):
            raise BenchError(f"{self.name}: '{name}' refused: {show(value, unit)} is not in {action.span}")
        text = fixed(value, action.digits or 0)
        return padded(text if action.point else text.replace(".", ""), action.width or 0)

    def field_text(self, name: str, field: str, content: float | int | str) -> str:
        """A further field: a number in full, or a word of letters and digits."""
        if isinstance(content, str):
            if not WORD.fullmatch(content):
                raise BenchError(f"{self.name}: '{name}' refused: '{content}' is not one plain word")
            return content
        if not math.isfinite(content):
            raise BenchError(f"{self.name}: '{name}' refused: {field} = {content} is no value to send")
        return plain(content)

    def sent(self, name: str, value: float) -> float:
        """The value the instrument will get for `value`: what a read-back is to be compared with."""
        action = self.action(name)
        steps = 0 if action.point else action.digits or 0
        return float(self.value_text(name, action, value)) / 10.0**steps

    def identify(self) -> str:
        """What the instrument says it is, or "" where the dialect has no such question."""
        if self.driver.identity is None:
            return ""
        answer = self.carry_out(self.driver.identity, "", {})
        if answer is None:
            return ""
        self.link.remember(self.driver.identity.lines[-1], answer.text)
        return answer.words

    def clear(self) -> None:
        """Empty the instrument's error queue and status, and prove it empty where it can be asked."""
        if self.driver.clear is not None:
            self.carry_out(self.driver.clear, "", {})
        self.errors()

    def recognise(self) -> None:
        """See that the instrument refuses what its dialect does not know: a cousin that takes it would obey half of
        what is said and mean something else by it.

        Raises `BenchError` where it takes one of the driver's `refuses`.
        """
        for line in self.driver.refuses:
            self.link.say(line)
            if not self.errors():
                raise BenchError(
                    f"{self.name}: the instrument takes '{line}', which one of the dialect '{self.driver.driver}' "
                    "refuses – is the driver right?"
                )

    def errors(self) -> list[tuple[int, str]]:
        """Every entry of the instrument's error queue, oldest first, taken out of it; empty where there is no queue."""
        self.unlooked.clear()
        question = self.driver.link.errors
        return [] if question is None or question.ask is None else self.link.drain_errors(question.ask)

    def refuse_errors(self) -> None:
        """Raise `InstrumentReportedError`, quoting the instrument, if its error queue holds anything: what was said
        since the last look is quoted as what may have been refused."""
        said = [f"'{text}'" for text in self.unlooked]
        found = self.errors()
        if found:
            quoted = "; ".join(f'{code},"{words}"' for code, words in found)
            after = said[-1] if len(said) == 1 else f"one of {len(said)} lines, the last {', '.join(said[-NAMED:])}"
            raise InstrumentReportedError(self.name, f"reported {quoted} after {after}")

    def close(self) -> None:
        """Give the front panel back where the dialect can, and close the link whatever happens."""
        try:
            if self.can("local") and not self.link.dirty:
                self.perform("local")
        finally:
            self.link.close()


def runs_of(places: Sequence[int]) -> list[tuple[int, int]]:
    """Numbers as first and last of each run that counts up by one, in their order."""
    runs: list[tuple[int, int]] = []
    for place in places:
        if runs and place == runs[-1][1] + 1:
            runs[-1] = (runs[-1][0], place)
        else:
            runs.append((place, place))
    return runs


def fill(line: str, filled: dict[str, str]) -> str:
    """`line` with its placeholders filled, in one pass: a filled-in text is never looked at again."""
    if "{" not in line:
        return line
    return PLACEHOLDER.sub(lambda match: filled[match.group(1)], line)


def fixed(value: float, digits: int) -> str:
    """`value` with `digits` decimal places, cut towards zero: what is sent is never more than what was asked for.

    What binary arithmetic left in the tenth place beyond them is rounded off first, so that 0.1 + 0.2 stays 0.3.
    """
    clean = Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-digits - 6), rounding=ROUND_HALF_EVEN)
    cut = clean.quantize(Decimal(1).scaleb(-digits), rounding=ROUND_DOWN)
    return f"{abs(cut) if cut == 0 else cut:f}"


def padded(text: str, width: int) -> str:
    """`text` with noughts put before its digits until it has `width` characters, behind a sign."""
    return text.zfill(width)


def plain(value: float) -> str:
    """The shortest decimal notation that means exactly `value`, without exponent."""
    text = f"{Decimal(repr(float(value))):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
