"""Values with units: what files say (`4.75 V .. 5.25 V`, `16 MHz ± 100 ppm`) and what readings are.

Number and unit are split here and the unit is checked against a closed list before the units library sees the text,
since that library reads `100 ppm` as pico-metres and `10 min` as inches. This module knows no limits and no verdicts.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal

from autobench.errors import QuantityError

# The closed list: base unit -> spellings a file may use for it.
UNITS: dict[str, tuple[str, ...]] = {
    "V": ("V",),
    "A": ("A",),
    "ohm": ("ohm", "\u03a9", "\u2126"),  # Greek omega, and the ohm sign that looks the same
    "Hz": ("Hz",),
    "s": ("s",),
    "F": ("F",),
    "W": ("W",),
    "Sa/s": ("Sa/s",),
    "V/s": ("V/s",),
    "°C": ("°C", "degC"),
}
# Units that take no prefix, with their size in the base unit they are counted in.
PLAIN_UNITS: dict[str, tuple[str, float]] = {
    "%": ("%", 1.0),
    "ppm": ("ppm", 1.0),
    "min": ("s", 60.0),
    "h": ("s", 3600.0),
    "div": ("div", 1.0),  # divisions of a screen
}
RELATIVE: dict[str, float] = {"%": 1e-2, "ppm": 1e-6}  # tolerances that are shares of the value
PREFIXES = "pnu\u00b5\u03bcmkMG"  # the micro sign, and the Greek mu that looks the same

NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
DECIMAL_COMMA = re.compile(r",\d")
TERM = re.compile(rf"^\s*({NUMBER})\s*([^\d\s].*?)?\s*$", re.ASCII)  # digits of other scripts are no numbers here


@dataclass(frozen=True)
class Quantity:
    """A value in a base unit (`V`, `A`, `ohm`, `Hz`, `s` …; `""` for a bare number)."""

    value: float
    unit: str

    def __str__(self) -> str:
        return show(self.value, self.unit)


@dataclass(frozen=True)
class Estimate:
    """A measured value with its standard uncertainty (k = 1), both in `unit`.

    `degrees` are the effective degrees of freedom (`inf` where everything is type B), `how` says in a few words how
    the value was got; `coverage` is the factor k to the expanded uncertainty of about 95 %.
    """

    value: float
    unit: str
    uncertainty: float
    degrees: float = math.inf
    how: str = ""
    coverage: float = 2.0

    def __str__(self) -> str:
        return f"{show(self.value, self.unit)} ± {show(self.uncertainty, self.unit, 2)}"


@dataclass(frozen=True)
class Span:
    """From `low` to `high` in `unit`; `None` is an open end."""

    low: float | None
    high: float | None
    unit: str

    def holds(self, value: float) -> bool:
        """Whether `value` (in `unit`) lies inside, ends included."""
        return (self.low is None or value >= self.low) and (self.high is None or value <= self.high)

    def __str__(self) -> str:
        if self.low is None and self.high is None:
            return "any"
        if self.low is None:
            return f"at most {show(self.high or 0.0, self.unit)}"
        if self.high is None:
            return f"at least {show(self.low, self.unit)}"
        return f"{show(self.low, self.unit)} .. {show(self.high, self.unit)}"


def split_unit(text: str) -> tuple[str, str]:
    """Split a unit as written into prefix and base unit; raises `QuantityError` for one outside the closed list."""
    text = text.strip()
    if text in PLAIN_UNITS:
        return "", text
    for base, spellings in UNITS.items():
        for spelling in spellings:
            if text == spelling:
                return "", base
            if len(text) == len(spelling) + 1 and text.endswith(spelling) and text[0] in PREFIXES:
                return text[0], base
    allowed = ", ".join([*UNITS, *PLAIN_UNITS])
    raise QuantityError(f"'{text}' is not a unit known here; allowed are {allowed}, with prefixes p n µ m k M G")


def parse_quantity(text: str, unit: str | None = None) -> Quantity:
    """Read `4.75 V`, `47 mohm`, `100 ppm`, `10 min` or a bare number.

    `unit` is the base unit wanted; a different one raises `QuantityError`, and so does a bare number unless `unit`
    is `""` or `None`.
    """
    match = TERM.match(text)
    if not match:
        raise QuantityError(f"'{text.strip()}' is not a number with a unit (such as '4.75 V')")
    number, written = match.group(1), match.group(2) or ""
    if DECIMAL_COMMA.match(written):
        raise QuantityError(f"'{text.strip()}' has a comma in its number; write '{text.strip().replace(',', '.', 1)}'")
    if not written:
        if unit:
            raise QuantityError(f"'{text.strip()}' lacks its unit; write it as '{number} {unit}'")
        return Quantity(checked(float(number), text), "")
    prefix, base = split_unit(written)
    if base in PLAIN_UNITS:
        base, size = PLAIN_UNITS[base]
        value = float(number) * size
    else:
        value = scaled(number, prefix, base)
    if unit is not None and base != unit:
        raise QuantityError(f"'{text.strip()}' is in {base}, but {unit or 'a bare number'} is wanted")
    return Quantity(checked(value, text), base)


def checked(value: float, text: str) -> float:
    """`value` if it is finite, else a `QuantityError` that quotes `text`."""
    if not math.isfinite(value):
        raise QuantityError(f"'{text.strip()}' is too large a number")
    return value


def scaled(number: str, prefix: str, base: str) -> float:
    """The number with its prefix applied, by the units library."""
    if not prefix:
        return float(number)
    from quantiphy import Quantity as Physical  # late: only files that use prefixes pay for it

    unit = f"{prefix}{'Hz' if base == 'Sa/s' else base}"
    if "e" in number.lower():  # the library drops the prefix behind an exponent
        return float(number) * float(Physical(f"1 {unit}"))
    return float(Physical(f"{number} {unit}"))


def parse_span(text: str, unit: str | None = None) -> Span:
    """Read a span: `4.75 V .. 5.25 V`, `2 .. 3 V`, `0.78 A ± 8 %`, `15 MHz ± 100 ppm`, `at most 50 mV`, `at least 3 V`.

    Raises `QuantityError` for anything else, and for a span whose ends are the wrong way round.
    """
    text = text.strip()
    for word, is_low in (("at least", True), ("at most", False)):
        if text.startswith(word):
            end = parse_quantity(text[len(word) :], unit)
            return Span(end.value if is_low else None, None if is_low else end.value, end.unit)
    if ".." in text:
        return span_between(text, unit)
    if "±" in text or "+-" in text:
        return span_around(text, unit)
    raise QuantityError(
        f"'{text}' is not a span; write '4.75 V .. 5.25 V', '0.78 A ± 8 %', 'at most 50 mV' or 'at least 3 V'"
    )


def span_between(text: str, unit: str | None) -> Span:
    """`low .. high`; the unit may be written once, at the end."""
    left, _, right = text.partition("..")
    bare, written = TERM.match(left), TERM.match(right)
    if bare and not bare.group(2) and written:
        left = f"{left.strip()} {written.group(2) or ''}"
    low = parse_quantity(left, unit)
    high = parse_quantity(right, low.unit)
    if low.value > high.value:
        raise QuantityError(f"'{text}' is the wrong way round: the lower end comes first")
    return Span(low.value, high.value, high.unit)


def span_around(text: str, unit: str | None) -> Span:
    """`centre ± tolerance`, the tolerance absolute, in % or in ppm."""
    left, _, right = text.replace("+-", "±").partition("±")
    centre = parse_quantity(left, unit)
    tolerance = parse_quantity(right)
    if centre.unit in RELATIVE and tolerance.unit in RELATIVE:
        raise QuantityError(f"'{text}' can be meant in two ways; write it as 'low .. high'")
    if tolerance.unit in RELATIVE:
        half = RELATIVE[tolerance.unit] * tolerance.value * abs(centre.value)
    elif tolerance.unit == centre.unit:
        half = tolerance.value
    else:
        units = f"the tolerance is in {tolerance.unit or 'no unit'}, the value in {centre.unit or 'no unit'}"
        raise QuantityError(f"'{text}': {units}")
    if half < 0:
        raise QuantityError(f"'{text}': a tolerance cannot be negative")
    return Span(centre.value - half, centre.value + half, centre.unit)


def show(value: float, unit: str, digits: int = 4) -> str:
    """`value` in words a technician reads: `digits` significant figures, a prefix where the trade uses one."""
    if not math.isfinite(value):
        return "overload" if math.isinf(value) else "no number"
    if unit in ("", "%", "ppm", "°C"):
        return f"{Decimal(f'{value:.{digits}g}'):f} {unit}".rstrip()  # never as `1.2e-06`
    if value == 0:
        return f"0 {unit}"
    written = "Ω" if unit == "ohm" else unit
    value = float(f"{value:.{digits - 1}e}")  # rounded first, so that 999.96 becomes 1.000 k and not 1.0000 k
    step = math.floor(math.log10(abs(value)) / 3)
    step = max(-4, min(3, step))
    prefix = {-4: "p", -3: "n", -2: "µ", -1: "m", 0: "", 1: "k", 2: "M", 3: "G"}[step]
    number = value / 10.0 ** (3 * step)
    places = max(0, digits - 1 - math.floor(math.log10(abs(number))) if abs(number) >= 1e-12 else 0)
    return f"{number:.{places}f} {prefix}{written}"
