"""Clocks, reset, video, lines and ratios of a board file: what is read, what follows, and every mistake with its line."""

# ruff: noqa: E501  (an expected message stands on one line, as a person sees it)

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import get_args

import pytest

from autobench.documents.board import Board
from autobench.documents.nets import Family
from autobench.documents.reading import read
from autobench.errors import FileError, UsageError
from autobench.quantity import Quantity, Span
from autobench.signals import families

TEXT = (Path(__file__).parent / "texts" / "bread-2.yaml").read_text(encoding="utf-8")

# What is written instead of a text that is there once, and what is said about it: line, place, reason.
WRONG: list[tuple[str, str, str]] = [
    ("      place: far\n", "      place: fare\n", "37: rails > +5V > ripple > place: 'fare' is not a place of this rail; allowed are inlet, far; did you mean 'far'?"),
    ("at most 100 mV", "at least 10 mV", "38: rails > +5V > ripple > is: must say the most there may be, such as 'at most 100 mV'\n39: rails > +5V > ripple > usual: at most 60.00 mV reaches outside the limits at least 10.00 mV"),
    ("usual: at most 60 mV", "usual: at most 160 mV", "39: rails > +5V > ripple > usual: at most 160.0 mV reaches outside the limits at most 100.0 mV"),
    ("from: X1, is: 12 MHz ± 100 ppm", "from: X1", "51: clocks > CLK12: a clock takes exactly one of 'is' and 'of'; this one has neither"),
    ("of: CLK12 * 2 / 3", "of: CLK12 * 2 / 3, is: 8 MHz ± 1 %", "52: clocks > DOT: a clock takes exactly one of 'is' and 'of'; this one has both"),
    ("of: CLK12 * 2 / 3", "of: CLK12 * 2 / 3, from: X1", "52: clocks > DOT > from: belongs to a clock with 'is'; this one is made of CLK12"),
    ("of: CLK12 * 2 / 3", "of: a third of CLK12", "52: clocks > DOT > of: 'a third of CLK12' is not a fraction of a clock; write it like 'CLK15 / 4'"),
    ("of: CLK12 * 2 / 3", "of: CLK12 / 0", "52: clocks > DOT > of: 'CLK12 / 0' has a 0 in its fraction"),
    ("of: CLK12 * 2 / 3", "of: CLK21 / 3", "52: clocks > DOT > of: 'CLK21' is no clock; allowed are CLK12, CPUCLK, CHARCLK; did you mean 'CLK12'?"),
    ("    of: CLK12 / 4", "    of: CHARCLK / 4", "55: clocks > CPUCLK > of: is made of itself: CPUCLK / CHARCLK / CPUCLK\n59: clocks > CHARCLK > of: is made of itself: CHARCLK / CPUCLK / CHARCLK"),
    ("12 MHz ± 100 ppm", "at most 12 MHz", "51: clocks > CLK12 > is: must have both ends above 0 Hz, such as '15 MHz ± 100 ppm'"),
    ("35 % .. 65 %", "35 % .. 165 %", "51: clocks > CLK12 > duty: 35 % .. 165 % is no share; it lies between 0 % and 100 %"),
    ("low: at most 0.45 V", "low: at most 4.45 V", "57: clocks > CPUCLK > low: at most 4.450 V does not lie below the high level, at least 4.200 V"),
    ("    family: NMOS\n", "    family: NMOSS\n", "58: clocks > CPUCLK > family: 'NMOSS' is not known here; allowed are TTL, LS, HCT, HC, NMOS, CMOS; did you mean 'NMOS'?"),
    ("from: X1, is", "from: X2, is", "51: clocks > CLK12 > from: 'X2' is not one of the parts; allowed are J1, C1, C2, C3, C4, C5, C6, C7, C8, C9, X1, U4, U5, U7, U1, U3, U6, U8, U11, U12, U13, U14, U15, U16, … (28 in all)"),
    ("from: timer", "from: supervisor", "66: reset > from: 'supervisor', but 'reset source' under 'architecture' is 'timer'"),
    ("from: timer\n", "from: timer\n  holds: FETCHED\n", "67: reset > holds: 'FETCHED' is not one of the 'lines'; allowed are WAIT, FETCH, REFRESH, HALT, VIDCS, D0, D1, D2; did you mean 'FETCH'?"),
    ("width: 50 ms .. 500 ms", "width: at least 50 ms", "64: reset > width: must have both ends above 0 s, such as '50 ms .. 500 ms'; a reset that never ends is none"),
    ("usual: 120 ms .. 400 ms", "usual: 20 ms .. 400 ms", "65: reset > usual: 20.00 ms .. 400.0 ms reaches outside the limits 50.00 ms .. 500.0 ms"),
    ("    field: {net: VSYNC, point: U2.40}\n", "", "68: video > sync: takes 'net' and 'point' for composite sync, or 'line' and 'field' where each has its own net"),
    ("    line rate: 15.625 kHz ± 1 %", "    line rate: 25 Hz ± 1 %", "72: video > sync > field rate: 49.70 Hz .. 50.30 Hz is no slower than the line rate, 24.75 Hz .. 25.25 Hz"),
    ("    line rate: 15.625 kHz ± 1 %", "    line rate: at most 16 kHz", "71: video > sync > line rate: must have both ends above 0, such as '15.625 kHz ± 1 %'"),
    ("pulse: 3.5 µs .. 6 µs", "pulse: 3.5 µs .. 66 µs", "73: video > sync > pulse: 3.500 µs .. 66.00 µs is longer than a whole line"),
    ("terminated: 75 ohm", "terminated: 0 ohm", "77: video > output > terminated: a load of 0 ohm is a short; write what the display has, such as 75 ohm"),
    ("sync amplitude: 0.20 V .. 0.45 V", "sync amplitude: at most 0.45 V", "78: video > output > sync amplitude: must have a lower end above 0 V, since a dead output has none"),
    ("  amplitude: 0.7 V .. 1.3 V", "  amplitude: 0.1 V .. 0.2 V", "79: video > output > amplitude: 100.0 mV .. 200.0 mV leaves no room for a sync of 200.0 mV .. 450.0 mV"),
    ("is: high, family: NMOS}", "is: high, rate: 1 kHz .. 2 kHz, family: NMOS}", "81: lines > WAIT > rate: only a line that is moving has a rate"),
    ("usual: 300 kHz .. 500 kHz, shortest: 400 ns", "usual: 300 kHz .. 800 kHz, shortest: 400 ns", "82: lines > FETCH > usual: 300.0 kHz .. 800.0 kHz reaches outside the limits at most 750.0 kHz"),
    ("500 kHz, shortest: 400 ns", "500 kHz, shortest: 4 µs", "82: lines > FETCH > shortest: 4.000 µs is longer than a whole period at 750.0 kHz"),
    ("when: start, within: 10 ms, pulses: 14 .. 40", "when: start", "85: lines > VIDCS > when: needs 'within' and 'pulses' too"),
    ("when: start, within", "within", "85: lines > VIDCS > within: belongs to a line with 'when: start'\n85: lines > VIDCS > pulses: belongs to a line with 'when: start'"),
    ("pulses: 14 .. 40", "pulses: 14 .. 40, rate: 1 Hz .. 2 Hz", "85: lines > VIDCS > rate: a line with 'when: start' is judged by its 'pulses', not by a rate"),
    ("pulses: 14 .. 40", "pulses: 40 .. 14", "85: lines > VIDCS > pulses: '40 .. 14' is the wrong way round: the lower end comes first"),
    ("U1.14 U1.15 U1.12, stage", "U1.14 U1.15, stage", "86: lines > D0..D2 > point: 3 lines and 2 points; write one point each"),
    ("  D0..D2: {point", "  D2..D0: {point", "86: lines: 'D2..D0' is the wrong way round: the lower number comes first"),
    ("  D0..D2: {point", "  D0..E2: {point", "86: lines: 'D0..E2' is not a range; write it like D0..D7"),
    ("  HALT: {point: U1.18", "  D1: {point: U1.15", "86: lines > D0..D2: D1 stands under 'D1' already"),
    ("point: U1.18", "point: U1.28", "84: lines > HALT > point: U1.28 is said to be on HALT here and on REFRESH under 'lines'"),
    ("{of: REFRESH, to: FETCH", "{of: REFRESCH, to: FETCH", "88: ratios > item 1 > of: 'REFRESCH' is not one of the lines; allowed are WAIT, FETCH, REFRESH, HALT, VIDCS, D0, D1, D2; did you mean 'REFRESH'?"),
    ("{of: REFRESH, to: FETCH", "{of: FETCH, to: FETCH", "88: ratios > item 1 > to: FETCH in ratio to itself is always 1"),
    ("reset:\n  line: RESET\n  point: U1.26\n  active: low\n  width: 50 ms .. 500 ms\n  usual: 120 ms .. 400 ms\n  from: timer\n", "", "78: lines > VIDCS > when: counts from the release of the reset, and there is no 'reset'"),
    ("  HALT: {point", "  HLAT: {point", "84: lines > HLAT: no part drives HLAT, it is not pulled up, and U1 has no such net"),
]  # fmt: skip


def put(folder: Path, text: str) -> Path:
    """The text as `bread-2.yaml`."""
    path = folder / "bread-2.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def said(folder: Path, text: str) -> str:
    """What is said about a board file with this text, folder and file left out."""
    with pytest.raises(FileError) as caught:
        read(put(folder, text), Board)
    return str(caught.value).replace(f"{folder}/bread-2.yaml:", "")


@pytest.fixture
def board(tmp_path: Path) -> Board:
    """The board of the text."""
    return read(put(tmp_path, TEXT), Board)


@pytest.mark.parametrize(("old", "new", "words"), WRONG)
def test_a_wrong_section_is_refused_with_words(tmp_path: Path, old: str, new: str, words: str) -> None:
    """Every mistake names its line and says what does not fit."""
    assert TEXT.count(old) == 1
    assert said(tmp_path, TEXT.replace(old, new)) == words


def test_the_new_sections_may_be_absent(tmp_path: Path) -> None:
    """A board file of rails only is read; clocks, lines and parts are then empty."""
    board = read(put(tmp_path, TEXT[: TEXT.index("clocks:")]), Board)
    assert (board.clocks, board.lines, board.parts, board.ratios, board.reset, board.video) == (
        {},
        {},
        {},
        (),
        None,
        None,
    )


def test_frequencies_follow_from_the_master(board: Board) -> None:
    """A clock that is an exact fraction of another has its frequency and its tolerance, over any number of stages."""
    assert board.nominal("CLK12") == pytest.approx(12e6)
    assert board.nominal("DOT") == pytest.approx(8e6)  # by hand: 12 MHz times two thirds
    assert board.nominal("CHARCLK") == pytest.approx(750e3)  # by hand: 12 MHz / 4 / 4
    limits = board.clock_limits("CHARCLK")
    assert (limits.low, limits.high) == pytest.approx((749_925.0, 750_075.0))  # by hand: 750 kHz less and plus 100 ppm


def test_ratios_of_clocks_are_exact(board: Board) -> None:
    """A ratio is a fraction, to the clock it is made of and to the master; the master has none."""
    assert board.ratio("CLK12") is None
    assert board.ratio("DOT") == ("CLK12", Fraction(2, 3))
    assert board.ratio("CHARCLK") == ("CPUCLK", Fraction(1, 4))
    assert board.master("CHARCLK") == ("CLK12", Fraction(1, 16))
    assert board.master("CLK12") == ("CLK12", Fraction(1))


def test_an_unknown_clock_is_refused_with_words(board: Board) -> None:
    """A clock the board lacks is refused with those it has."""
    for asked in (board.nominal, board.ratio, board.master, board.clock_limits):
        with pytest.raises(UsageError, match=r"bread-2 has no clock 'CPUCKL'; .*did you mean 'CPUCLK'\?"):
            asked("CPUCKL")


def test_a_clock_becomes_values(board: Board) -> None:
    """Levels and duty are spans; what is not written is absent."""
    cpu, master = board.clocks["CPUCLK"], board.clocks["CLK12"]
    assert (cpu.high, cpu.low, cpu.duty) == (Span(4.2, None, "V"), Span(None, 0.45, "V"), None)
    assert (master.source, master.duty) == ("X1", Span(35.0, 65.0, "%"))


def test_ripple_is_asked_for_at_a_place(board: Board) -> None:
    """A rail may say how quiet it is at one of its places, and need not."""
    ripple = board.rails["+5V"].ripple
    assert ripple is not None
    assert (ripple.place, ripple.limits, ripple.usual) == ("far", Span(None, 0.1, "V"), Span(None, 0.06, "V"))
    assert board.rails["+12V"].ripple is None


def test_the_reset_becomes_values(board: Board) -> None:
    """Line, level and width of the reset come out with their units."""
    reset = board.reset
    assert reset is not None
    assert (reset.line, reset.point, reset.active, reset.source, reset.family) == (
        "RESET",
        "U1.26",
        "low",
        "timer",
        "NMOS",
    )
    assert reset.width == Span(0.05, 0.5, "s")


def test_separate_sync_has_two_places(board: Board) -> None:
    """Line and field sync on nets of their own are measured at two points; the output takes the line rate of the sync."""
    video = board.video
    assert video is not None
    assert video.sync is not None
    assert not video.sync.composite
    assert (video.sync.line_source.net, video.sync.line_source.point) == ("HSYNC", "U2.39")
    assert (video.sync.field_source.net, video.sync.field_source.point) == ("VSYNC", "U2.40")
    assert video.output is not None
    assert video.output.terminated == Quantity(75.0, "ohm")
    assert video.output_line_rate == video.sync.line_rate


def test_composite_sync_has_one_place(tmp_path: Path) -> None:
    """Where lines and fields come on one net, both are measured there; an output may have a line rate of its own."""
    two = TEXT[TEXT.index("    line: {net: HSYNC") : TEXT.index("    line rate:")]
    text = (
        TEXT.replace(two, "    net: CSYNC\n    point: U2.39\n")
        .replace("HSYNC", "CSYNC")
        .replace("VSYNC: field", "CSYNC2: field")
    )
    text = text.replace("in: CSYNC VSYNC", "in: CSYNC CSYNC2").replace(
        "  output:\n", "  output:\n    line rate: 15 kHz .. 16 kHz\n"
    )
    video = read(put(tmp_path, text), Board).video
    assert video is not None
    assert video.sync is not None
    assert video.sync.composite
    assert [(each.net, each.point) for each in (video.sync.line_source, video.sync.field_source)] == [
        ("CSYNC", "U2.39")
    ] * 2
    assert video.output_line_rate == Span(15e3, 16e3, "Hz")


def test_a_range_of_lines_is_spread_out(board: Board) -> None:
    """`D0..D2` with three points is three lines, each with its own point, in the order of the file."""
    assert list(board.lines) == ["WAIT", "FETCH", "REFRESH", "HALT", "VIDCS", "D0", "D1", "D2"]
    assert [board.lines[name].points for name in ("D0", "D1", "D2")] == [("U1.14",), ("U1.15",), ("U1.12",)]
    assert [board.lines[name].side for name in ("WAIT", "FETCH", "VIDCS", "D2")] == [
        "input",
        "output",
        "select",
        "data",
    ]


def test_a_line_becomes_values(board: Board) -> None:
    """State, rates and shortest pulse come out with their units; a start line has a window and a count instead."""
    fetch, select = board.lines["FETCH"], board.lines["VIDCS"]
    assert (fetch.state, fetch.rate, fetch.shortest) == ("moving", Span(None, 750e3, "Hz"), Quantity(400e-9, "s"))
    assert fetch.usual == Span(300e3, 500e3, "Hz")
    assert (select.when, select.within, select.pulses) == ("start", Quantity(0.01, "s"), Span(14.0, 40.0, ""))
    assert [(ratio.of, ratio.to, ratio.limits, ratio.stage) for ratio in board.ratios] == [
        ("REFRESH", "FETCH", Span(0.995, 1.005, ""), "cpu")
    ]


def test_points_are_those_of_everything_measured(board: Board) -> None:
    """Every point that a reading can be taken at is listed once, in the order of the file, and pins alone are not."""
    assert board.points() == [
        *(
            "J1.1",
            "J1.2",
            "U18.8",
            "U18.16",
            "J1.3",
            "U4.8",
            "U5.12",
            "U1.6",
            "U5.9",
            "U1.26",
            "U2.39",
            "U2.40",
            "J2.1",
        ),
        *("U1.24", "U1.27", "U1.28", "U1.18", "U2.25", "U1.14", "U1.15", "U1.12"),
    ]


def test_families_are_those_the_levels_are_known_of() -> None:
    """A board file can name exactly the logic families whose levels the program knows."""
    assert set(get_args(Family)) == set(families.NAMES)
