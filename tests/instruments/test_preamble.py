"""The ten-field preamble: the same ten numbers under both rules of origin, and ten numbers that describe no record."""

from __future__ import annotations

from dataclasses import replace

import pytest

from autobench.documents.driver_sections import Action
from autobench.errors import ProtocolError, ReplyError
from autobench.instruments.decoders import decode
from autobench.instruments.preamble import Preamble, preamble_of

# 1 V a division with 25 codes each (common practice: 8 bits reach a little beyond 8 divisions), moved down by 62 codes
FIELDS = "0,2,1000,1,+2.00000E-09,-1.00000E-06,+0,+4.00E-02,-62,+127"


def preamble(text: str) -> Preamble:
    """The preamble a reply holds, by the decoder that driver files name."""
    action = Action.model_validate({"ask": ":WAV:PRE?", "answer": "preamble"})
    return preamble_of(decode("scope", action, text, asked=":WAV:PRE?").numbers)


def test_an_origin_in_codes_and_one_in_volts_give_different_volts() -> None:
    """The same ten fields read by the two rules lie volts apart."""
    found = preamble(FIELDS)
    assert found.volts(127, "codes") == pytest.approx(2.48)  # computed: (127 + 62 - 127) x 0.04 V
    assert found.volts(127, "volts") == pytest.approx(-62.0)  # computed: (127 - 127) x 0.04 V - 62 V
    assert found.volts(227, "codes") == pytest.approx(6.48)  # computed: four divisions of 25 codes higher
    assert found.volts(227, "volts") == pytest.approx(-58.0)


@pytest.mark.parametrize(
    ("origin", "by_codes", "by_volts"),
    [
        (0.0, 1.0, 1.0),  # computed: 25 codes above the reference, at offset zero the rules agree
        (2.5, 0.9, 3.5),  # computed: (152 - 2.5 - 127) x 0.04 V, and (152 - 127) x 0.04 V + 2.5 V
    ],
)
def test_only_an_offset_tells_the_rules_apart(origin: float, by_codes: float, by_volts: float) -> None:
    """A file with the wrong rule passes at offset zero and fails at any other: proving it needs two offsets."""
    found = replace(preamble(FIELDS), y_origin=origin)
    assert found.volts(152, "codes") == pytest.approx(by_codes)
    assert found.volts(152, "volts") == pytest.approx(by_volts)


def test_the_first_points_time_counts_the_reference_too() -> None:
    """t = (i - x reference) · x increment + x origin, for the first point i = 0."""
    assert preamble(FIELDS).start == pytest.approx(-1e-6)
    assert replace(preamble(FIELDS), x_reference=100.0).start == pytest.approx(-1.2e-6)  # computed: 100 points earlier


def test_scaling_is_what_a_trace_wants() -> None:
    """Reference in codes and offset in volts, so that samples can stay codes."""
    found = preamble(FIELDS)
    assert found.scaling("codes") == (65.0, 0.0)  # computed: -62 + 127
    assert found.scaling("volts") == (127.0, -62.0)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("0,2,1000,1,2E-9,-1E-6,0,4E-2,-62", "a preamble has 10 fields, this one 9"),
        (FIELDS + ",1", "a preamble has 10 fields, this one 11"),
        ("#9000000012hello, world", "no number in '#9000000012hello, world'"),
        ("", "a preamble has 10 fields, this one 1"),
        (FIELDS.replace("-62", "9.91E37"), "one of the preamble's ten fields is no number"),
        (FIELDS.replace("-62", "9.9E37"), "one of the preamble's ten fields is no number"),
        (FIELDS.replace("1000", "0"), "a record of 0 points makes no sense"),
        (FIELDS.replace("1000", "10.5"), "a record of 10.5 points makes no sense"),
        (FIELDS.replace("1000", "1E12"), r"a record of 1e\+12 points makes no sense"),
        (FIELDS.replace("+2.00000E-09", "0"), "0 s from point to point and 0.04 V from code to code make no sense"),
        (FIELDS.replace("+4.00E-02", "-4E-2"), "2e-09 s from point to point and -0.04 V from code to code make no"),
    ],
)
def test_ten_numbers_that_describe_no_record_are_refused(text: str, words: str) -> None:
    """Garbage never becomes a time base or a scale; question and reason are quoted."""
    with pytest.raises(ReplyError, match=rf"scope: the reply to ':WAV:PRE\?' is not understood: .*{words}"):
        preamble(text)


def test_another_count_of_numbers_is_refused_without_a_reply_too() -> None:
    """The arithmetic guards itself."""
    with pytest.raises(ProtocolError, match="a preamble has 10 fields, this one 2"):
        preamble_of((1.0, 2.0))
