"""Values with units: what is read, what is refused, how it is shown."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from autobench.errors import QuantityError
from autobench.quantity import Estimate, Quantity, Span, parse_quantity, parse_span, show

EXPONENTS = {
    "p": -12,
    "n": -9,
    "u": -6,
    "\u00b5": -6,
    "\u03bc": -6,
    "m": -3,
    "k": 3,
    "M": 6,
    "G": 9,
}  # SI Brochure, table 7


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("4.75 V", 4.75, "V"),  # SI Brochure, 5.4.3: number, space, unit
        ("5V", 5.0, "V"),  # common practice: the space is left out
        ("-12 V", -12.0, "V"),  # SI Brochure, 5.4.3
        ("+.5 V", 0.5, "V"),  # common practice
        ("47 mohm", 0.047, "ohm"),  # SI Brochure, table 7: m = 1e-3
        ("1 k\u03a9", 1000.0, "ohm"),  # SI Brochure, table 4: Greek omega
        ("1 k\u2126", 1000.0, "ohm"),  # Unicode: the ohm sign is the same letter
        ("3.3 \u00b5s", 3.3e-6, "s"),  # SI Brochure, table 7: micro sign
        ("3.3 \u03bcs", 3.3e-6, "s"),  # SI Brochure, table 7: Greek mu
        ("1e3 kHz", 1e6, "Hz"),  # SI Brochure, table 7: k = 1e3, on top of the exponent
        ("16 MHz", 16e6, "Hz"),  # SI Brochure, table 7: M = 1e6
        ("1 GSa/s", 1e9, "Sa/s"),  # SI Brochure, table 7: G = 1e9
        ("250 mV/s", 0.25, "V/s"),  # SI Brochure, table 7
        ("100 ppm", 100.0, "ppm"),  # common practice: parts per million, not pico-metres
        ("8 %", 8.0, "%"),  # SI Brochure, 5.4.7
        ("10 min", 600.0, "s"),  # SI Brochure, table 8: 1 min = 60 s, not an inch
        ("1 h", 3600.0, "s"),  # SI Brochure, table 8: 1 h = 3600 s
        ("21 degC", 21.0, "°C"),  # common practice where no degree sign is at hand
        ("7", 7.0, ""),  # a bare number
    ],
)
def test_a_quantity_is_read(text: str, value: float, unit: str) -> None:
    """A number with its unit is read into the base unit, prefix applied."""
    read = parse_quantity(text)
    assert read.value == pytest.approx(value, rel=1e-12)
    assert read.unit == unit


@given(
    st.decimals(min_value="-9999", max_value="9999", places=3),
    st.sampled_from(sorted(EXPONENTS)),
    st.sampled_from(["V", "A", "ohm", "Hz", "s", "F", "W", "Sa/s", "V/s"]),
)
def test_every_prefix_scales_every_unit(number: object, prefix: str, unit: str) -> None:
    """Prefixes mean the same before every unit, the two characters for micro included."""
    read = parse_quantity(f"{number} {prefix}{unit}")
    wanted = float(f"{number}e{EXPONENTS[prefix]}")  # SI Brochure, table 7
    assert math.isclose(read.value, wanted, rel_tol=1e-15, abs_tol=0.0)
    assert read.unit == unit


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("five V", "V", "'five V' is not a number with a unit (such as '4.75 V')"),
        ("", "V", "'' is not a number with a unit (such as '4.75 V')"),
        ("nan V", "V", "'nan V' is not a number with a unit (such as '4.75 V')"),
        ("1 000 V", "V", "'1 000 V' is not a number with a unit (such as '4.75 V')"),
        ("٣ V", "V", "'٣ V' is not a number with a unit (such as '4.75 V')"),
        ("1e400 V", "V", "'1e400 V' is too large a number"),
        ("1e999 kV", "V", "'1e999 kV' is too large a number"),
        ("5", "V", "'5' lacks its unit; write it as '5 V'"),
        ("2 A", "V", "'2 A' is in A, but V is wanted"),
        ("5 V", "", "'5 V' is in V, but a bare number is wanted"),
    ],
)
def test_what_is_no_quantity_is_refused_with_words(text: str, unit: str, words: str) -> None:
    """Each way of being wrong has its own sentence, which quotes what was written."""
    with pytest.raises(QuantityError) as caught:
        parse_quantity(text, unit)
    assert str(caught.value) == words


@pytest.mark.parametrize(
    "unit", ["v", "Volt", "m", "k", "mmin", "mppm", "m%", "K", "hz", "m V", "V V", "in", "dB", "µ"]
)
def test_units_outside_the_closed_list_are_refused(unit: str) -> None:
    """A unit that is not on the list is never guessed at, nor taken for a prefix."""
    with pytest.raises(QuantityError, match="is not a unit known here; allowed are V, A, ohm, Hz, s,"):
        parse_quantity(f"5 {unit}")


@pytest.mark.parametrize(
    ("text", "unit", "low", "high"),
    [
        ("4.75 V .. 5.25 V", "V", 4.75, 5.25),  # common practice: 5 V ± 5 %
        ("2 .. 3 V", "V", 2.0, 3.0),  # the unit once, at the end
        ("20 ohm .. 2 kohm", "ohm", 20.0, 2000.0),  # SI Brochure, table 7
        ("-1 .. 1 V", "V", -1.0, 1.0),  # the unit once, at the end
        ("1 .. 2", "", 1.0, 2.0),  # bare numbers
        ("0.78 A ± 8 %", "A", 0.7176, 0.8424),  # by hand: 0.78 x 0.92, 0.78 x 1.08
        ("15 MHz ± 100 ppm", "Hz", 14.9985e6, 15.0015e6),  # by hand: 15e6 x 100e-6 = 1500
        ("-5 V ± 5 %", "V", -5.25, -4.75),  # by hand: 5 % of 5 V, on either side
        ("5 V +- 100 mV", "V", 4.9, 5.1),  # by hand
        ("4 ± 10 %", "", 3.6, 4.4),  # by hand
        ("at most 50 mV", "V", None, 0.05),  # SI Brochure, table 7
        ("at least 3 V", "V", 3.0, None),  # an open end
        ("1 min .. 1 h", "s", 60.0, 3600.0),  # SI Brochure, table 8
    ],
)
def test_a_span_is_read(text: str, unit: str, low: float | None, high: float | None) -> None:
    """The four ways of writing a span give its ends in the base unit."""
    span = parse_span(text, unit)
    assert (span.low, span.high, span.unit) == (
        pytest.approx(low, rel=1e-12) if low is not None else None,
        pytest.approx(high, rel=1e-12) if high is not None else None,
        unit,
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("5.25 V .. 4.75 V", "'5.25 V .. 4.75 V' is the wrong way round: the lower end comes first"),
        ("1 V .. 2", "'2' lacks its unit; write it as '2 V'"),
        ("1 V .. 2 A", "'2 A' is in A, but V is wanted"),
        ("5 V ± 0.1", "'5 V ± 0.1': the tolerance is in no unit, the value in V"),
        ("5 V ± 1 A", "'5 V ± 1 A': the tolerance is in A, the value in V"),
        ("5 V ± -1 %", "'5 V ± -1 %': a tolerance cannot be negative"),
        ("50 % ± 5 %", "'50 % ± 5 %' can be meant in two ways; write it as 'low .. high'"),
        ("± 5 V", "'' is not a number with a unit (such as '4.75 V')"),
        ("5 V", "'5 V' is not a span; write '4.75 V .. 5.25 V', '0.78 A ± 8 %', 'at most 50 mV' or 'at least 3 V'"),
        ("1 V .. 2 V .. 3 V", None),
        ("at least 1 V .. 2 V", None),
    ],
)
def test_what_is_no_span_is_refused_with_words(text: str, words: str | None) -> None:
    """A span that cannot be understood in exactly one way is refused."""
    with pytest.raises(QuantityError) as caught:
        parse_span(text)
    assert words is None or str(caught.value) == words


def test_the_unit_wanted_is_checked_for_spans_too() -> None:
    """A span in another unit than the wanted one is refused, whichever way it is written."""
    for text in ("1 A .. 2 A", "1 .. 2 A", "1 A ± 5 %", "at most 1 A", "at least 1 A"):
        with pytest.raises(QuantityError, match="is in A, but V is wanted"):
            parse_span(text, "V")


@given(st.text(max_size=30))
def test_no_text_breaks_the_reading(text: str) -> None:
    """Whatever is written, the answer is a value or a QuantityError, never another exception."""
    for read in (parse_quantity, parse_span):
        try:
            read(text)
        except QuantityError:
            continue


def test_a_span_holds_its_ends() -> None:
    """Ends belong to the span; an open end lets everything through on its side."""
    span = Span(4.75, 5.25, "V")
    assert span.holds(4.75)
    assert span.holds(5.25)
    assert not span.holds(4.7499)
    assert not span.holds(5.2501)
    assert Span(None, 1.0, "V").holds(-1e9)
    assert Span(1.0, None, "V").holds(1e9)


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        (4.931, "V", "4.931 V"),  # four significant figures
        (0.047, "ohm", "47.00 mΩ"),  # SI Brochure, table 7
        (16e6, "Hz", "16.00 MHz"),  # SI Brochure, table 7
        (999.96, "V", "1.000 kV"),  # rounding carries into the next prefix, still four figures
        (0.99996, "V", "1.000 V"),  # rounding carries over the point, still four figures
        (-0.0471, "V", "-47.10 mV"),  # sign kept
        (0.0, "V", "0 V"),  # no prefix for nothing
        (8.0, "%", "8 %"),  # per cent takes no prefix
        (100.0, "ppm", "100 ppm"),  # parts per million take no prefix
        (3.0, "", "3"),  # a bare number
        (5.93e-7, "", "0.000000593"),  # ... never with an exponent as programs write it (common practice)
        (1234567.0, "", "1235000"),
        (math.inf, "V", "overload"),  # IEEE 488.2 instruments send 9.9E+37 for it
        (math.nan, "V", "no number"),
    ],
)
def test_values_are_shown_as_the_trade_writes_them(value: float, unit: str, shown: str) -> None:
    """Values come out with four significant figures and the prefix a technician expects."""
    assert show(value, unit) == shown


@given(st.floats(1e-11, 9e11), st.sampled_from(["V", "A", "Hz", "s", "F"]))
def test_what_is_shown_can_be_read_back(value: float, unit: str) -> None:
    """A shown value, read again, is the same to its four figures."""
    assert parse_quantity(show(value, unit), unit).value == pytest.approx(value, rel=5.1e-4)


def test_spans_and_estimates_in_words() -> None:
    """Spans and estimates print as a person would write them."""
    assert str(Span(4.75, 5.25, "V")) == "4.750 V .. 5.250 V"
    assert str(Span(None, 0.05, "V")) == "at most 50.00 mV"
    assert str(Span(3.0, None, "V")) == "at least 3.000 V"
    assert str(Span(None, None, "V")) == "any"
    assert str(Estimate(4.931, "V", 0.0021)) == "4.931 V ± 2.1 mV"
    assert str(Quantity(5.0, "V")) == "5.000 V"
