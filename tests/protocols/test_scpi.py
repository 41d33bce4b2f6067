"""Headers, path rules and data elements of SCPI program messages, held to the standards' own rules and examples."""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from autobench.protocols.scpi import Pattern, ScpiError, parse_message, short_form, units


def headers(text: str) -> list[str]:
    """The resolved headers of a message, as text."""
    return [str(unit) for unit in parse_message(text)]


def refused(text: str) -> int:
    """The error number a message is refused with."""
    with pytest.raises(ScpiError) as caught:
        parse_message(text)
    return caught.value.number


@pytest.mark.parametrize(
    ("long", "short"),
    [
        # SCPI-1999 vol. 1, 6.2.1: up to four letters stay; four letters; three when the fourth is a vowel
        ("AUTO", "AUTO"),
        ("FREE", "FREE"),
        ("MODE", "MODE"),
        ("FREQUENCY", "FREQ"),
        ("VOLTAGE", "VOLT"),
        ("OUTPUT", "OUTP"),
        ("SYSTEM", "SYST"),
        ("CONFIGURE", "CONF"),
        ("FORMAT", "FORM"),
        ("CALCULATE", "CALC"),
        ("POWER", "POW"),
        ("IMMEDIATE", "IMM"),
        ("DELAY", "DEL"),
        ("ATTENUATION", "ATT"),
        ("NTRANSITION", "NTR"),
        ("DSEQUENCE", "DSEQ"),
        ("COUNT", "COUN"),
        ("SOURCE", "SOUR"),
        ("ROUTE", "ROUT"),
        ("CLOSE", "CLOS"),
        ("TIMEBASE", "TIM"),
        ("ACQUIRE", "ACQ"),
        ("PREAMBLE", "PRE"),
        ("POLYNOMIAL", "POL"),  # common practice: the letter y counts as a vowel
    ],
)
def test_the_short_form_follows_the_rule(long: str, short: str) -> None:
    """A long form written in one case is shortened by the standard's rule."""
    assert short_form(long) == short
    assert short_form(long.lower()) == short


def test_capitals_overrule_the_rule() -> None:
    """A long form written in two cases says its short form itself, published exceptions included."""
    assert short_form("VOLTage") == "VOLT"  # SCPI-1999 vol. 1, 6.2.1
    assert short_form("TCouple") == "TC"  # common practice: a known exception to the rule


@pytest.mark.parametrize("sent", ["syst:conf", "SYST:CONF", "SYSTEM:CONFIGURE", "SYST:CONFIGURE", "sYstEm:cOnFiGuRE"])
def test_short_and_long_forms_mix_in_any_case(sent: str) -> None:
    """Exactly the short and exactly the long form match, in any letter case, mixed from node to node."""
    unit = parse_message(sent)[0]
    assert Pattern("SYSTem:CONFigure").match(unit.header) == ()  # SCPI-1999 vol. 1, 6.2.1


@pytest.mark.parametrize(
    ("pattern", "sent"),
    [
        ("SYSTem:CONFigure", "SYSTE:CONF"),  # SCPI-1999 vol. 1, 6.2.1: nothing between short and long
        ("SYSTem:CONFigure", "SYST:CONFIG"),  # SCPI-1999 vol. 1, 6.2.1
        ("SYSTem:PRESet", ":SYSTe:PRESe"),  # SCPI-1999 vol. 1, 6.2.1
        ("SENSe:FREQuency:CENTer", ":SENS:FREQuen:CEN"),  # SCPI-1999 vol. 1, 6.2.1
        ("OUTPut", "OUTP2"),  # from memory of SCPI-1999 vol. 1, 6.2.5.2: a suffix where none is declared
    ],
)
def test_anything_between_the_forms_is_another_header(pattern: str, sent: str) -> None:
    """A mnemonic that is neither short nor long form does not match."""
    assert Pattern(pattern).match(parse_message(sent)[0].header) is None


@pytest.mark.parametrize(
    ("pattern", "sent"),
    [
        ("SENSe:FREQuency:CENTer", "SENSe:FREQ:CENT"),
        ("[SENSe]:FREQuency:CENTer", "FREQ:CENT"),  # SCPI-1999 vol. 1, 5.1: a default node may be left out
        ("FETCh[:SCALar]?", "FETC?"),  # SCPI-1999 vol. 1, 5.1
        ("FETCh[:SCALar]?", "FETC:SCAL?"),  # SCPI-1999 vol. 1, 5.1
        ("SOURce:POWer[:LEVel]:SLOPe[:DATA]", "SOUR:POW:SLOP"),  # SCPI-1999 vol. 1, 5.1
        ("[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]", "VOLT"),  # SCPI-1999 vol. 2, 19
        ("[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]", "SOUR:VOLT:LEV:IMM:AMPL"),  # SCPI-1999 vol. 2, 19
        ("[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]", "VOLT:AMPL"),  # SCPI-1999 vol. 2, 19
    ],
)
def test_default_nodes_may_be_left_out(pattern: str, sent: str) -> None:
    """A node in brackets may be sent or left out and means the same."""
    assert Pattern(pattern).match(parse_message(sent)[0].header) == ()


def test_numeric_suffixes_default_to_one() -> None:
    """A declared suffix is returned in order, 1 where it was left out."""
    pattern = Pattern("CHANnel#:TRACe#:SCALe")
    assert pattern.match(("CHAN3", "TRACE", "SCAL")) == (3, 1)  # from memory of SCPI-1999 vol. 1, 6.2.5.2
    assert pattern.match(("CHANNEL", "TRAC12", "SCALE")) == (1, 12)
    assert Pattern("[SOURce#]:VOLTage").match(("VOLT",)) == (1,)


@pytest.mark.parametrize(
    ("message", "expected"),
    [
        # SCPI-1999 vol. 1, 6.2.4, all of them
        ("MEAS:VOLT", ["MEAS:VOLT"]),
        (":INIT", ["INIT"]),
        ("CURR:LEV 3;PROT:STAT OFF", ["CURR:LEV", "CURR:PROT:STAT"]),
        ("CURR:LEV 3;CURR:PROT:STAT OFF", ["CURR:LEV", "CURR:CURR:PROT:STAT"]),
        (":DISP:FORM DIG;:DISP:RES 2", ["DISP:FORM", "DISP:RES"]),
        (":DISP:FORM DIG;RES 2", ["DISP:FORM", "DISP:RES"]),
        (
            ":CALCulate:LIMit:UPPer 110000;LOWer 90000",
            ["CALCULATE:LIMIT:UPPER", "CALCULATE:LIMIT:LOWER"],
        ),
        ("PROT:CLE;:STAT:OPER:COND?", ["PROT:CLE", "STAT:OPER:COND?"]),
        (
            "POW:LEV 200;PROT 28;:CURR:LEV 3;PROT:STAT ON",
            ["POW:LEV", "POW:PROT", "CURR:LEV", "CURR:PROT:STAT"],
        ),
        ("FREQ:STAR 1;*OPC?;STOP 2", ["FREQ:STAR", "*OPC?", "FREQ:STOP"]),
        ("TRIG:SOUR EXT;COUN 10", ["TRIG:SOUR", "TRIG:COUN"]),
        ("DISP?;DISP:TEXT?", ["DISP?", "DISP:TEXT?"]),
        ("", []),
        (" \t ", []),
    ],
)
def test_the_path_rule(message: str, expected: list[str]) -> None:
    """A semicolon keeps the level, a leading colon goes to the root, common commands change nothing."""
    assert headers(message) == expected


def test_the_path_starts_at_the_root_with_each_message() -> None:
    """The message terminator resets the path."""
    assert headers("CURR:LEV 3") + headers("PROT:STAT OFF") == ["CURR:LEV", "PROT:STAT"]  # SCPI-1999 vol. 1, 6.2.4


@pytest.mark.parametrize(
    ("message", "number"),
    [
        ("SETUP&", -101),  # SCPI-1999 vol. 2, 21.8.9: its own example
        ("*EMC 1:CH1:VOLTS 5", -103),  # SCPI-1999 vol. 2, 21.8.9: its own example
        ('*GMC"MACRO"', -111),  # SCPI-1999 vol. 2, 21.8.9: its own example
        ("VOLT,5", -111),  # SCPI-1999 vol. 2, 21.8.9: no white space after the header
        ("DEL?5", -111),  # SCPI-1999 vol. 2, 21.8.9
        ("ABCDEFGHIJKLM 1", -112),  # SCPI-1999 vol. 2, 21.8.9: thirteen characters
        ("VOLT ABCDEFGHIJKLM", -144),  # SCPI-1999 vol. 2, 21.8.9: thirteen characters
        ('DISP:TEXT "CPU', -151),  # SCPI-1999 vol. 2, 21.8.9: END before the closing quote
        ("DATA #15HELL", -161),  # SCPI-1999 vol. 2, 21.8.9: END before the count is satisfied
        ("VOLT #B012", -121),  # SCPI-1999 vol. 2, 21.8.9: a 2 in binary data
        ("VOLT #Q9", -121),  # SCPI-1999 vol. 2, 21.8.9: its own example, a 9 in octal data
        ("VOLT +", -121),  # SCPI-1999 vol. 2, 21.8.9
        ("VOLT 1 2", -103),  # SCPI-1999 vol. 2, 21.8.9: a comma is missing
        ("ROUT:CLOS (@1", -171),  # SCPI-1999 vol. 2, 21.8.9: unmatched parenthesis
        ("VOLT 5,", -102),  # from memory of IEEE 488.2 7.4.2
        ("VOLT: 5", -102),  # from memory of IEEE 488.2 7.6.1
        ("5", -102),  # from memory of IEEE 488.2 7.6.1
        ("VOLT @", -101),  # from memory of IEEE 488.2 7.7
    ],
)
def test_malformed_messages_have_the_standards_error(message: str, number: int) -> None:
    """A message that cannot be parsed is refused with the error number the standard gives for it."""
    assert refused(message) == number


def test_white_space_inside_a_header_splits_it() -> None:
    """A header with a space in it is another header with a parameter, which no device knows."""
    unit = parse_message(":FREQ uency")[0]  # SCPI-1999 vol. 1, 6.2.4: illegal
    assert (unit.header, unit.parameters) == (("FREQ",), ("uency",))


def test_separators_inside_data_do_not_count() -> None:
    """Commas and semicolons inside strings, blocks and expressions belong to the data."""
    strings = parse_message("DISP:TEXT 'a;b,c ''d''',\"e;f\";*OPC?")
    assert strings[0].parameters == ("'a;b,c ''d'''", '"e;f"')  # IEEE 488.2 7.7.5
    assert str(strings[1]) == "*OPC?"
    block = parse_message("DATA #15;,\n;H,2;:NEXT 3")
    assert [unit.parameters for unit in block] == [("#15;,\n;H", "2"), ("3",)]  # IEEE 488.2 7.7.6
    lists = parse_message("ROUT:CLOS (@101,203:205), 1;OPEN (@ 1)")
    assert [unit.parameters for unit in lists] == [("(@101,203:205)", "1"), ("(@ 1)",)]  # SCPI-1999 vol. 1, 8.3.2


def test_units_before_a_mistake_are_still_given() -> None:
    """Read unit by unit, a message gives all that came before its first mistake."""
    reader = units("VOLT 5;CURR 1;&")
    assert [str(next(reader)), str(next(reader))] == ["VOLT", "CURR"]  # IEEE 488.2 6.1.6.1
    with pytest.raises(ScpiError):
        next(reader)


def test_a_pattern_with_nested_brackets_is_refused() -> None:
    """A mistake in a device's own command table shows when the table is built."""
    with pytest.raises(ValueError, match="nested"):
        Pattern("VOLTage[:LEVel[:IMMediate]]")


MESSAGES = st.one_of(
    st.text(alphabet=st.characters(max_codepoint=255), max_size=60),
    st.text(alphabet="VOLTvolt:;?*#(@)\"',.+-09 EBHQ&", max_size=40),
    st.text(max_size=30),
)


@given(MESSAGES)
def test_no_message_raises_anything_but_its_named_error(text: str) -> None:
    """Whatever arrives, the parser answers with units or with a ScpiError."""
    with contextlib.suppress(ScpiError):
        assert all(unit.header for unit in parse_message(text))
