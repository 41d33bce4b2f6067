"""Board files: what is read, what its options decide, and every mistake with its line."""

# ruff: noqa: E501  (an expected message stands on one line, as a person sees it)

from __future__ import annotations

from pathlib import Path

import pytest

from autobench.documents.board import Board
from autobench.documents.places import find_board
from autobench.documents.reading import read
from autobench.errors import FileError, UsageError
from autobench.quantity import Quantity, Span

BOARD = """\
board: bread-1
words: a board for tests
architecture:
  power input: dc5
  cpu class: R
  cpu socketed: yes
  cpu clock source: divider
  reset source: timer
  video timing: fixed
  refresh source: cpu
  ram type: dram 1 rail
  video ram shared: yes
  wait source: none
  fetch strobe used: waits, paging
options:
  video:
    words: generation of the video chip
    default: late
    choices:
      early: the first
      late: the second
  memory:
    words: memory fitted
    default: small
    choices:
      small: 16 chips
      large: 32 chips
rails:
  +5V:
    nominal: 5 V
    board takes: at most 5.25 V
    trip: 5.5 V
    amps: at most 1.5 A
    settle: 5 s
    current:
      - when: {video: early}
        is: 0.98 A ± 8 %
      - when: {video: late, memory: small}
        is: 0.78 A ± 8 %
      - when: {video: late, memory: large}
        is: 1.20 A ± 8 %
    ohms:
      is: 20 ohm .. 2 kohm
      usual: 40 ohm .. 400 ohm
    places:
      inlet: {point: J1.1, ground: J1.2, is: 4.85 V .. 5.20 V}
      far:
        point: U18.8
        ground: U18.16
        is: 4.60 V .. 5.20 V
        usual: 4.63 V .. 4.80 V
        data sheet: 4.75 V .. 5.25 V
    drops:
      - from: inlet
        to: far
        is: at most 0.40 V
"""

# What is written instead of a text that is there once, and what is said about it.
WRONG: list[tuple[str, str, str]] = [
    ("  power input: dc5", "  power input: dc6", "bread-1.yaml:4: architecture > power input: 'dc6' is not known here; allowed are dc5, dc9 unregulated, ac9, multi rail, mains inside; did you mean 'dc5'?"),
    ("  cpu class: R", "  cpu class: S", "bread-1.yaml:10: architecture > refresh source: only a CPU of class R refreshes the memory itself"),
    ("waits, paging", "waits, pages", "bread-1.yaml:14: architecture > fetch strobe used: 'pages' is not known here; allowed are waits, paging, interrupt acknowledge, nothing"),
    ("waits, paging", "waits, nothing", "bread-1.yaml:14: architecture > fetch strobe used: 'nothing' cannot stand beside another use"),
    ("  wait source: none\n", "", "bread-1.yaml:3: the key 'wait source' is missing under architecture"),
    ("    default: late", "    default: latest", "bread-1.yaml:18: options > video > default: 'latest' is not one of the choices; allowed are early, late; did you mean 'late'?"),
    ("    nominal: 5 V", "    nominal: 5", "bread-1.yaml:30: rails > +5V > nominal: '5' lacks its unit; write it as '5 V'"),
    ("    nominal: 5 V", "    nominal: 0 V", "bread-1.yaml:30: rails > +5V > nominal: a rail of 0 V is no rail"),
    ("    nominal: 5 V", "    nominal: 6 V", "bread-1.yaml:31: rails > +5V > board takes: at most 5.250 V leaves out the nominal 6.000 V"),
    ("at most 5.25 V", "at least 4.75 V", "bread-1.yaml:31: rails > +5V > board takes: must say the most this rail may ever get, such as 'at most 5.25 V'"),
    ("    trip: 5.5 V", "    trip: 5.1 V", "bread-1.yaml:32: rails > +5V > trip: 5.100 V must lie beyond the 5.250 V the board takes, with the sign of the rail"),
    ("    trip: 5.5 V", "    trip: -5.5 V", "bread-1.yaml:32: rails > +5V > trip: -5.500 V must lie beyond the 5.250 V the board takes, with the sign of the rail"),
    ("    amps: at most 1.5 A", "    amps: at least 1.5 A", "bread-1.yaml:33: rails > +5V > amps: must say the most this rail may ever draw, such as 'at most 1.5 A'"),
    ("    amps: at most 1.5 A", "    amps: at most 1.1 A", "bread-1.yaml:41: rails > +5V > current > item 3 > is: 1.104 A .. 1.296 A reaches above the cap of 1.100 A"),
    ("    settle: 5 s", "    settle: soon", "bread-1.yaml:34: rails > +5V > settle: 'soon' is not a number with a unit (such as '4.75 V')"),
    ("{video: early}", "{vidio: early}", "bread-1.yaml:36: rails > +5V > current > item 1 > when > vidio: 'vidio' is not an option of this board; allowed are video, memory; did you mean 'video'?"),
    ("{video: early}", "{video: earli}", "bread-1.yaml:36: rails > +5V > current > item 1 > when > video: 'earli' is not a choice of video; allowed are early, late; did you mean 'early'?"),
    ("late, memory: large", "late, memory: small", "bread-1.yaml:35: rails > +5V > current: no band counts with video=late, memory=large\nbread-1.yaml:40: rails > +5V > current > item 3: counts together with item 2 with video=late, memory=small"),
    ("0.98 A ± 8 %", "at most 0.98 A", "bread-1.yaml:37: rails > +5V > current > item 1 > is: must have both ends, such as '0.78 A ± 8 %'"),
    ("is: 20 ohm .. 2 kohm", "is: at most 2 kohm", "bread-1.yaml:43: rails > +5V > ohms > is: must have a lower end above 0 ohm, since that is what shows a short"),
    ("usual: 40 ohm .. 400 ohm", "usual: 10 ohm .. 400 ohm", "bread-1.yaml:44: rails > +5V > ohms > usual: 10.00 Ω .. 400.0 Ω reaches outside the limits 20.00 Ω .. 2.000 kΩ"),
    ("ground: J1.2", "ground: J1.1", "bread-1.yaml:46: rails > +5V > places > inlet > ground: is the same point as the supply pin, J1.1"),
    ("point: U18.8", "point: J1.1", "bread-1.yaml:48: rails > +5V > places > far > point: J1.1 is already the place 'inlet'"),
    ("point: U18.8", "point: U18 pin 8", "bread-1.yaml:48: rails > +5V > places > far > point: 'U18 pin 8' is not a point; write PART.PIN, such as U18.8 or J1.1"),
    ("is: 4.60 V .. 5.20 V", "is: 5.20 V .. 4.60 V", "bread-1.yaml:50: rails > +5V > places > far > is: '5.20 V .. 4.60 V' is the wrong way round: the lower end comes first"),
    ("usual: 4.63 V .. 4.80 V", "usual: 4.53 V .. 4.80 V", "bread-1.yaml:51: rails > +5V > places > far > usual: 4.530 V .. 4.800 V reaches outside the limits 4.600 V .. 5.200 V"),
    ("data sheet:", "datasheet:", "bread-1.yaml:52: unknown key 'datasheet' under rails > +5V > places > far; allowed are point, ground, is, usual, data sheet; did you mean 'data sheet'?"),
    ("        to: far", "        to: fare", "bread-1.yaml:55: rails > +5V > drops > item 1 > to: 'fare' is not a place of this rail; allowed are inlet, far; did you mean 'far'?"),
    ("      - from: inlet\n        to: far", "      - from: far\n        to: inlet", "bread-1.yaml:55: rails > +5V > drops > item 1 > to: comes before 'far' on the way from the inlet; write the drop the other way round"),
    ("      - from: inlet", "      - from: far", "bread-1.yaml:55: rails > +5V > drops > item 1 > to: is the same place as 'from', far"),
    ("        is: at most 0.40 V\n", "", "bread-1.yaml:54: the key 'is' is missing under rails > +5V > drops > item 1"),
]  # fmt: skip


def put(folder: Path, text: str) -> Path:
    """The text as `bread-1.yaml`."""
    path = folder / "bread-1.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def said(folder: Path, text: str) -> str:
    """What is said about a board file with this text, the folder left out."""
    with pytest.raises(FileError) as caught:
        read(put(folder, text), Board)
    return str(caught.value).replace(f"{folder}/", "")


@pytest.fixture
def board(tmp_path: Path) -> Board:
    """The board of the text above."""
    return read(put(tmp_path, BOARD), Board)


@pytest.mark.parametrize(("old", "new", "words"), WRONG)
def test_a_wrong_board_file_is_refused_with_words(tmp_path: Path, old: str, new: str, words: str) -> None:
    """Every mistake names file and line and says what does not fit."""
    assert BOARD.count(old) == 1
    assert said(tmp_path, BOARD.replace(old, new)) == words


def test_three_mistakes_give_three_messages(tmp_path: Path) -> None:
    """Mistakes in three sections of one file are told at once, in reading order."""
    text = BOARD.replace("dc5", "dc6").replace("settle: 5 s", "settle: 5 V").replace("point: U18.8", "pont: U18.8")
    assert [line.split(": ")[0] for line in said(tmp_path, text).splitlines()] == [
        "bread-1.yaml:4",
        "bread-1.yaml:34",
        "bread-1.yaml:48",
    ]


def test_a_board_file_becomes_values_with_units(board: Board) -> None:
    """Rails, places and drops come out in the order of the file, with units."""
    rail = board.rails["+5V"]
    assert rail.nominal == Quantity(5.0, "V")
    assert (rail.most_volts, rail.most_amps, rail.negative) == (5.25, 1.5, False)
    assert rail.settle == Quantity(5.0, "s")
    assert list(rail.places) == ["inlet", "far"]
    assert rail.places["far"].limits == Span(4.60, 5.20, "V")
    assert rail.places["far"].data_sheet == Span(4.75, 5.25, "V")
    assert rail.places["inlet"].usual is None
    assert (rail.drops[0].start, rail.drops[0].end) == ("inlet", "far")
    assert board.architecture.fetch_strobe_used == ("waits", "paging")
    assert board.points() == ["J1.1", "J1.2", "U18.8", "U18.16"]


def test_options_are_filled_with_defaults(board: Board) -> None:
    """What nobody declares is the default; what is declared stays."""
    assert board.resolve_options({}) == {"video": "late", "memory": "small"}
    assert board.resolve_options({"video": "early"}) == {"video": "early", "memory": "small"}


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"vidio": "early"}, "bread-1 has no option 'vidio'; allowed are video, memory; did you mean 'video'?"),
        ({"video": "erly"}, "option video has no choice 'erly'; allowed are early, late; did you mean 'early'?"),
        ({"video": "\x1b[2J"}, r"option video has no choice '\x1b[2J'; allowed are early, late"),
    ],
)
def test_an_unknown_option_is_refused_with_words(board: Board, given: dict[str, str], words: str) -> None:
    """An option or choice the board lacks is refused with those it has."""
    with pytest.raises(UsageError) as caught:
        board.resolve_options(given)
    assert str(caught.value) == words


def test_the_current_band_follows_the_options(board: Board) -> None:
    """The band is that of the declared choices; a choice that does not matter may be anything."""
    late = board.rail_current("+5V", {})
    assert (late.low, late.high) == pytest.approx((0.7176, 0.8424))  # by hand: 0.78 A less and plus 8 %
    assert board.rail_current("+5V", {"memory": "large"}).high == pytest.approx(1.296)  # by hand: 1.20 A plus 8 %
    early = [board.rail_current("+5V", {"video": "early", "memory": memory}) for memory in ("small", "large")]
    assert early[0] == early[1]
    with pytest.raises(UsageError, match=r"bread-1 has no rail '\+12V'; allowed is \+5V"):
        board.rail_current("+12V", {})


def test_a_current_that_fits_another_choice_names_it(board: Board) -> None:
    """The choices whose band holds the value are named, one option changed at a time; none if the declared one holds."""
    assert board.other_fits("+5V", {}, 0.98) == ["video=early"]
    assert board.other_fits("+5V", {}, 1.20) == ["memory=large"]
    assert board.other_fits("+5V", {}, 0.78) == []
    assert board.other_fits("+5V", {}, 0.60) == []
    assert board.other_fits("+5V", {"video": "early"}, 0.78) == ["video=late"]
    assert board.other_fits("+5V", {"video": "early"}, 1.20) == []  # two wrong declarations at once are not guessed at


def test_a_negative_rail_is_written_with_its_sign(tmp_path: Path) -> None:
    """A rail below ground has a negative nominal, trip and cap, and caps count from ground."""
    text = BOARD.replace("nominal: 5 V", "nominal: -5 V").replace("at most 5.25 V", "at least -5.25 V")
    text = text.replace("trip: 5.5 V", "trip: -5.5 V").replace("4.85 V .. 5.20 V", "-5.20 V .. -4.85 V")
    text = text.replace("4.60 V .. 5.20 V", "-5.20 V .. -4.60 V").replace("4.75 V .. 5.25 V", "-5.25 V .. -4.75 V")
    text = text.replace("4.63 V .. 4.80 V", "-4.80 V .. -4.63 V")
    rail = read(put(tmp_path, text), Board).rails["+5V"]
    assert (rail.most_volts, rail.negative) == (5.25, True)


def test_options_may_be_absent(tmp_path: Path) -> None:
    """A board without options has one band for every board."""
    head, rest = BOARD[: BOARD.index("options:")], BOARD[BOARD.index("rails:") :]
    band = rest[rest.index("      - when") : rest.index("    ohms:")]
    board = read(put(tmp_path, head + rest.replace(band, "      - is: 0.5 A ± 10 %\n")), Board)
    assert board.resolve_options({}) == {}
    assert board.rail_current("+5V", {}).low == pytest.approx(0.45)  # by hand: 0.5 A less 10 %


def test_options_that_multiply_are_bounded(tmp_path: Path) -> None:
    """A current that depends on very many options is refused instead of multiplied out."""
    many = [f"o{number}" for number in range(40)]
    options = "".join(f"  {name}:\n    words: w\n    default: a\n    choices: {{a: w, b: w}}\n" for name in many)
    when = ", ".join(f"{name}: a" for name in many)
    text = BOARD.replace("rails:\n", f"{options}rails:\n").replace("{video: early}", f"{{{when}}}")
    assert "rails > +5V > current: depends on too many options at once" in said(tmp_path, text)


def test_the_shipped_board_is_right() -> None:
    """The board file that ships loads, with the figures of the invented board it describes."""
    board = read(find_board("tarnbeck-8"), Board)
    assert board.board == "tarnbeck-8"
    assert board.rails["+5V"].places["far"].limits.holds(4.70)
    assert not (board.rails["+5V"].places["far"].data_sheet or Span(None, None, "V")).holds(4.70)
    assert board.other_fits("+5V", {"video": "late"}, 0.98) == ["video=early"]
