"""Replies as instruments really send them: text to numbers with units, truths, strings and error entries.

Tolerant where instruments differ (headers, glued units, overload words), strict where a wrong guess would become a
reading. Knows no instrument and reads none.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from autobench.errors import ProtocolError

Special = Literal["overload", "negative overload", "no number"]

NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
UNIT = re.compile(r"[A-Za-z\u00b5\u03bc\u03a9\u2126\u00b0%]+(?:/[A-Za-z]+)?#?")
INVALID_FROM = 9e36  # SCPI-1999 vol. 1, 7.2.1.4-5: 9.9E37 is infinity, 9.91E37 no number; nothing real is near
NO_NUMBER = 9.91e37
CLOSE = 1e-4  # the two differ by 1e-3, a round trip through 32-bit floats moves them by less than 1e-7
OVERLOADS = ("OL", "O.L", "OVLOAD", "OVLD", "OVFLOW", "OVER", "OVERLOAD", "OVERFLOW", "INF", "INFINITY")
NO_NUMBERS = ("NAN", "NAN()", "NULL")
# Spellings of units in replies, in upper case -> the base unit as the rest of the program writes it.
UNITS = {
    "V": "V",
    "VDC": "V",
    "VAC": "V",
    "VOLT": "V",
    "VOLTS": "V",
    "A": "A",
    "ADC": "A",
    "AAC": "A",
    "AMP": "A",
    "AMPS": "A",
    "W": "W",
    "OHM": "ohm",
    "OHMS": "ohm",
    "OHM4W": "ohm",
    "\u03a9": "ohm",  # Greek omega
    "\u2126": "ohm",  # the ohm sign, a different character
    "HZ": "Hz",
    "S": "s",
    "SEC": "s",
    "SECS": "s",
    "F": "F",
    "SA/S": "Sa/s",
    "V/S": "V/s",
}
# The micro sign and the Greek mu are different characters.
PREFIXES = {
    "p": 1e-12,
    "n": 1e-9,
    "u": 1e-6,
    "\u00b5": 1e-6,
    "\u03bc": 1e-6,
    "m": 1e-3,
    "k": 1e3,
    "K": 1e3,
    "M": 1e6,
    "G": 1e9,
}
EVENT_ERRORS = (
    (32, -100, "Command error"),
    (16, -200, "Execution error"),
    (8, -300, "Device-specific error"),
    (4, -400, "Query error"),
)
COUPLINGS = ("DC", "AC")  # words that stand after a unit: `101.234e-3 V DC`


@dataclass(frozen=True)
class Reply:
    """A number that came back, prefix applied. `unit` is a base unit, an unknown one as sent, or `""`.

    With `special` set the value is infinite or not a number: never a reading.
    """

    value: float
    unit: str = ""
    special: Special | None = None


def parse_number(text: str) -> Reply:
    """The one number of a reply; raises `ProtocolError` where there is none, or more than one."""
    found = parse_numbers(text)
    if len(found) != 1:
        raise ProtocolError(f"one number was expected, not {len(found)}: '{shortened(text)}'")
    return found[0]


def parse_numbers(text: str) -> list[Reply]:
    """All numbers of a reply, separated by `,` or `;`, or by spaces where each has its unit (`14.99V 00.02A`).

    A header before the first number is dropped. An empty reply is one "no number". Raises `ProtocolError`.
    """
    found: list[Reply] = []
    for part in re.split(r"[,;]", text):
        found += numbers_of(part.split(), text)
    return found


def numbers_of(words: list[str], text: str) -> list[Reply]:
    """The numbers in one part of a list, as words."""
    if not words:
        return [Reply(math.nan, "", "no number")]
    found: list[Reply] = []
    for word in words:
        special = special_word(word)
        match = NUMBER.match(word)
        if special:
            found.append(special)
        elif match:
            found.append(reply_for(match.group(), word[match.end() :], text))
        elif found and not found[-1].unit and not found[-1].special:
            found[-1] = with_unit(found[-1].value, word, text)
    if not found:
        raise ProtocolError(f"no number in '{shortened(text)}'")
    return found


def special_word(word: str) -> Reply | None:
    """The reply for a word that stands for an overload or for no number, else None."""
    bare = word.upper().lstrip("+-")
    if bare in OVERLOADS or re.fullmatch(r"\*{2,}", word):
        return Reply(-math.inf, "", "negative overload") if word[0] == "-" else Reply(math.inf, "", "overload")
    if bare in NO_NUMBERS or re.fullmatch(r"-{2,}", word):
        return Reply(math.nan, "", "no number")
    return None


def reply_for(number: str, glued: str, text: str) -> Reply:
    """The reply for a number and what is glued to it."""
    value = float(number)
    if abs(value) > INVALID_FROM:
        if abs(value / NO_NUMBER - 1) < CLOSE:
            return Reply(math.nan, "", "no number")
        return Reply(math.inf, "", "overload") if value > 0 else Reply(-math.inf, "", "negative overload")
    return with_unit(value, glued, text) if glued else Reply(value)


def with_unit(value: float, unit: str, text: str) -> Reply:
    """The reply for a value and its unit as sent; a prefix is applied only before a unit that is known."""
    if not UNIT.fullmatch(unit):
        raise ProtocolError(f"'{shortened(unit)}' after a number is not a unit: '{shortened(text)}'")
    if unit.upper() in UNITS:
        return Reply(value, UNITS[unit.upper()])
    if unit[0] in PREFIXES and unit[1:].upper() in UNITS:
        return Reply(value * PREFIXES[unit[0]], UNITS[unit[1:].upper()])
    return Reply(value, "" if unit.upper() in COUPLINGS else unit)


def parse_truth(text: str) -> bool:
    """`1`, `0`, `ON`, `OFF` or a number that is exactly one or nought, with or without a header."""
    word = text.split()[-1].upper() if text.split() else ""
    if word in ("ON", "OFF"):
        return word == "ON"
    if NUMBER.fullmatch(word) and float(word) in (0.0, 1.0):
        return float(word) == 1.0
    raise ProtocolError(f"'{shortened(text)}' is neither on nor off")


def parse_text(text: str) -> str:
    """What stands between the quotes of a string reply; a reply without quotes as it is, trimmed."""
    text = text.strip()
    if text[:1] not in ('"', "'"):
        return text
    quote = text[0]
    inside = text[1:-1]
    if len(text) < 2 or text[-1] != quote or inside.replace(quote * 2, "").count(quote):
        raise ProtocolError(f"the quotes do not match: '{shortened(text)}'")
    return inside.replace(quote * 2, quote)


def parse_error(text: str) -> tuple[int, str]:
    """An entry of an error queue, `-113,"Undefined header"`; number 0 is no error. The text may be missing."""
    match = re.fullmatch(r"\s*(?:[^\s\"']+\s+)?([+-]?[0-9]{1,9})\s*(?:,\s*(.*?))?\s*", text, re.DOTALL)
    if not match:
        raise ProtocolError(f"'{shortened(text)}' is not an entry of an error queue")
    return int(match.group(1)), parse_text(match.group(2) or "")


def parse_events(text: str) -> tuple[int, str]:
    """The event status register of IEEE 488.2 (11.5.1) as an error entry, for instruments without an error queue.

    The number is that of the worst class of error in it (SCPI-1999 vol. 2, 21.8), 0 where there is none; the other bits
    are no errors.
    """
    value = parse_number(text).value
    if not 0 <= value <= 255 or value != int(value):
        raise ProtocolError(f"'{shortened(text)}' is not an event status register")
    for bit, number, words in EVENT_ERRORS:
        if int(value) & bit:
            return number, words
    return 0, ""


def shortened(text: str) -> str:
    """The beginning of a reply, printable, to quote in an error."""
    return "".join(letter if letter.isprintable() else "?" for letter in text[:60])
