"""The named decoders: what replies mean, and which are refused in words."""

from __future__ import annotations

import math
import struct
from typing import Any

import pytest

from autobench.documents import driver_roles
from autobench.documents.driver_sections import Action
from autobench.errors import ReplyError
from autobench.instruments.decoders import BY_LENGTH, KEYED, PLAIN, Answer, decode


def decoded(text: str, answer: str, unit: str = "", **keys: Any) -> Answer:
    """`text` read as a driver file's action with this `answer` reads it."""
    return decode("meter", Action.model_validate({"ask": "X?", "answer": answer, **keys}), text, unit=unit, asked="X?")


def test_the_decoders_are_those_a_driver_file_may_name() -> None:
    """No decoder without a name in the grammar and no name without a decoder."""
    assert {*PLAIN, *KEYED, *BY_LENGTH} == set(driver_roles.DECODERS)
    assert set(KEYED) == set(driver_roles.DECODER_KEYS)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("12", 12.0),  # IEEE 488.2, 8.7.2: NR1
        ("12.5", 12.5),  # IEEE 488.2, 8.7.3: NR2
        ("+1.25000000E+01", 12.5),  # IEEE 488.2, 8.7.4: NR3
        ("4.99V", 4.99),  # common practice: unit glued to the number
        ("C1:VDIV 5.00E-01V", 0.5),  # common practice: header and unit
        ("101.234e-3 V DC", 0.101234),  # common practice: unit apart, with its coupling
        ("812 mV", 0.812),  # SI brochure: milli
    ],
)
def test_a_number_is_read_whatever_stands_round_it(text: str, value: float) -> None:
    """Headers, units and prefixes are understood."""
    assert decoded(text, "number").number == pytest.approx(value)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("9.9E37", math.inf),  # SCPI-1999 vol. 1, 7.2.1.4: infinity
        ("+9.90000000E+37", math.inf),  # SCPI-1999 vol. 1, 7.2.1.4
        ("-9.9E37", -math.inf),  # SCPI-1999 vol. 1, 7.2.1.4: negative infinity
        ("OVLOAD", math.inf),  # common practice
        ("****", math.inf),  # common practice
        (repr(struct.unpack("f", struct.pack("f", 9.9e37))[0]), math.inf),  # computed: 32-bit round trip
    ],
)
def test_an_overload_is_infinite_and_never_a_reading(text: str, value: float) -> None:
    """The special numbers of the standard are told from readings, with their sign."""
    assert decoded(text, "number").number == value


@pytest.mark.parametrize(
    "text",
    ["9.91E37", "9.91000E+37", repr(struct.unpack("f", struct.pack("f", 9.91e37))[0])],  # SCPI-1999 vol. 1, 7.2.1.5
)
def test_no_number_is_told_from_an_overload(text: str) -> None:
    """9.91E37 differs from 9.9E37 by one part in a thousand and means something else."""
    assert math.isnan(decoded(text, "number").number)


def test_a_reply_in_another_unit_is_refused() -> None:
    """Amps where volts were asked for are a wrong reply, not a reading."""
    with pytest.raises(
        ReplyError, match=r"meter: the reply to 'X\?' is not understood: '1.25A' is in A, expected was V"
    ):
        decoded("1.25A", "number", "V")
    assert decoded("1.25V", "number", "V").number == 1.25
    assert decoded("1.25", "number", "V").number == 1.25


def test_a_time_and_a_count_beside_each_reading_are_left_out() -> None:
    """Meters that add elements to each reading are read all the same."""
    answer = decoded("+1.23456789E-03VDC,+11.664SECS,+236RDNG#", "numbers", "V")  # common practice: element list
    assert answer.numbers == (1.23456789e-3,)


def test_a_list_of_numbers_keeps_its_order() -> None:
    """Several readings come back in the order they were taken."""
    assert decoded("+4.99E+00,+1.20E+01,+9.9E+37", "numbers", "V").numbers == (4.99, 12.0, math.inf)


@pytest.mark.parametrize(("text", "truth"), [("1", True), ("0", False), ("ON", True), ("OFF", False), ("+1", True)])
def test_yes_and_no_in_every_spelling(text: str, truth: bool) -> None:
    """SCPI-1999 vol. 1, 7.3 answers 1 and 0; some instruments answer words."""
    assert decoded(text, "truth").truth is truth


def test_a_list_of_states() -> None:
    """A relay multiplexer answers one state for each channel asked about."""
    assert decoded("1,0,0", "truths").truths == (True, False, False)


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        ('0,"No error"', 0, "No error"),  # SCPI-1999 vol. 2, 21.8
        ('+0,"No error"', 0, "No error"),  # common practice: with a sign
        ('-113,"Undefined header;SYSTem:BOGUS"', -113, "Undefined header;SYSTem:BOGUS"),  # SCPI-1999 vol. 2, 21.8
    ],
)
def test_an_entry_of_the_error_queue(text: str, code: int, words: str) -> None:
    """Number and text, zero meaning that there is none."""
    answer = decoded(text, "error")
    assert (answer.code, answer.words) == (code, words)


@pytest.mark.parametrize(
    ("text", "keys", "truth"),
    [
        ("2", {"answer": "bit", "bit": "1"}, True),
        ("+1", {"answer": "bit", "bit": "1"}, False),
        ("0x10", {"answer": "bit", "bit": "4"}, True),  # common practice: hexadecimal status word
        ("#H10", {"answer": "bit", "bit": "4"}, True),  # IEEE 488.2, 7.7.4: non-decimal numeric
        ("0", {"answer": "bit clear", "bit": "0"}, True),
        ("1", {"answer": "bit clear", "bit": "0"}, False),
        ("1024", {"answer": "any bit", "bits": ["9", "10"]}, True),
        ("511", {"answer": "any bit", "bits": "9, 10"}, False),
        ("+00.35V 01.99A CC", {"answer": "word", "word": "cc"}, True),  # common practice: CC only while limiting
        ("+14.99V 00.02A", {"answer": "word", "word": "CC"}, False),
        ("ACCESS", {"answer": "word", "word": "CC"}, False),
    ],
)
def test_states_out_of_registers_and_words(text: str, keys: dict[str, Any], truth: bool) -> None:
    """Bits count from 0; the same bit may mean the opposite, so there is a decoder for each way round."""
    answer = str(keys.pop("answer"))
    assert decoded(text, answer, **keys).truth is truth


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        ("", "text"),
        ("hello", "number"),
        ("1,2", "number"),
        ("2", "truth"),
        ("1,maybe", "truths"),
        ("No error", "error"),
    ],
)
def test_what_makes_no_sense_is_refused_in_words(text: str, answer: str) -> None:
    """A reply that does not mean what the file says names the instrument and the question."""
    with pytest.raises(ReplyError, match=r"^meter: the reply to 'X\?' is not understood: "):
        decoded(text, answer)


@pytest.mark.parametrize("text", ["1.5", "-1", "9.9E37", "CV"])
def test_a_register_is_a_whole_number(text: str) -> None:
    """A fraction, a negative number or a special one is no status register."""
    with pytest.raises(ReplyError):
        decoded(text, "bit", bit="1")


def test_text_loses_its_quotes() -> None:
    """Quoted strings come back bare, doubled quotes once (IEEE 488.2, 8.7.8)."""
    assert decoded('"VOLT ""A"""', "text").words == 'VOLT "A"'
    assert decoded("ALDER STREET,PS-3,1001,1.0", "text").words == "ALDER STREET,PS-3,1001,1.0"


@pytest.mark.parametrize(("byte", "on", "limiting"), [(0x51, True, False), (0x40, True, True), (0x0A, False, True)])
def test_a_raw_status_byte_is_read_by_its_bits(byte: int, on: bool, limiting: bool) -> None:
    """One byte as it is, line ends among them: bit 6 output, bit 0 constant voltage (common practice)."""
    assert decoded(chr(byte), "raw bit", bit="6").truth is on
    assert decoded(chr(byte), "raw bit clear", bit="0").truth is limiting
    for text in ("", "81", "\u0151"):
        with pytest.raises(ReplyError, match="is not one raw byte"):
            decoded(text, "raw bit", bit="6")


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("0", 0),
        ("128", 0),  # IEEE 488.2, 11.5.1: power on is no error
        ("+1", 0),  # operation complete neither
        ("32", -100),  # SCPI-1999 vol. 2, 21.8: command errors
        ("48", -100),  # the worst of two classes: what is not understood
        ("16", -200),
        ("8", -300),
        ("132", -400),
    ],
)
def test_an_event_register_is_an_error_by_its_class(text: str, code: int) -> None:
    """Where there is no queue, the bits of the event status register say what kind of error it was."""
    assert decoded(text, "event error").code == code
    with pytest.raises(ReplyError):
        decoded("256", "event error")


@pytest.mark.parametrize(
    ("layout", "value"),
    [("##.##_____", 3.02), ("____##.##_", 1.45), ("########_", 3020145.0), ("#________", 0.0), ("_#.#______", 3.0)],
)
def test_digits_are_taken_from_their_places(layout: str, value: float) -> None:
    """030201450 is 03.02 V, 01.45 A, and constant voltage (a supply's own sheet)."""
    assert decoded("030201450", "digits", layout=layout).number == pytest.approx(value)


def test_one_digit_says_yes_or_no() -> None:
    """The last of nine: 0 in constant voltage, 1 in constant current (a supply's own sheet); else it is neither."""
    assert not decoded("030201450", "digit", layout="________#").truth
    assert decoded("030201451", "digit", layout="________#").truth
    with pytest.raises(ReplyError, match="'030201452' has 2 where it is 0 or 1"):
        decoded("030201452", "digit", layout="________#")


@pytest.mark.parametrize("text", ["03020145", "0302014500", "03.201450", "OK", "", "-30201450", "03020145١"])
def test_digits_of_another_layout_are_refused(text: str) -> None:
    """A digit more or less moves every other one: nothing is read then."""
    with pytest.raises(ReplyError, match=r"is not laid out as '##\.##_____'"):
        decoded(text, "digits", layout="##.##_____")


@pytest.mark.parametrize(
    ("text", "runs"),
    [
        ("(@)", ()),
        ("(@ 2)", (("2", "2"),)),
        ("(@1!1)", (("1!1", "1!1"),)),
        ("(@1!1,1!3:1!5, 2!40)", (("1!1", "1!1"), ("1!3", "1!5"), ("2!40", "2!40"))),
        ('"(@101:103)"', (("101", "103"),)),
    ],
)
def test_a_list_of_channels_is_read_in_runs(text: str, runs: tuple[tuple[str, str], ...]) -> None:
    """Channels stand as the dialect calls them (SCPI-1999 vol. 1, 8.3.2, and common practice for `card!channel`)."""
    assert decoded(text, "channel list").runs == runs


@pytest.mark.parametrize(("text", "bits"), [("0000", ()), ("0008", (3,)), ("8001", (0, 15)), (" ffff\r", range(16))])
def test_a_mask_is_read_bit_by_bit(text: str, bits: tuple[int, ...]) -> None:
    """Relay 3 alone is 0008 (a relay board's own sheet)."""
    assert decoded(text, "channel mask").runs == tuple((str(bit), str(bit)) for bit in bits)


@pytest.mark.parametrize(
    ("text", "answer"),
    [("1,0,0", "channel list"), ("(@1!1", "channel list"), ("on", "channel mask"), ("0x08", "channel mask")],
)
def test_other_states_of_relays_are_refused(text: str, answer: str) -> None:
    """What a cousin answers is no list and no mask."""
    with pytest.raises(ReplyError, match="is no "):
        decoded(text, answer)
