"""From the board file to what diagnosis knows: parts, nets, clocks and options, nothing lost."""

from __future__ import annotations

import pytest

from autobench.diagnosis.board_model import BoardModel, board_model
from autobench.documents.board import Board
from autobench.errors import UsageError


def test_options_decide_what_a_part_draws(boards: dict[str, Board]) -> None:
    """Parts draw by the option fitted, the default where nobody says, and an unknown choice is refused."""
    board = boards["fixed-3"]
    assert board_model(board, {}).parts["U2"].amps == pytest.approx(0.150)  # as written in the board file
    assert board_model(board, {"video": "early"}).parts["U2"].amps == pytest.approx(0.350)  # as written there
    with pytest.raises(UsageError):
        board_model(board, {"video": "latest"})


def test_clocks_carry_exact_parents(models: dict[str, BoardModel]) -> None:
    """A clock knows what it is made of and its frequency."""
    clocks = models["fixed-3"].clocks
    assert clocks["CPUCLK"].of == "CLK15"
    assert clocks["CPUCLK"].hertz == pytest.approx(3.75e6)  # computed: 15 MHz / 4
    assert models["fixed-3"].cpu_hertz == pytest.approx(3.75e6)  # computed: 15 MHz / 4


def test_nets_know_their_drivers(models: dict[str, BoardModel]) -> None:
    """Outputs of the CPU and of every part are driven by it, in both directions."""
    board = models["programmed-3"]
    assert board.drivers["HSYNC"] == ("U5",)
    assert board.drivers["INT"] == ("U2",)
    assert all(board.drivers[net] == ("U1",) for net in board.cpu_nets.outputs)
    assert "U3" in board.nets["ROMCS"]
    assert board.parts["U5"].select == "CRTCCS"


def test_architecture_in_the_words_of_the_file(models: dict[str, BoardModel]) -> None:
    """Flags read as they are written."""
    assert models["fixed-3"].fixed_video
    assert not models["programmed-3"].fixed_video
    assert not models["fixed-3"].waits
    assert models["programmed-3"].waits
    assert models["fixed-3"].architecture["video ram shared"] == "yes"


def test_own_refresh_is_told_by_its_point(models: dict[str, BoardModel]) -> None:
    """The refresh counts as the CPU's where it is read at the CPU."""
    assert models["fixed-3"].own_refresh
    assert models["programmed-3"].own_refresh
