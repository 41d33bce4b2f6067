"""The named decoders of driver files: the text of a reply in, an `Answer` out. They talk to no instrument.

A decoder is what a driver file calls instead of having logic of its own. Each is strict about what it was promised and
tolerant about how instruments write it; a reply that means something else is a `ReplyError` in words.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from autobench.documents.driver_sections import Action
from autobench.errors import ProtocolError, ReplyError
from autobench.instruments.preamble import preamble_of, preamble_of_seven
from autobench.protocols.replies import (
    parse_error,
    parse_events,
    parse_number,
    parse_numbers,
    parse_text,
    parse_truth,
    shortened,
)

# A register in hexadecimal, as some supplies send it.
HEXADECIMAL = re.compile(r"(?:0[xX]|#[hH])([0-9a-fA-F]{1,8})")


@dataclass(frozen=True)
class Answer:
    """What a reply meant. `text` is the reply as it came; the rest is filled as far as the decoder goes.

    In `numbers` an overload is infinite with its sign and "no number" is NaN; `units` are the base units the reply
    named beside them, empty where it named none. `code` is the number of an error entry, 0 for none; `data` the content
    of a block, which has no `text`; `runs` the channels that are closed, as the dialect calls them, each as first and
    last of a run, or None where the reply is not about that.
    """

    text: str
    numbers: tuple[float, ...] = ()
    units: tuple[str, ...] = ()
    truths: tuple[bool, ...] = ()
    words: str = ""
    code: int = 0
    data: bytes = b""
    runs: tuple[tuple[str, str], ...] | None = None

    @property
    def number(self) -> float:
        """The one number of the reply."""
        return self.numbers[0]

    @property
    def truth(self) -> bool:
        """The one yes or no of the reply."""
        return self.truths[0]


def decode(instrument: str, action: Action, text: str, *, unit: str = "", asked: str = "") -> Answer:
    """`text`, the reply to `asked`, read by the decoder `action` names.

    `unit` is the base unit its numbers must be in ("" = not checked). Raises `ReplyError`, which quotes question and
    reply, where the reply does not mean what the driver file says.
    """
    name = action.answer or ""
    try:
        if name in PLAIN:
            return of_unit(PLAIN[name](text), unit)
        if name in KEYED:
            return KEYED[name](text, action)
        raise ProtocolError(f"nothing was to be answered, but '{shortened(text)}' came")
    except ProtocolError as error:
        question = f" to '{asked}'" if asked else ""
        raise ReplyError(instrument, f"the reply{question} is not understood: {error}") from error


def of_unit(answer: Answer, unit: str) -> Answer:
    """The answer with only the numbers that are in `unit` or name none: meters may add a time and a count to each.

    Raises `ProtocolError` where none is left, since the reply is then about another quantity.
    """
    if not unit or not answer.numbers:
        return answer
    kept = tuple(value for value, name in zip(answer.numbers, answer.units, strict=True) if name in ("", unit))
    if not kept:
        raise ProtocolError(f"'{shortened(answer.text)}' is in {answer.units[0]}, expected was {unit}")
    return replace(answer, numbers=kept, units=tuple(unit for _ in kept))


def number(text: str) -> Answer:
    """One number, with or without header and unit."""
    reply = parse_number(text)
    return Answer(text, (reply.value,), (reply.unit,))


def numbers(text: str) -> Answer:
    """A list of numbers, at least one."""
    replies = parse_numbers(text)
    return Answer(text, tuple(reply.value for reply in replies), tuple(reply.unit for reply in replies))


def preamble(text: str) -> Answer:
    """The ten fields that say what the codes of a record mean."""
    answer = numbers(text)
    preamble_of(answer.numbers)
    return answer


def scaling(text: str) -> Answer:
    """The seven numbers that say the same, each asked for by its name."""
    answer = numbers(text)
    preamble_of_seven(answer.numbers)
    return answer


def words(text: str) -> Answer:
    """Any text; quotes are taken off. An empty one is no answer."""
    found = parse_text(text)
    if not found:
        raise ProtocolError("it is empty")
    return Answer(text, words=found)


def truth(text: str) -> Answer:
    """`1`/`0` or `ON`/`OFF`."""
    return Answer(text, truths=(parse_truth(text),))


def truths(text: str) -> Answer:
    """A list of `1`/`0` or `ON`/`OFF`."""
    return Answer(text, truths=tuple(parse_truth(part) for part in text.split(",")))


def error(text: str) -> Answer:
    """One entry of the error queue."""
    code, found = parse_error(text)
    return Answer(text, code=code, words=found)


def event_error(text: str) -> Answer:
    """The error bits of the event status register, where an instrument has no queue."""
    code, found = parse_events(text)
    return Answer(text, code=code, words=found)


def register(text: str) -> int:
    """A status register: a whole number from 0, decimal or hexadecimal."""
    hexadecimal = HEXADECIMAL.fullmatch(text.strip())
    if hexadecimal:
        return int(hexadecimal.group(1), 16)
    value = parse_number(text).value
    if not math.isfinite(value) or value != int(value) or value < 0:
        raise ProtocolError(f"'{shortened(text)}' is no status register")
    return int(value)


def bit(text: str, action: Action) -> Answer:
    """Yes where the register's `bit` is 1."""
    return Answer(text, truths=(bool(register(text) >> (action.bit or 0) & 1),))


def bit_clear(text: str, action: Action) -> Answer:
    """Yes where the register's `bit` is 0: for supplies whose bit means constant voltage."""
    return Answer(text, truths=(not register(text) >> (action.bit or 0) & 1,))


def any_bit(text: str, action: Action) -> Answer:
    """Yes where any of the register's `bits` is 1."""
    value = register(text)
    return Answer(text, truths=(any(value >> place & 1 for place in action.bits or ()),))


def raw(text: str) -> int:
    """A status byte that comes as it is, not written in digits."""
    if len(text) != 1 or ord(text) > 255:
        raise ProtocolError(f"'{shortened(text)}' is not one raw byte")
    return ord(text)


def raw_bit(text: str, action: Action) -> Answer:
    """Yes where `bit` of the raw byte is 1."""
    return Answer(text, truths=(bool(raw(text) >> (action.bit or 0) & 1),))


def raw_bit_clear(text: str, action: Action) -> Answer:
    """Yes where it is 0."""
    return Answer(text, truths=(not raw(text) >> (action.bit or 0) & 1,))


def word(text: str, action: Action) -> Answer:
    """Yes where the reply holds `word` as a word of its own, in any case (`CC` in `+00.35V 01.99A CC`)."""
    found = {part.upper() for part in re.findall(r"[A-Za-z0-9_+\-.]+", text)}
    return Answer(text, truths=((action.word or "").upper() in found,), words=text.strip())


def laid_out(text: str, action: Action) -> str:
    """The digits of the reply that the `layout` marks, with the point it thinks in; the reply is all digits."""
    layout, reply = action.layout or "", text.strip()
    if not re.fullmatch(r"[0-9]+", reply, re.ASCII) or len(reply) != len(layout.replace(".", "")):
        raise ProtocolError(f"'{shortened(text)}' is not laid out as '{layout}'")
    coming = iter(reply)
    pairs = [(mark, "." if mark == "." else next(coming)) for mark in layout]
    return "".join(character for mark, character in pairs if mark != "_")


def digits(text: str, action: Action) -> Answer:
    """One number out of a reply of digits without a point."""
    return Answer(text, (float(laid_out(text, action)),), ("",))


def digit(text: str, action: Action) -> Answer:
    """Yes where the marked digit is 1, no where it is 0."""
    found = laid_out(text, action)
    if found not in ("0", "1"):
        raise ProtocolError(f"'{shortened(text)}' has {found} where it is 0 or 1")
    return Answer(text, truths=(found == "1",))


def closed_list(text: str) -> Answer:
    """The channels of a list such as `(@1!1,1!3:1!5)` or `(@ 2)`; there may be none in it."""
    found = re.fullmatch(r"\(\s*@([0-9!:,\s]*)\)", parse_text(text), re.ASCII)
    if found is None:
        raise ProtocolError(f"'{shortened(text)}' is no list of channels")
    runs = []
    for part in filter(None, (part.strip() for part in found.group(1).split(","))):
        low, _, high = (name.strip() for name in part.partition(":"))
        runs.append((low, high or low))
    return Answer(text, runs=tuple(runs))


def closed_mask(text: str) -> Answer:
    """The channels whose bits are 1 in a hexadecimal number; the lowest bit is channel 0."""
    if not re.fullmatch(r"[0-9A-Fa-f]{1,16}", text.strip(), re.ASCII):
        raise ProtocolError(f"'{shortened(text)}' is no hexadecimal number")
    mask = int(text.strip(), 16)
    return Answer(text, runs=tuple((str(place),) * 2 for place in range(mask.bit_length()) if mask >> place & 1))


# Decoders of what is no text but data, which the link reads by its length; those that need nothing but the reply; and
# those that read a key of their action.
BY_LENGTH = ("block", "descriptor")
PLAIN: Mapping[str, Callable[[str], Answer]] = {
    "number": number,
    "numbers": numbers,
    "text": words,
    "truth": truth,
    "truths": truths,
    "error": error,
    "event error": event_error,
    "preamble": preamble,
    "scaling": scaling,
    "channel list": closed_list,
    "channel mask": closed_mask,
}
KEYED: Mapping[str, Callable[[str, Action], Answer]] = {
    "bit": bit,
    "bit clear": bit_clear,
    "any bit": any_bit,
    "raw bit": raw_bit,
    "raw bit clear": raw_bit_clear,
    "word": word,
    "digits": digits,
    "digit": digit,
}
