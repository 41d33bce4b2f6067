"""The words all views share."""

from __future__ import annotations

import string
from dataclasses import replace

import pytest

from autobench.diagnosis.result import Suspect
from autobench.events import PowerChanged, Watched
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.views.large import LETTERS, large, larger, largest
from autobench.views.wording import (
    chance_words,
    harmless,
    limits_words,
    output_words,
    reading_name,
    reasons_for,
    suspect_words,
    time_left_words,
    value_words,
)

READING = Reading("line D0", "bus", "D0", "U1.14", "rate", 29e4, "Hz", 170.0, None, None, None, Verdict.WITHIN)


@pytest.mark.parametrize(
    ("low", "high", "unit", "words"),
    [
        (14_998_500.0, 15_001_500.0, "Hz", "15 MHz ± 100 ppm"),
        (49.7, 50.3, "Hz", "50 Hz ± 0.6 %"),
        (0.995, 1.005, "", "1 ± 0.5 %"),
        (0.4995, 0.5005, "", "0.5 ± 0.1 %"),
        (4.6, 5.2, "V", "4.6 .. 5.2 V"),
        (0.7, 1.3, "V", "700 mV .. 1.3 V"),
        (0.0, 0.1, "V", "0 .. 100 mV"),
        (20.0, 2000.0, "ohm", "20 Ω .. 2 kΩ"),
        (None, 0.4, "V", "at most 400 mV"),
        (2.0, None, "V", "at least 2 V"),
        (None, None, "V", ""),
    ],
)
def test_limits_are_said_briefly(low: float | None, high: float | None, unit: str, words: str) -> None:
    """Close limits as centre and tolerance, others from–to with one unit, open ones by a word."""
    assert limits_words(replace(READING, low=low, high=high, unit=unit)) == words


def test_a_value_says_no_more_than_it_must() -> None:
    """A rate says that a line moves, a level that it does not; a burst says both; nothing read is a dash."""
    assert value_words(replace(READING, state="moving")) == "290.0 kHz ± 340 Hz"
    assert value_words(replace(READING, state="high", value=0.0)) == "high"
    assert value_words(replace(READING, state="burst")) == "burst, 290.0 kHz ± 340 Hz"
    assert value_words(replace(READING, value=None)) == "–"


def test_a_name_says_no_word_twice() -> None:
    """The quantity stands behind the step unless one of the two says it already."""
    assert reading_name(READING) == "line D0"
    assert reading_name(replace(READING, quantity="level")) == "line D0 level"
    assert reading_name(replace(READING, step="reset", quantity="reset width")) == "reset width"
    assert reading_name(replace(READING, step="ratio WR to FETCH", quantity="ratio")) == "ratio WR to FETCH"


def test_what_cannot_be_printed_is_spelt_out() -> None:
    """Texts at any depth lose what a terminal would obey; everything else stays as it is."""
    found = harmless({"a\x1b": ("b\x9b", ["c\u202e", 1.5, None])})
    assert found == {"a\\x1b": ("b\\x9b", ["c\\u202e", 1.5, None])}
    bad = harmless(replace(READING, step="line\nD0"))
    assert bad.step == "line D0"
    assert bad.verdict is Verdict.WITHIN
    assert harmless("±Ω µ – 日本") == "±Ω µ – 日本"


def test_an_output_is_said_by_the_last_look() -> None:
    """Seen volts and amps once there is a look since the last change, the setting before that."""
    on = PowerChanged(2.0, "+5V", "on", 5.0, 1.376)
    assert output_words(on, None) == "LIVE +5V set to 5.00 V (limit 1.38 A)"
    assert output_words(on, Watched(1.0, "+5V", 0.3, 0.0, False)) == "LIVE +5V set to 5.00 V (limit 1.38 A)"
    assert output_words(on, Watched(3.0, "+5V", 3.1, 1.38, True)) == "LIVE +5V 3.10 V 1.38 A (limit 1.38 A) LIMITING"


def test_times_and_chances_are_no_finer_than_they_are_known() -> None:
    """Seconds near the end, fives before, minutes before that; never quite sure, never quite impossible."""
    said = [time_left_words(seconds) for seconds in (0.4, 7.2, 41.0, 200.0)]
    assert said == ["nearly done", "about 8 s left", "about 45 s left", "about 4 min left"]
    assert [chance_words(chance) for chance in (1.0, 0.42, 0.001)] == ["over 99 %", "42 %", "under 1 %"]


def test_a_suspect_is_said_in_the_words_of_the_catalogue() -> None:
    """The place, how likely, what is broken; a fault the catalogue does not know keeps its name."""
    known = Suspect("U1", None, "cpu-dead", 0.7, ("the CPU is dead", "FETCH is flat: the CPU is dead"), ())
    assert suspect_words(known) == "U1, 70 %: the CPU is dead (cpu-dead)"
    assert reasons_for(known) == ("FETCH is flat",)
    assert suspect_words(Suspect(None, None, "something else", 0.3, (), ())) == "something else, 30 %"


def test_large_letters_stand_straight() -> None:
    """Every letter has rows of one length, no two look alike, and a text of them stands straight in both sizes."""
    assert all(len({len(row) for row in rows}) == 1 for rows in LETTERS.values())
    assert len(set(LETTERS.values())) == len(LETTERS)
    assert set(string.ascii_uppercase + string.digits + ".,-+_/~#: ") <= LETTERS.keys()  # what points and nets have
    for word in ("GOOD", "FAULTY", "UNDECIDED", "STOPPED", "-12.05 V  0.78 A"):
        assert [len(large(word)), len(larger(word)), len(largest(word))] == [3, 5, 10]
        assert len({len(row) for row in large(word)}) == 1
        assert len({len(row) for row in larger(word)}) == 1
        assert len({len(row) for row in largest(word)}) == 1
    assert large("1") == ["▄█ ", " █ ", "▀▀▀"]
