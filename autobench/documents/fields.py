"""What a text in a file may be: quantities, spans, yes and no, dates, names, points and lists, as types for fields.

Each type reads the text as written and complains in plain words. No file, line or key is known here.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from typing import Annotated, Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

from autobench.documents.words import quoted
from autobench.errors import QuantityError
from autobench.quantity import Quantity, Span, parse_quantity, parse_span, show

LONGEST_NAME = 48
LONGEST_WORDS = 400
LONGEST_VALUE = 120

# Letters of any script; no `;` `,` `=` `@` `:` quotes or brackets, which mean something on a command line or in SCPI.
NAME = re.compile(r"[\w+\-/~#][\w+\-/~#.()% ]*")
POINT = re.compile(r"[A-Z][A-Z0-9_-]{0,11}\.[A-Za-z0-9]{1,4}")
PART = re.compile(r"[A-Z][A-Z0-9_-]{0,11}")
DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
WHOLE = re.compile(r"[+-]?[0-9]{1,12}")


class WrongTextError(Exception):
    """A text is not what its field wants; the argument says why. Never leaves this package."""


@dataclass(frozen=True, eq=False)  # compared and hashed by identity: a schema is a dict
class Written:
    """Annotation of a field that is written as one text; `read` raises `WrongTextError` or `QuantityError`."""

    read: Callable[[str], Any]
    schema: dict[str, Any] = field(default_factory=lambda: {"type": "string"})
    longest: int = LONGEST_VALUE

    def convert(self, value: Any) -> Any:
        """The value for the text; raises pydantic's error with our words."""
        if not isinstance(value, str):
            raise wrong("must be a single text")
        if len(value) > self.longest:
            raise wrong(f"is longer than {self.longest} characters")
        try:
            return self.read(value)
        except (WrongTextError, QuantityError) as error:
            raise wrong(str(error)) from error

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.convert)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return dict(self.schema)


@dataclass(frozen=True)
class Listed:
    """Annotation of a tuple that may be written `a, b, c` or as a YAML list; its items keep their own type.

    With `by_space` items without spaces may also be written `a b c`, which needs no quotes inside braces.
    """

    by_space: bool = False

    def split(self, value: Any) -> Any:
        if not isinstance(value, str):
            return value
        parts = value.replace(",", " ").split() if self.by_space else [part.strip() for part in value.split(",")]
        return parts if value.strip() else []

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_before_validator_function(self.split, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"anyOf": [{"type": "string", "description": "a b c" if self.by_space else "a, b, c"}, handler(schema)]}


def wrong(text: str) -> PydanticCustomError:
    """The error that `autobench.documents.reading` shows as `text`, word for word."""
    return PydanticCustomError("wrong text", "{text}", {"text": text})


def quantity_in(unit: str, least: float | None = None) -> Written:
    """A quantity in the base unit `unit` (`""`: a bare number), at least `least` of it."""

    def read(text: str) -> Quantity:
        quantity = parse_quantity(text, unit)
        if least is not None and quantity.value < least:
            raise WrongTextError(f"{quoted(text)} is too small; at least {show(least, unit)} is wanted")
        return quantity

    return Written(read, {"type": "string", "description": f"a number with its unit ({unit or 'none'})"})


def span_in(unit: str) -> Written:
    """A span in the base unit `unit`."""
    words = f"'low .. high', 'centre ± tolerance', 'at most x' or 'at least x', in {unit or 'bare numbers'}"
    return Written(lambda text: parse_span(text, unit), {"type": "string", "description": words})


def whole(least: int, most: int) -> Written:
    """A whole number from `least` to `most`."""

    def read(text: str) -> int:
        if not WHOLE.fullmatch(text):
            raise WrongTextError(f"{quoted(text)} is not a whole number")
        if not least <= int(text) <= most:
            raise WrongTextError(f"{quoted(text)} is out of range; {least} to {most} is allowed")
        return int(text)

    return Written(read, {"type": ["integer", "string"], "minimum": least, "maximum": most})


def read_yes_no(text: str) -> bool:
    """`yes` or `no`, nothing else: `true`, `on` and `1` are read differently by different programs."""
    if text not in ("yes", "no"):
        raise WrongTextError(f"{quoted(text)} is neither yes nor no")
    return text == "yes"


def read_day(text: str) -> date:
    """`2026-03-02`."""
    try:
        if not DAY.fullmatch(text):
            raise ValueError
        return date.fromisoformat(text)
    except ValueError:
        raise WrongTextError(f"{quoted(text)} is not a date; write year-month-day, such as 2026-03-02") from None


def read_name(text: str) -> str:
    """A name of a rail, option, choice, step or the like: it is shown, stored, and put into paths and messages."""
    if not text.strip():
        raise WrongTextError("nothing is written here; a name is wanted")
    if len(text) > LONGEST_NAME:
        raise WrongTextError(f"{quoted(text)} is too long for a name; at most {LONGEST_NAME} characters")
    if text != text.strip() or "  " in text:
        raise WrongTextError(f"{quoted(text)} begins or ends with a space, or has two together")
    if not NAME.fullmatch(text):
        allowed = "letters, digits, spaces and + - / ~ # . ( ) % _"
        raise WrongTextError(f"{quoted(text)} is not a name; {allowed} are allowed")
    return text


def read_words(text: str) -> str:
    """One line of free text for a person to read."""
    if not text.strip():
        raise WrongTextError("nothing is written here")
    if not text.isprintable():
        raise WrongTextError(f"{quoted(text)} holds a line end or another character that cannot be printed")
    return text.strip()


def read_point(text: str) -> str:
    """A place to touch: part and pin, `U18.8`."""
    if not POINT.fullmatch(text):
        raise WrongTextError(f"{quoted(text)} is not a point; write PART.PIN, such as U18.8 or J1.1")
    return text


def read_part(text: str) -> str:
    """The name of a part as printed on the board, `U18`."""
    if not PART.fullmatch(text):
        raise WrongTextError(f"{quoted(text)} is not a part; write it as on the board, such as U18 or SW1")
    return text


Volts = Annotated[Quantity, quantity_in("V")]
Amps = Annotated[Quantity, quantity_in("A", least=0.0)]
Ohms = Annotated[Quantity, quantity_in("ohm", least=0.0)]
Seconds = Annotated[Quantity, quantity_in("s", least=0.0)]
Hertz = Annotated[Quantity, quantity_in("Hz", least=0.0)]
Percent = Annotated[Quantity, quantity_in("%", least=0.0)]
VoltSpan = Annotated[Span, span_in("V")]
AmpSpan = Annotated[Span, span_in("A")]
OhmSpan = Annotated[Span, span_in("ohm")]
HertzSpan = Annotated[Span, span_in("Hz")]
SecondSpan = Annotated[Span, span_in("s")]
PercentSpan = Annotated[Span, span_in("%")]
CountSpan = Annotated[Span, span_in("")]
YesNo = Annotated[bool, Written(read_yes_no, {"enum": ["yes", "no"]})]
Day = Annotated[date, Written(read_day, {"type": "string", "format": "date"})]
Name = Annotated[str, Written(read_name, {"type": "string", "minLength": 1, "maxLength": LONGEST_NAME})]
Words = Annotated[str, Written(read_words, longest=LONGEST_WORDS)]
Point = Annotated[str, Written(read_point, {"type": "string", "pattern": f"^{POINT.pattern}$"})]
Part = Annotated[str, Written(read_part, {"type": "string", "pattern": f"^{PART.pattern}$"})]
ChannelNumber = Annotated[int, whole(1, 9999)]
