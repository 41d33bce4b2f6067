"""Values of SCPI parameters, held to IEEE 488.2 7.7 and SCPI-1999 volume 1, 7."""

from __future__ import annotations

import contextlib
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from autobench.protocols.parameters import boolean, channel_list, character, integer, number, string
from autobench.protocols.scpi import ScpiError


def refused(read: Callable[[], object]) -> int:
    """The error number a reader refuses with."""
    with pytest.raises(ScpiError) as caught:
        read()
    return caught.value.number


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("273", 273.0),  # IEEE 488.2 7.7.2: NR1
        ("0.273", 0.273),  # IEEE 488.2 7.7.2: NR2
        ("2.73E+2", 273.0),  # IEEE 488.2 7.7.2: NR3
        ("-.5", -0.5),  # IEEE 488.2 7.7.2
        ("5.", 5.0),  # IEEE 488.2 7.7.2
        ("1.5 e 3", 1500.0),  # IEEE 488.2 7.7.2.2: white space around the E
        ("#HA2F", 2607.0),  # IEEE 488.2 7.7.4
        ("#ha4e", 2638.0),  # IEEE 488.2 7.7.4
        ("#Q62", 50.0),  # IEEE 488.2 7.7.4
        ("#q15", 13.0),  # IEEE 488.2 7.7.4
        ("#B01011", 11.0),  # IEEE 488.2 7.7.4
        ("INF", 9.9e37),  # SCPI-1999 vol. 1, 7.2.1.4
        ("NINFinity", -9.9e37),  # SCPI-1999 vol. 1, 7.2.1.4
    ],
)
def test_numbers_are_read_in_every_form(text: str, value: float) -> None:
    """Integers, decimals, exponents, other radices and the words for infinity are numbers."""
    assert number(text) == value


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        # IEEE 488.2 7.7.3, all of them
        ("1 MHZ", "HZ", 1e6),
        ("1 MAHZ", "HZ", 1e6),
        ("1mHz", "HZ", 1e6),
        ("1 MOHM", "OHM", 1e6),
        ("1 MV", "V", 1e-3),
        ("1 MAV", "V", 1e6),
        ("1 MS", "S", 1e-3),
        ("1 MA", "A", 1e-3),
        ("5 UV", "V", 5e-6),
        ("1 KOHM", "OHM", 1e3),
        ("500mV", "V", 0.5),
        ("2 EXHZ", "HZ", 2e18),
        ("2 PEHZ", "HZ", 2e15),
        ("2 THZ", "HZ", 2e12),
        ("2 GHZ", "HZ", 2e9),
        ("2 NS", "S", 2e-9),
        ("2 PS", "S", 2e-12),
        ("2 FS", "S", 2e-15),
        ("2 AS", "S", 2e-18),
    ],
)
def test_suffixes_multiply(text: str, unit: str, value: float) -> None:
    """M is mega before HZ and OHM and milli elsewhere; letter case does not matter."""
    assert number(text, unit) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "error"),
    [
        ("1E32001", -123),  # SCPI-1999 vol. 2, 21.8.9: exponent magnitude above 32000
        ("1" * 256, -124),  # SCPI-1999 vol. 2, 21.8.9: more than 255 mantissa digits
        ("1 ABCDEFGHIJKLM", -134),  # SCPI-1999 vol. 2, 21.8.9: suffix above twelve characters
        ("1 X", -131),  # SCPI-1999 vol. 2, 21.8.9
        ("1 OHM", -131),  # SCPI-1999 vol. 2, 21.8.9: a unit, but not this one
        ("ON", -148),  # SCPI-1999 vol. 2, 21.8.9
        ('"5"', -158),  # SCPI-1999 vol. 2, 21.8.9
        ("#15HELLO", -104),  # SCPI-1999 vol. 2, 21.8.9: its own example
        ("(@1)", -178),  # SCPI-1999 vol. 2, 21.8.9
        ("1..2", -121),  # SCPI-1999 vol. 2, 21.8.9
        ("", -109),  # SCPI-1999 vol. 2, 21.8.9
        ("1E400", -222),  # from memory of SCPI-1999 vol. 2, 21.8.10
    ],
)
def test_wrong_numbers_have_the_standards_error(text: str, error: int) -> None:
    """What is no acceptable number is refused with the error of its kind."""
    assert refused(lambda: number(text, "V")) == error


def test_the_boundaries_of_number_errors() -> None:
    """Leading zeros do not count as digits, and the largest exponent and suffix are still read."""
    assert number("0" * 300 + "1") == 1.0  # SCPI-1999 vol. 2, 21.8.9: leading zeros are not counted
    assert number("1" * 255) == pytest.approx(1.1111111e254)  # SCPI-1999 vol. 2, 21.8.9
    assert number("0E32000") == 0.0  # SCPI-1999 vol. 2, 21.8.9
    assert refused(lambda: number("1 V")) == -138  # SCPI-1999 vol. 2, 21.8.9: suffix where none is allowed


def test_limits_are_named_and_never_clamped() -> None:
    """MIN, MAX and DEF give the limits; beyond them is an error, not the nearest value."""
    assert number("MIN", "V", minimum=0, maximum=20.5, default=5) == 0  # SCPI-1999 vol. 1, 7.2.1
    assert number("MAXimum", "V", minimum=0, maximum=20.5, default=5) == 20.5  # SCPI-1999 vol. 1, 7.2.1
    assert number("def", "V", minimum=0, maximum=20.5, default=5) == 5  # SCPI-1999 vol. 1, 7.2.1
    assert refused(lambda: number("20.6", "V", minimum=0, maximum=20.5)) == -222  # SCPI-1999 vol. 2, 21.8.10
    assert refused(lambda: number("INF", "V", minimum=0, maximum=20.5)) == -222  # SCPI-1999 vol. 2, 21.8.10
    assert refused(lambda: number("-1 MV", "V", minimum=0)) == -222  # SCPI-1999 vol. 2, 21.8.10
    assert refused(lambda: number("DEF", "V", minimum=0, maximum=20.5)) == -141  # SCPI-1999 vol. 2, 21.8.9


def test_integers_are_rounded() -> None:
    """A number with a fraction is rounded where an integer is wanted; that is no error."""
    assert integer("2.4") == 2  # SCPI-1999 vol. 2, 21.8.10: rounding is not reported as an error
    assert integer("2.5") == 3
    assert integer("-2.5") == -3
    assert integer("255.4", minimum=0, maximum=255) == 255
    assert refused(lambda: integer("255.5", minimum=0, maximum=255)) == -222
    assert integer("MAX", minimum=1, maximum=50_000) == 50_000


def test_booleans() -> None:
    """ON and every number that rounds to something else than 0 are true."""
    assert [boolean(text) for text in ("ON", "on", "1", "-3", "0.5", "1E3")] == [True] * 6  # SCPI-1999 vol. 1, 7.3
    assert [boolean(text) for text in ("OFF", "0", "0.4", "-0.4")] == [False] * 4  # SCPI-1999 vol. 1, 7.3
    assert refused(lambda: boolean("YES")) == -141  # SCPI-1999 vol. 2, 21.8.9
    assert refused(lambda: boolean('"ON"')) == -158  # SCPI-1999 vol. 2, 21.8.9


def test_strings() -> None:
    """Either quote delimits, doubled inside it stands for itself."""
    assert string('"CPU PIN 11"') == "CPU PIN 11"  # IEEE 488.2 7.7.5
    assert string('"a ""b"" c"') == 'a "b" c'  # IEEE 488.2 7.7.5
    assert string("'it''s \"here\"'") == 'it\'s "here"'  # IEEE 488.2 7.7.5
    assert refused(lambda: string("5")) == -128  # SCPI-1999 vol. 2, 21.8.9
    assert refused(lambda: string("VOLT")) == -148  # SCPI-1999 vol. 2, 21.8.9
    assert refused(lambda: string('"')) == -151  # SCPI-1999 vol. 2, 21.8.9


def test_words_are_read_by_the_header_rule() -> None:
    """A choice is accepted in its short or long form only, and returned as the short form in capitals."""
    choices = ("ASCii", "REAL", "PACKed")
    assert [character(text, choices) for text in ("asc", "ASCII", "Real", "PACK")] == [
        "ASC",  # SCPI-1999 vol. 1, 6.2.1 and 7.1
        "ASC",
        "REAL",
        "PACK",
    ]
    assert refused(lambda: character("ASCI", choices)) == -141  # SCPI-1999 vol. 2, 21.8.9
    assert refused(lambda: character("5", choices)) == -128  # SCPI-1999 vol. 2, 21.8.9


def test_channel_lists() -> None:
    """Channels come in the order sent, ranges expanded, white space ignored."""
    assert channel_list("(@1)") == [1]  # SCPI-1999 vol. 1, 8.3.2
    assert channel_list("(@1,3)") == [1, 3]  # SCPI-1999 vol. 1, 8.3.2
    assert channel_list("(@3:1)") == [3, 2, 1]  # SCPI-1999 vol. 1, 8.3.2
    assert channel_list("( @ 101 : 103 , 2 )") == [101, 102, 103, 2]  # SCPI-1999 vol. 1, 8.3.2
    assert refused(lambda: channel_list("1")) == -104  # SCPI-1999 vol. 2, 21.8.9
    assert refused(lambda: channel_list("(1)")) == -171  # SCPI-1999 vol. 2, 21.8.9
    assert refused(lambda: channel_list("(@1,)")) == -171  # SCPI-1999 vol. 2, 21.8.9
    assert refused(lambda: channel_list("(@1:99999999)")) == -223  # SCPI-1999 vol. 2, 21.8.10


def test_a_range_takes_the_channels_that_exist() -> None:
    """Given what exists, a range skips the gaps between slots, and a channel outside raises -222."""
    known = [*range(101, 104), *range(201, 204)]
    assert channel_list("(@102:202)", known) == [102, 103, 201, 202]  # common practice of slot-and-channel switches
    assert refused(lambda: channel_list("(@104)", known)) == -222  # SCPI-1999 vol. 2, 21.8.10


TEXTS = st.one_of(
    st.text(max_size=30),
    st.text(alphabet="0123456789+-.eEMAVHZO\"'#(@:,) ", max_size=30),
    st.from_regex(r"[+-]?[0-9]{1,5}[eE][0-9]{1,30}", fullmatch=True),
)


@given(TEXTS)
def test_no_parameter_raises_anything_but_its_named_error(text: str) -> None:
    """Whatever stands where a parameter should, the readers answer with a value or a ScpiError."""
    readers: list[Callable[[], object]] = [
        lambda: number(text, "V", minimum=0, maximum=1e40),
        lambda: integer(text),
        lambda: boolean(text),
        lambda: string(text),
        lambda: character(text, ("IMMediate", "BUS")),
        lambda: channel_list(text),
    ]
    for read in readers:
        with contextlib.suppress(ScpiError):
            read()
