"""Parts of a board file: what is read, what hangs together, what is drawn, and every mistake with its line."""

# ruff: noqa: E501  (an expected message stands on one line, as a person sees it)

from __future__ import annotations

from pathlib import Path

import pytest

from autobench.documents.board import Board
from autobench.documents.part_kinds import CPU_NETS, KINDS
from autobench.documents.reading import read
from autobench.errors import FileError, UsageError

TEXT = (Path(__file__).parent / "texts" / "bread-2.yaml").read_text(encoding="utf-8")

# What is written instead of a text that is there once, and what is said about it: line, place, reason.
WRONG: list[tuple[str, str, str]] = [
    ("{kind: crystal, feeds: U4}", "{kind: crystal, feeds: U14}", "93: parts > U4 > outs > CLK12: follows X1, but that feeds U14"),
    ("{kind: crystal, feeds: U4}", "{kind: crystal, feeds: U40}", "92: parts > X1 > feeds: 'U40' is not one of the parts; allowed are J1, C1, C2, C3, C4, C5, C6, C7, C8, C9, X1, U4, U5, U7, U1, U3, U6, U8, U11, U12, U13, U14, U15, U16, … (28 in all); did you mean 'U4'?\n93: parts > U4 > outs > CLK12: follows X1, but that feeds U40"),
    ("{kind: crystal, feeds: U4}", "{kind: crystal}", "92: parts > X1 > kind: a part of kind 'crystal' needs 'feeds' too"),
    ("{kind: crystal, feeds: U4}", "{kind: cristal, feeds: U4}", "92: parts > X1 > kind: 'cristal' is not known here; allowed are connector, switch, bulk capacitor, decoupler, crystal, oscillator, divider, gate array, reset timer, reset supervisor, cpu, rom, ram, decoder, data buffer, address multiplexer, gates, video, video controller, video output, shifter, port, bridge, regulator, … (29 in all); did you mean 'crystal'?"),
    ("C1..C9: {kind: decoupler, rail: +5V}", "C1..C9: {kind: decoupler, rail: +5V, draws: 1 mA}", "91: parts > C1..C9 > draws: a part of kind 'decoupler' has no such key; allowed are kind, words, socket, legs, side, pins, rail"),
    ("C1..C9: {kind: decoupler, rail: +5V}", "C1..C9: {kind: decoupler, rail: +6V}", "91: parts > C1..C9 > rail: '+6V' is not a rail of this board; allowed are +5V, +12V; did you mean '+5V'?"),
    ("C1..C9: {kind", "C9..C1: {kind", "91: parts: 'C9..C1' is the wrong way round: the lower number comes first"),
    ("C1..C9: {kind: decoupler, rail: +5V}", "C1..C9: {kind: decoupler, rail: +5V, drwas: 1 mA}", "91: unknown key 'drwas' under parts > C1..C9; allowed are kind, words, socket, legs, side, pins, rail, draws, class, feeds, clock, reset, select, enable, in, addr, data, bit, from, needs, outs; did you mean 'draws'?"),
    ("CPUCLK: /4,", "CPUCLK: /3,", "94: parts > U5 > outs > CPUCLK: divides CLK12 by 3, but under 'clocks' CPUCLK is 1/4 of it"),
    ("CPUCLK: /4,", "CPUCLK: sync,", "94: parts > U5 > outs > CPUCLK: 'sync' is no output of kind 'divider'; it may divide"),
    ("CPUCLK: /4,", "CPUCLK: /0,", "94: parts > U5 > outs > CPUCLK: nothing can be divided by 0"),
    ("CPUCLK: /4,", "CPUCLK: by four,", "94: parts > U5 > outs > CPUCLK: 'by four' is no output; write '/4', the net or part it follows, or one of power-on, pattern, sync, line, field, picture, composite"),
    ("CPUCLK: /4,", "CPUCLK: {idle: high},", "94: parts > U5 > outs > CPUCLK: takes a word such as '/4', or 'needs' with the nets that select it"),
    ("CPUCLK: /4,", "CPUCLK: /4, CPUKLC: /4,", "94: parts > U5 > outs > CPUKLC: nothing else in this file knows a net 'CPUKLC'; did you mean 'CPUCLK'?"),
    ("in: CLK12, outs", "in: CLK21, outs", "94: parts > U5 > in: nothing else in this file knows a net 'CLK21'; did you mean 'CLK12'?"),
    ("HSYNC: line, VSYNC", "HSINC: line, VSYNC", "106: parts > U2 > outs > HSINC: nothing else in this file knows a net 'HSINC'; did you mean 'HSYNC'?"),
    ("select: ROMCS, enable: RD,", "select: ROMSC, enable: RD,", "97: parts > U3 > select: nothing else in this file knows a net 'ROMSC'; did you mean 'ROMCS'?"),
    ("{IORQ: low, WR: low}", "{IORQ: down, WR: low}", "103: parts > U6 > outs > VIDCS > needs > IORQ: 'down' is not known here; allowed are low, high"),
    ("{IORQ: low, WR: low}", "{IORQQ: low, WR: low}", "103: parts > U6 > outs > VIDCS > needs > IORQQ: nothing else in this file knows a net 'IORQQ'; did you mean 'IORQ'?"),
    ("needs: {VIDCS: written}", "needs: {VIDCS: read}", "106: parts > U2 > needs > VIDCS: 'read' is not known here; allowed is written"),
    ("{early: 180 mA, late: 80 mA}", "{early: 180 mA, later: 80 mA}", "106: parts > U2 > draws: names early, later, which are not the choices of one option; options are chip (early, late)"),
    ("{early: 180 mA, late: 80 mA}", "{early: 480 mA, late: 80 mA}", "29: rails > +5V > current > item 1 > is: the parts on +5V draw 692.0 mA together with chip=early; 360.0 mA .. 440.0 mA cannot be right"),
    ("draws: 100 mA", "draws: 500 mA", "29: rails > +5V > current > item 1 > is: the parts on +5V draw 792.0 mA together with chip=early; 360.0 mA .. 440.0 mA cannot be right\n31: rails > +5V > current > item 2 > is: the parts on +5V draw 692.0 mA together with chip=late; 270.0 mA .. 330.0 mA cannot be right"),
    ("draws: 100 mA", "draws: 1 mA", "31: rails > +5V > current > item 2 > is: the parts on +5V draw 193.0 mA together with chip=late; 270.0 mA .. 330.0 mA cannot be right"),
    ("draws: 50 mA", "draws: 5 mA", "46: rails > +12V > current > item 1 > is: the parts on +12V draw 5.000 mA together; 40.00 mA .. 60.00 mA cannot be right"),
    ("bit: M0..M7", "bit: M0..M6", "105: parts > U11..U18 > bit: 7 nets for 8 parts; write one for each"),
    ("bit: M0..M7", "bit: M0..M7, data: D0..D7", "105: parts > U11..U18 > bit: cannot stand beside 'data'"),
    ("D0..D2: 14 15 12, 0V", "D0..D2: 14 15, 0V", "96: parts > U1 > pins > D0..D2: 3 nets and 2 pins; write one pin each"),
    ("  Q1: {kind", "  U18: {kind", "107: parts > U18: U18 stands under 'U11..U18' already"),
    ("pulled up: WAIT BUSRQ", "pulled up: WAIT WAIT", "108: pulled up: 'WAIT' is written twice"),
    ("pulled up: WAIT BUSRQ", "pulled up: WAIT! BUSRQ", "108: pulled up: 'WAIT!' is not a net; write letters, digits and _ + - #, such as CPUCLK or +5V"),
    ("class: R, ", "", "96: parts > U1 > kind: a part of kind 'cpu' needs 'class' too"),
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
def test_a_wrong_part_is_refused_with_words(tmp_path: Path, old: str, new: str, words: str) -> None:
    """Every mistake names its line and says what does not fit."""
    assert TEXT.count(old) == 1
    assert said(tmp_path, TEXT.replace(old, new)) == words


def test_a_range_of_parts_is_spread_out(board: Board) -> None:
    """`C1..C9` is nine parts; of what is written one each, a part of `U11..U18` gets its own."""
    assert [name for name in board.parts if name.startswith("C")] == [f"C{number}" for number in range(1, 10)]
    assert [board.parts[f"U{number}"].bit for number in (11, 18)] == [("M0",), ("M7",)]
    assert board.parts["U18"].pin_nets == (("8", "+5V"), ("16", "0V"), ("14", "M7"))
    assert board.parts["U18"].drives == ("M7",)


def test_pins_may_fall(board: Board) -> None:
    """`D0..D7: 18..11` puts D0 on pin 18 and D7 on pin 11; one net may have several pins."""
    assert board.parts["U8"].pin_nets[0] == ("18", "D0")
    assert board.parts["U8"].pin_nets[-1] == ("11", "D7")
    assert [pin for pin, net in board.parts["U1"].pin_nets if net == "0V"] == ["29", "30"]


def test_outputs_say_how_they_come_about(board: Board) -> None:
    """An output is a word, a division, what it follows, or what selects it; a selected one is high otherwise."""
    outs = {net: out for part in board.parts.values() for net, out in part.outs.items()}
    assert (outs["CLK12"].how, outs["CLK12"].source) == ("follow", "X1")
    assert (outs["CHARCLK"].how, outs["CHARCLK"].divisor) == ("divide", 16)
    assert (outs["RESET"].how, outs["HSYNC"].how, outs["VIDEO"].how) == ("power-on", "line", "composite")
    assert (outs["ROMCS"].how, outs["ROMCS"].idle) == ("decode", "high")
    assert outs["ROMCS"].needs == {"MEMREQ": "low", "A15": "low"}
    assert board.parts["U2"].needs == {"VIDCS": "written"}


def test_a_cpu_has_its_nets_without_a_list(board: Board) -> None:
    """A class R CPU drives its eight strobes and sixteen addresses, and hears its inputs, clock, reset and data."""
    cpu = board.parts["U1"]
    assert {"FETCH", "REFRESH", "MEMREQ", "IORQ", "RD", "WR", "HALT", "BUSAK", "A0", "A15"} <= set(cpu.drives)
    assert {"CPUCLK", "RESET", "WAIT", "BUSRQ", "NMI", "INT", "D0", "D7"} <= set(cpu.hears)
    nets = CPU_NETS["R"]
    count = len(nets.inputs) + len(nets.outputs) + len(nets.addresses) + len(nets.data)
    assert count == 40 - 4  # data sheet of the class, from memory: 40 pins less supply, ground, clock and reset


def test_nets_join_what_is_measured_and_what_is_fitted(board: Board) -> None:
    """Every net has its points, measured ones first, and the parts that drive it and listen to it."""
    nets, wiring = board.nets(), board.wiring
    assert nets["D0"] == ("U1.14", "U8.18")
    assert nets["+12V"] == ("J1.3",)
    assert nets["RESET"] == ("U1.26",)
    assert nets["A3"] == ()
    assert wiring.drivers["D0"] == ("U3", "U8")
    assert wiring.drivers["CPUCLK"] == ("U5",)
    assert wiring.listeners["VIDCS"] == ("U2",)
    assert "WAIT" not in wiring.drivers
    assert "U1" in wiring.listeners["WAIT"]


def test_a_part_draws_what_its_option_says(board: Board) -> None:
    """The current of a part follows the choice of its option; the rest draw the same always, or nothing is known."""
    assert board.part_amps("U2", {}) == pytest.approx(0.08)
    assert board.part_amps("U2", {"chip": "early"}) == pytest.approx(0.18)
    assert board.part_amps("U14", {"chip": "early"}) == pytest.approx(0.004)
    assert board.part_amps("C3", {}) == 0.0
    with pytest.raises(UsageError, match="bread-2 has no part 'U99'"):
        board.part_amps("U99", {})
    with pytest.raises(UsageError, match="bread-2 has no option 'chop'"):
        board.part_amps("U2", {"chop": "early"})


def test_options_with_the_same_choices_cannot_be_told_apart(tmp_path: Path) -> None:
    """A current by choice is refused where two options have those very choices."""
    text = TEXT.replace(
        "rails:\n", "  other:\n    words: o\n    default: late\n    choices: {early: a, late: b}\nrails:\n", 1
    )
    assert "draws: names choices that chip and other both have" in said(tmp_path, text)


def test_rails_whose_parts_say_nothing_are_left_alone(tmp_path: Path) -> None:
    """Without a word on what any part of a rail draws, its band is not compared with a sum of nothing."""
    board = read(put(tmp_path, TEXT.replace("draws: 50 mA, in: HSYNC", "in: HSYNC")), Board)
    assert board.part_amps("Q1", {}) == 0.0


def test_three_mistakes_among_the_parts_come_at_once(tmp_path: Path) -> None:
    """Slips of three sorts are told together, each at its line."""
    text = (
        TEXT.replace("CPUCLK: /4,", "CPUCLK: /3,")
        .replace("rail: +12V", "rail: +21V")
        .replace("in: CLK12,", "in: CLK12 X9,")
    )
    found = said(tmp_path, text).splitlines()
    assert [line.split(": ")[0] for line in found] == ["94", "94", "107"]
    assert "a net 'X9'" in found[0]
    assert "divides CLK12 by 3" in found[1]
    assert "'+21V' is not a rail of this board" in found[2]


def test_every_kind_needs_and_may_have_different_keys() -> None:
    """The table of kinds names no key twice, and only keys that a part has."""
    from autobench.documents.parts import Part

    for name, kind in KINDS.items():
        assert len(set(kind.keys)) == len(kind.keys), name
        assert set(kind.keys) <= set(Part.key_names()), name
        assert ("outs" in kind.keys) == bool(kind.outs), name
