"""The files that ship, held against each other: boards, the simulated bench and the default round."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from autobench.documents.bench import Bench
from autobench.documents.board import Board
from autobench.documents.draws import sum_of
from autobench.documents.part_kinds import KINDS
from autobench.documents.places import find_bench, find_sequence, folder, list_boards
from autobench.documents.reading import read
from autobench.documents.section import Section
from autobench.documents.sequence import Sequence

BOARDS = [pytest.param(path, id=name) for name, path in list_boards()]


@pytest.fixture
def bench() -> Bench:
    """The bench that ships."""
    return read(find_bench("simulated"), Bench)


@pytest.fixture
def steps() -> Sequence:
    """The default round."""
    return read(find_sequence("baseline"), Sequence)


@pytest.mark.parametrize("path", BOARDS)
def test_a_board_has_the_name_of_its_file(path: Path) -> None:
    """Whoever asks for a board by name gets the file of that name."""
    assert read(path, Board).board == path.stem


@pytest.mark.parametrize("path", BOARDS)
def test_the_bench_feeds_and_touches_what_a_board_has(path: Path, bench: Bench) -> None:
    """Every rail has a feed of at least its volts, and every point that is measured has a position."""
    board = read(path, Board)
    for name, rail in board.rails.items():
        assert bench.feeds[name].most_volts >= abs(rail.nominal.value), name
    assert [point for point in board.points() if bench.position(board.board, point) is None] == []


@pytest.mark.parametrize("path", BOARDS)
def test_the_fixture_loads_the_video_output_as_its_limits_say(path: Path, bench: Bench) -> None:
    """The output is measured into the load its amplitudes are for, and nothing else is loaded."""
    board = read(path, Board)
    outputs = {board.video.output} if board.video is not None and board.video.output is not None else set()
    loads = {point: load.value for point, load in bench.terminated.get(board.board, {}).items()}
    assert loads == {output.point: output.terminated.value for output in outputs}


@pytest.mark.parametrize("path", BOARDS)
def test_the_parts_of_a_board_draw_what_its_rails_say(path: Path) -> None:
    """For every choice of options the parts add up to the middle of the band, to a milliamp."""
    board = read(path, Board)
    names = list(board.options)
    for choices in itertools.product(*board.choices().values()):
        options = dict(zip(names, choices, strict=True))
        for rail in {part.rail for part in board.parts.values() if part.rail in board.fed(options) and part.draws}:
            band = board.rail_current(rail, options)
            middle = ((band.low or 0.0) + (band.high or 0.0)) / 2
            assert sum_of(board.parts, rail, board.choices(), options) == pytest.approx(middle, abs=1e-3), (
                rail,
                options,
            )


@pytest.mark.parametrize("path", BOARDS)
def test_every_net_that_a_part_hears_is_driven(path: Path) -> None:
    """No input of a described part hangs in the air: another part drives it, or it is pulled up."""
    board = read(path, Board)
    wiring = board.wiring
    open_nets = [net for net in wiring.listeners if net not in {*wiring.drivers, *board.pulled_up, *board.rails}]
    assert open_nets == []


@pytest.mark.parametrize("path", BOARDS)
def test_the_round_looks_at_every_line_and_ratio_once(path: Path, steps: Sequence) -> None:
    """Each line is taken by exactly one step of the default round, and so is each ratio."""
    board = read(path, Board)
    for name, line in board.lines.items():
        taking = [step for step in steps.steps if step.measure == "line" and step.takes(line.stage, line.side)]
        assert len(taking) == 1, name
    for ratio in board.ratios:
        taking = [step for step in steps.steps if step.measure == "ratio" and step.takes(ratio.stage)]
        assert len(taking) == 1, (ratio.of, ratio.to)


@pytest.mark.parametrize("model", [Board, Bench, Sequence])
def test_every_key_is_explained(model: type[Section]) -> None:
    """The description beside the files names every key a file may have."""
    text = (folder("sequences") / "README.md").read_text(encoding="utf-8")
    schema = model.model_json_schema()
    sections = [schema, *schema.get("$defs", {}).values()]
    keys = {key for section in sections for key in section["properties"]}
    assert sorted(key for key in keys if f"`{key}`" not in text) == []


def test_every_kind_of_part_is_explained() -> None:
    """The description names every kind of part with the keys it needs and may have."""
    text = (folder("sequences") / "README.md").read_text(encoding="utf-8")
    rows = {line.split("|")[1].strip(" `"): line for line in text.splitlines() if line.startswith("| `")}
    for name, kind in KINDS.items():
        assert [key for key in (*kind.needs, *kind.may) if f"`{key}`" not in rows[name]] == [], name
