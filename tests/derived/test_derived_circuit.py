"""A circuit made from a board file: a healthy specimen passes its round, and everything says what it is worth."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from autobench.__main__ import main
from autobench.derived.circuit import REMARK, derived_circuit
from autobench.documents.board import Board
from autobench.documents.places import find_board
from autobench.documents.reading import read
from autobench.errors import UsageError
from autobench.rehearsal.rehearsed import rehearsed_round

BOARDS = ("tarnbeck-8", "wexcombe-2", "pellin-600", "orrin-tk")


def own(folder: Path, board: str, *changes: tuple[str, str]) -> Path:
    """A board file of one's own: a shipped one under another name, so that the simulator has no circuit of it."""
    text = find_board(board).read_text(encoding="utf-8").replace(f"board: {board}", "board: mine")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = folder / "mine.yaml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("board", ["tarnbeck-8", *(pytest.param(one, marks=pytest.mark.long) for one in BOARDS[1:])])
def test_a_healthy_board_of_ones_own_is_good(tmp_path: Path, board: str) -> None:
    """One or three rails, fed or made, class R and S, fixed and programmable video; and it is said."""
    done = rehearsed_round("baseline", board=own(tmp_path, board), seed=1)
    assert (done.verdict, done.reason) == ("good", None)
    assert REMARK in done.notices


@pytest.mark.long
@pytest.mark.parametrize("fault", ["inlet-open", "master-clock-dead", "cpu-dead", "rom-not-driving", "reset-stuck"])
def test_a_fault_of_ones_own_board_is_found(tmp_path: Path, fault: str) -> None:
    """The round is what is tested: it finds what it should."""
    assert rehearsed_round("baseline", board=own(tmp_path, "tarnbeck-8"), fault=fault).verdict == "faulty"


def test_every_output_of_check_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Document and words alike, with nothing written to the person's own record."""
    board, record = own(tmp_path, "tarnbeck-8"), tmp_path / "r.sqlite"
    code = main(["check", str(board), "--only", "ohms +5V", "--records", str(record), "--unattended", "--json"])
    said = capsys.readouterr()
    assert code == 0
    assert json.loads(said.out)["remark"] == REMARK
    assert REMARK in said.err


def test_a_clock_that_is_no_whole_division_is_refused(tmp_path: Path) -> None:
    """With words and the way out, not with a circuit that means nothing."""
    board = read(
        own(tmp_path, "tarnbeck-8", ("of: CLK15 / 4", "of: CLK15 * 2 / 7"), ("PIXCLK: /2, CPUCLK: /4", "PIXCLK: /2")),
        Board,
    )
    with pytest.raises(UsageError, match=r"CPUCLK is no whole division of CLK15; --circuit"):
        derived_circuit(board)


def test_a_cpu_the_simulator_lacks_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """The classes there are, and the one asked for."""
    monkeypatch.setattr("autobench.derived.logic.CLASSES", ("S",))
    with pytest.raises(UsageError, match="class S only, not R"):
        derived_circuit(read(find_board("tarnbeck-8"), Board))


def test_the_derived_circuit_is_no_copy_of_the_simulators() -> None:
    """It comes from the board file's limits: other figures than the circuit that was written apart."""
    derived = derived_circuit(read(find_board("tarnbeck-8"), Board))
    assert derived["words"].startswith("derived")
    assert len(derived["copper"]) < 15
