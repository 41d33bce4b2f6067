"""Names of nets, parts and pins as written: ranges, lists, and what is refused."""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from autobench.documents.fields import WrongTextError
from autobench.documents.nets import read_net, read_net_range, read_nets, read_pins, read_points, several, spread


def test_a_range_counts_up_by_its_last_number() -> None:
    """What stands before the number stays; a single name is a range of one."""
    assert spread("D0..D3") == ("D0", "D1", "D2", "D3")
    assert spread("U9..U11") == ("U9", "U10", "U11")
    assert spread("RD2_8..RD2_9") == ("RD2_8", "RD2_9")
    assert spread("CPUCLK") == ("CPUCLK",)
    assert spread("18..16", falling=True) == ("18", "17", "16")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("D7..D0", "'D7..D0' is the wrong way round: the lower number comes first"),
        ("D0..E7", "'D0..E7' is not a range; write it like D0..D7"),
        ("D0..7", "'D0..7' is not a range; write it like D0..D7"),
        ("D..D7", "'D..D7' is not a range; write it like D0..D7"),
        ("..", "'..' is not a range; write it like D0..D7"),
        ("D0..D99", "'D0..D99' is too long a range; at most 64 are allowed"),
        ("D0..D3..D7", "'D0..D3..D7' is not a range; write it like D0..D7"),
    ],
)
def test_what_is_no_range_is_refused(text: str, words: str) -> None:
    """A range has the same name at both ends, counts up and is of a sensible length."""
    with pytest.raises(WrongTextError) as caught:
        read_net_range(text)
    assert str(caught.value) == words


def test_lists_have_spaces_or_commas_between() -> None:
    """Names, ranges and points stand one after another."""
    assert read_nets("WAIT  BUSRQ, D0..D1") == ("WAIT", "BUSRQ", "D0", "D1")
    assert read_pins("14 15 12 8..7") == ("14", "15", "12", "8", "7")
    assert read_points("U1.14 U1.15") == ("U1.14", "U1.15")


@pytest.mark.parametrize(("text", "words"), [("", "nothing is written here"), ("A B A", "'A' is written twice")])
def test_lists_are_neither_empty_nor_double(text: str, words: str) -> None:
    """An empty list and a name that comes twice are refused."""
    with pytest.raises(WrongTextError, match=words):
        several(text)


def test_long_lists_are_refused() -> None:
    """However they are put together, at most 64 names stand in one list."""
    with pytest.raises(WrongTextError, match="80 names; at most 64 are allowed"):
        several("A0..A39 B0..B39")


@pytest.mark.parametrize("name", ["CPUCLK", "+5V", "-12V", "0V", "/RD", "~CS", "A15", "SYNC_2", "E#"])
def test_names_of_nets_are_those_of_schematics(name: str) -> None:
    """Rails, active-low marks and bus bits are names of nets."""
    assert read_net(name) == name


@pytest.mark.parametrize("name", ["", "two words", "A;B", "A/B", "U1.8", "D0..D7", "é", "A" * 30, "\x1b[2J"])
def test_other_texts_are_no_nets(name: str) -> None:
    """A net is one short word that can stand in a path, a message and a command."""
    with pytest.raises(WrongTextError):
        read_net(name)


@given(st.text("AD019.+- ", max_size=20))
def test_no_text_breaks_the_readers(text: str) -> None:
    """Any text gives names, or one of our complaints and no other error."""
    for read in (read_net_range, read_nets, read_pins, read_points):
        with contextlib.suppress(WrongTextError):
            assert read(text)
