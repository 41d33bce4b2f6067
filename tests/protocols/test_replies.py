"""Replies of real instruments: number forms, specials, truths, strings and error entries."""

from __future__ import annotations

import contextlib
import math
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from autobench.errors import ProtocolError
from autobench.protocols.replies import (
    Reply,
    parse_error,
    parse_events,
    parse_number,
    parse_numbers,
    parse_text,
    parse_truth,
)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("12", 12.0, ""),  # IEEE 488.2 8.7.2: NR1
        ("12.5", 12.5, ""),  # IEEE 488.2 8.7.3: NR2
        ("+1.25000000E+01\n", 12.5, ""),  # IEEE 488.2 8.7.4: NR3
        ("-.5e-3", -0.0005, ""),  # common practice
        ("4.99V", 4.99, "V"),  # common practice: unit glued on
        ("0.123A", 0.123, "A"),  # common practice
        ("V1 5.00", 5.0, ""),  # common practice: letter-and-number headers
        (":CHAN1:OFFS -2.0E-1 V", -0.2, "V"),  # common practice: SCPI header in the reply
        ("101.234e-3 V DC", 0.101234, "V"),  # common practice: hand-held meters
        ("+1.23456789E-03VDC", 0.00123456789, "V"),  # common practice
        ("250mV", 0.25, "V"),  # SI prefix
        ("3.3 kOHM", 3300.0, "ohm"),  # SI prefix
        ("1.2MHz", 1.2e6, "Hz"),  # SI prefix
        ("5 \u00b5s", 5e-6, "s"),  # SI prefix, micro sign
        ("2\u03a9", 2.0, "ohm"),
        ("1.25GSa/s", 1.25e9, "Sa/s"),  # common practice
        ("+236RDNG#", 236.0, "RDNG#"),  # common practice: an unknown unit is kept as sent
    ],
)
def test_numbers_with_headers_and_units(text: str, value: float, unit: str) -> None:
    """Headers are dropped, known units become base units with their prefix applied."""
    reply = parse_number(text)
    assert reply.value == pytest.approx(value, rel=1e-12)
    assert (reply.unit, reply.special) == (unit, None)


@pytest.mark.parametrize("text", ["9.9E37", "+9.90000000E+37", "OL", "****", "OVLOAD", "OVFLOW", "1E+38", "INF"])
def test_overloads_are_never_readings(text: str) -> None:
    """Every spelling of an overload is infinite and says so."""
    reply = parse_number(text)
    assert (reply.special, reply.value) == ("overload", math.inf)  # SCPI-1999 vol. 1, 7.2.1.4; words: common practice


@pytest.mark.parametrize("text", ["-9.9E37", "-9.90000000E+37", "-OL"])
def test_negative_overloads_keep_their_sign(text: str) -> None:
    """A negative overload is told apart from a positive one."""
    assert parse_number(text) == Reply(-math.inf, "", "negative overload")  # SCPI-1999 vol. 1, 7.2.1.4


@pytest.mark.parametrize("text", ["9.91E37", "+9.91000000E+37", "NAN", "", "\n", "----"])
def test_no_number_is_told_apart_from_overload(text: str) -> None:
    """9.91E37, the word and an empty line are no number; 9.9E37, a thousandth away, is not."""
    reply = parse_number(text)
    assert reply.special == "no number"  # SCPI-1999 vol. 1, 7.2.1.5
    assert math.isnan(reply.value)


@pytest.mark.parametrize(("sent", "special"), [(9.9e37, "overload"), (9.91e37, "no number")])
def test_specials_survive_a_round_trip_through_32_bits(sent: float, special: str) -> None:
    """An instrument that keeps its readings in 32-bit floats still means the same."""
    (kept,) = struct.unpack(">f", struct.pack(">f", sent))
    assert kept != sent  # IEEE 754 binary32: neither value is exact
    assert parse_number(f"{kept:.9E}").special == special
    assert parse_number(repr(kept)).special == special


def test_lists_keep_their_order() -> None:
    """Commas, semicolons and units separate the numbers of a list."""
    assert [reply.value for reply in parse_numbers("+4.99E+00,+1.20E+01")] == [4.99, 12.0]  # common practice
    pairs = parse_numbers("+14.99V 00.02A;+00.35V 01.99A CC")  # common practice: supplies that answer in pairs
    assert [(reply.value, reply.unit) for reply in pairs] == [(14.99, "V"), (0.02, "A"), (0.35, "V"), (1.99, "A")]
    elements = parse_numbers("+1.5E-03VDC,+11.664SECS,+236RDNG#")  # common practice: reading, time, count
    assert [(reply.value, reply.unit) for reply in elements] == [(0.0015, "V"), (11.664, "s"), (236.0, "RDNG#")]
    assert [reply.special for reply in parse_numbers("1.0,9.9E37")] == [None, "overload"]


@pytest.mark.parametrize("text", ["hello", "V1", "0x10", "1.2.3", "12:30:00", "1 2", "1,2", "OUTP ON"])
def test_what_is_not_one_number_is_refused(text: str) -> None:
    """A reply that would have to be guessed at is an error."""
    with pytest.raises(ProtocolError):
        parse_number(text)


def test_truths() -> None:
    """One and nought in any number form and ON and OFF are truths, with or without header; nothing else is."""
    assert [parse_truth(text) for text in ("1", "+1", "ON", "OUTP1 ON", "1.0E+00\n")] == [True] * 5
    assert [parse_truth(text) for text in ("0", "OFF", "off", ":OUTP 0")] == [False] * 4
    for text in ("", "2", "YES", "0.5"):
        with pytest.raises(ProtocolError):
            parse_truth(text)


def test_texts() -> None:
    """Quotes are taken off, doubled ones undone, and must match."""
    assert parse_text('"VOLT"\n') == "VOLT"  # IEEE 488.2 8.7.8
    assert parse_text('"a ""b"""') == 'a "b"'  # IEEE 488.2 8.7.8
    assert parse_text(" VOLT:DC ") == "VOLT:DC"  # IEEE 488.2 8.7.11: arbitrary ASCII
    with pytest.raises(ProtocolError):
        parse_text('"VOLT')


@pytest.mark.parametrize(
    ("text", "number", "words"),
    [
        ('0,"No error"', 0, "No error"),  # SCPI-1999 vol. 2, 21.8.1
        ('+0,"No error"', 0, "No error"),  # common practice
        ('-113,"Undefined header;SYSTem:BOGUS"\n', -113, "Undefined header;SYSTem:BOGUS"),  # SCPI-1999 vol. 2, 21.8.1
        ("-350,Too many errors", -350, "Too many errors"),  # common practice: older text, no quotes
        ('501,""', 501, ""),  # SCPI-1999 vol. 2, 21.8.1: a text must be sent, an empty one may
        ("0", 0, ""),  # common practice
        (':SYST:ERR -222,"Data out of range"', -222, "Data out of range"),  # common practice: header in the reply
    ],
)
def test_error_entries(text: str, number: int, words: str) -> None:
    """Number and text of an error entry are read in the forms that occur."""
    assert parse_error(text) == (number, words)


@pytest.mark.parametrize("text", ["", "No error", '-113,"Undefined', "1.5,x", "12345678901,x"])
def test_what_is_no_error_entry_is_refused(text: str) -> None:
    """A stale or cut reply is not taken for `no error`."""
    with pytest.raises(ProtocolError):
        parse_error(text)


REPLIES = st.one_of(st.text(max_size=40), st.text(alphabet="0123456789+-.eE,;\"' VmAOLHz*#", max_size=40))


@given(REPLIES)
def test_no_reply_raises_anything_but_the_named_error(text: str) -> None:
    """Whatever comes back, the readers answer with a value or a ProtocolError."""
    for read in (parse_number, parse_numbers, parse_truth, parse_text, parse_error, parse_events):
        with contextlib.suppress(ProtocolError):
            read(text)


@given(st.floats(min_value=-1e30, max_value=1e30))
def test_any_float_comes_back(value: float) -> None:
    """A number written in the longest form is read back exactly."""
    assert parse_number(repr(value)).value == value
