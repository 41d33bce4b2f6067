"""Values of SCPI parameters: one data element as sent, to a Python value, with the standard's errors.

Reads what `autobench.protocols.scpi` has split off; it must not know which command the element belongs to. Every
function raises `ScpiError` only.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterable

from autobench.protocols.scpi import LONGEST_CHARACTER_DATA, ScpiError, short_form

DECIMAL = re.compile(
    r"\s*([+-]?)([0-9]+\.?[0-9]*|\.[0-9]+)(?:\s*[Ee]\s*([+-]?[0-9]+))?\s*(/?[A-Za-z][A-Za-z0-9./-]*)?\s*", re.ASCII
)
RADIX = {"H": 16, "Q": 8, "B": 2}
# IEEE 488.2 7.7.3; the order matters: longer multipliers are tried first.
MULTIPLIERS = {
    "EX": 1e18,
    "PE": 1e15,
    "MA": 1e6,
    "T": 1e12,
    "G": 1e9,
    "K": 1e3,
    "M": 1e-3,
    "U": 1e-6,
    "N": 1e-9,
    "P": 1e-12,
    "F": 1e-15,
    "A": 1e-18,
}
MEGA_UNITS = ("OHM", "HZ")  # the two units where M alone is mega
LARGEST_EXPONENT = 32000
MOST_DIGITS = 255
LONGEST_SUFFIX = 12
MOST_CHANNELS = 10_000
INFINITE = 9.9e37


def kind(text: str) -> str:
    """What sort of data element this is: `number`, `word`, `string`, `block`, `expression` or `nothing`."""
    text = text.strip()
    if not text:
        return "nothing"
    if text[0] == "#":
        return "number" if text[1:2].upper() in tuple(RADIX) else "block"
    if text[0] in "\"'":
        return "string"
    if text[0] == "(":
        return "expression"
    return "word" if text[0].isalpha() else "number"


NOT_ALLOWED = {"number": -128, "word": -148, "string": -158, "block": -104, "expression": -178, "nothing": -109}


def refuse(text: str) -> ScpiError:
    """The error for a data element of a kind that is not accepted here."""
    return ScpiError(NOT_ALLOWED[kind(text)], text[:40])


def number(
    text: str,
    unit: str | None = None,
    *,
    minimum: float | None = None,
    maximum: float | None = None,
    default: float | None = None,
) -> float:
    """A number, with an optional suffix if `unit` (`"V"`, `"OHM"` …) is given; limits are checked, never clamped.

    `MINimum`, `MAXimum` and `DEFault` are accepted where the value in question is given; `INFinity` and `NINFinity` are
    ±9.9E37. Raises -222 outside the limits, and the errors of the numeric data family.
    """
    text = text.strip()
    if kind(text) == "word":
        value = named_number(text, minimum, maximum, default)
    elif kind(text) != "number":
        raise refuse(text)
    elif text[0] == "#":
        value = non_decimal(text)
    else:
        value = decimal(text, unit)
    if (minimum is not None and value < minimum) or (maximum is not None and value > maximum):
        raise ScpiError(-222, text[:40])
    return value


def integer(text: str, *, minimum: int | None = None, maximum: int | None = None, default: int | None = None) -> int:
    """A number rounded to the nearest integer (IEEE 488.2: rounding is no error); limits as in `number`."""
    low = None if minimum is None else minimum - 0.5
    high = None if maximum is None else maximum + 0.5
    if kind(text) == "word":
        return round(number(text, minimum=minimum, maximum=maximum, default=default))
    value = number(text, minimum=low, maximum=high)
    whole = math.floor(abs(value) + 0.5) * (1 if value >= 0 else -1)
    if (minimum is not None and whole < minimum) or (maximum is not None and whole > maximum):
        raise ScpiError(-222, text[:40])
    return whole


def named_number(text: str, minimum: float | None, maximum: float | None, default: float | None) -> float:
    """The value of `MINimum`, `MAXimum`, `DEFault`, `INFinity` or `NINFinity`."""
    names = {"MINimum": minimum, "MAXimum": maximum, "DEFault": default}
    known = {name: value for name, value in names.items() if value is not None}
    for name, value in {**known, "INFinity": INFINITE, "NINFinity": -INFINITE}.items():
        if text.upper() in (name.upper(), short_form(name)):
            return value
    raise ScpiError(-141 if known else -148, text[:40])


def decimal(text: str, unit: str | None) -> float:
    """A decimal number with its suffix applied."""
    match = DECIMAL.fullmatch(text)
    if not match:
        raise ScpiError(-121, text[:40])
    sign, mantissa, exponent, suffix = match.groups()
    if exponent and (len(exponent) > 12 or abs(int(exponent)) > LARGEST_EXPONENT):
        raise ScpiError(-123, text[:40])
    if len(mantissa.replace(".", "").lstrip("0")) > MOST_DIGITS:
        raise ScpiError(-124, text[:40])
    value = float(f"{sign}{mantissa}e{exponent or 0}")
    if suffix:
        value *= multiplier(suffix, unit)
    if not math.isfinite(value):
        raise ScpiError(-222, text[:40])
    return value


def multiplier(suffix: str, unit: str | None) -> float:
    """What a suffix multiplies by. `M` is mega before OHM and HZ, else milli; case never matters."""
    if len(suffix) > LONGEST_SUFFIX:
        raise ScpiError(-134, suffix[:40])
    if unit is None:
        raise ScpiError(-138, suffix)
    sent, unit = suffix.upper(), unit.upper()
    if sent == unit:
        return 1.0
    if sent.endswith(unit):
        prefix = sent[: -len(unit)]
        if prefix == "M" and unit in MEGA_UNITS:
            return 1e6
        if prefix in MULTIPLIERS:
            return MULTIPLIERS[prefix]
    raise ScpiError(-131, suffix)


def non_decimal(text: str) -> float:
    """`#HA2F`, `#Q62` or `#B01011`."""
    try:
        if not (text.isascii() and text[2:].isalnum()):
            raise ValueError
        return float(int(text[2:], RADIX[text[1].upper()]))
    except (ValueError, KeyError):
        raise ScpiError(-121, text[:40]) from None
    except OverflowError:
        raise ScpiError(-222, text[:40]) from None


def boolean(text: str) -> bool:
    """`ON`, `OFF`, or a number that is rounded to an integer first; every integer but 0 is true."""
    text = text.strip()
    if kind(text) == "word":
        return character(text, ("ON", "OFF")) == "ON"
    return integer(text) != 0


def string(text: str) -> str:
    """The text between the quotes, doubled quotes undone."""
    text = text.strip()
    if kind(text) != "string":
        raise refuse(text)
    quote = text[0]
    inside = text[1:-1]
    if len(text) < 2 or text[-1] != quote or inside.replace(quote * 2, "").count(quote):
        raise ScpiError(-151, text[:40])
    return inside.replace(quote * 2, quote)


def character(text: str, choices: Iterable[str]) -> str:
    """The short form, in upper case, of the choice that was sent; `choices` are written like `IMMediate`."""
    text = text.strip()
    if kind(text) != "word":
        raise refuse(text)
    if len(text) > LONGEST_CHARACTER_DATA:
        raise ScpiError(-144, text[:40])
    for choice in choices:
        if text.upper() in (choice.upper(), short_form(choice)):
            return short_form(choice)
    raise ScpiError(-141, text[:40])


def channel_list(text: str, known: Collection[int] | None = None) -> list[int]:
    """The channels of `(@1,3)` or `(@101:110)`, in the order sent (SCPI-1999 vol. 1, 8.3.2).

    With `known`, a range takes the known channels between its ends, and a channel that is not known raises -222.
    """
    text = text.strip()
    if kind(text) != "expression":
        raise ScpiError(-109 if not text else -104, text[:40])
    match = re.fullmatch(r"\(\s*@([0-9:,\s]*)\)", text, re.ASCII)
    if not match:
        raise ScpiError(-171, text[:40])
    found: list[int] = []
    for part in match.group(1).split(","):
        ends = re.fullmatch(r"\s*([0-9]{1,9})\s*(?::\s*([0-9]{1,9})\s*)?", part, re.ASCII)
        if not ends:
            raise ScpiError(-171, text[:40])
        first = int(ends.group(1))
        last = int(ends.group(2) or first)
        if known is not None and not (first in known and last in known):
            raise ScpiError(-222, text[:40])
        if abs(last - first) + len(found) >= MOST_CHANNELS:
            raise ScpiError(-223, text[:40])
        step = 1 if last >= first else -1
        found += [channel for channel in range(first, last + step, step) if known is None or channel in known]
    return found
