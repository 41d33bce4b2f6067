"""The dependency graph: what feeds what, the states of nets, and a picture in which nothing lies on anything else."""

from __future__ import annotations

import itertools

import pytest

from autobench.documents import places
from autobench.documents.board import Board
from autobench.documents.reading import read
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.views.graph import Graph, Node, board_graph, net_states
from autobench.views.report_graph import HEIGHT, picture

BOARDS = ("tarnbeck-8", "pellin-600")


def board_of(name: str) -> Board:
    """A shipped board file."""
    return read(places.find_board(name), Board)


def reading(net: str, verdict: Verdict, *, conditional: bool = False, required: bool = True) -> Reading:
    """A reading of a net, with a lower limit."""
    return Reading(
        step=f"line {net}",
        stage="cpu",
        net=net,
        point=None,
        quantity="level",
        value=3.0,
        unit="V",
        uncertainty=0.1,
        low=2.0,
        high=None,
        limit_from="board file",
        verdict=verdict,
        conditional=conditional,
        required=required,
    )


def test_states_follow_the_readings() -> None:
    """Bad by an unconditional outside; unknown where nothing counts or something required is missing; else good."""
    readings = [
        reading("A", Verdict.WITHIN),
        reading("A", Verdict.OUTSIDE),
        reading("B", Verdict.OUTSIDE, conditional=True),
        reading("C", Verdict.UNUSUAL),
        reading("D", Verdict.WITHIN),
        reading("D", Verdict.VOID),
        reading("E", Verdict.WITHIN),
        reading("E", Verdict.SKIPPED, required=False),
        reading("F", Verdict.MARGINAL),
    ]
    wanted = {"A": "bad", "B": "unknown", "C": "good", "D": "unknown", "E": "good", "F": "unknown"}
    assert net_states(readings) == wanted


def test_it_says_what_feeds_what() -> None:
    """From the crystal to the CPU and from the CPU to its selects, as the board file wires them."""
    graph = board_graph(board_of("tarnbeck-8"), [], ["U1"])
    for edge in (
        ("part X1", "part U4"),
        ("part U4", "net CLK15"),
        ("net CLK15", "part U5"),
        ("part U5", "net CPUCLK"),
        ("net CPUCLK", "part U1"),
        ("part U1", "net MEMREQ"),
        ("net MEMREQ", "part U6"),
        ("part U6", "net ROMCS"),
        ("net ROMCS", "part U3"),
        ("part U3", "net D0..D7"),
        ("part J1", "net +5V"),
    ):
        assert edge in graph.edges, edge
    assert graph.nodes["part U1"].rank == 1
    assert graph.nodes["part U11..U18"].members[0] == "U11"
    assert not any("C2" in key for key in graph.nodes)


def test_one_bad_line_makes_a_bus_bad_and_is_counted() -> None:
    """A bus is drawn once; it is good only when all its lines are."""
    board = board_of("tarnbeck-8")
    one = board_graph(board, [reading("D3", Verdict.OUTSIDE)]).nodes["net D0..D7"]
    assert (one.state, one.note) == ("bad", "1 of 8 bad")
    some = board_graph(board, [reading("D3", Verdict.WITHIN)]).nodes["net D0..D7"]
    assert (some.state, some.note) == ("unknown", "7 of 8 not known")
    whole = board_graph(board, [reading(f"D{bit}", Verdict.WITHIN) for bit in range(8)]).nodes["net D0..D7"]
    assert (whole.state, whole.note) == ("good", "good")


@pytest.mark.parametrize("name", BOARDS)
def test_nothing_lies_on_anything_else(name: str) -> None:
    """Boxes keep clear of each other and inside the picture; every edge is drawn once."""
    graph = board_graph(board_of(name), [], ["U1", "U5"])
    drawn = picture(graph)
    assert drawn is not None
    assert len(drawn.boxes) == len(graph.nodes)
    assert len(drawn.curves) == len([edge for edge in graph.edges if edge[0] != edge[1]])
    for one, other in itertools.combinations(drawn.boxes, 2):
        beside = abs(one.x - other.x) >= (one.width + other.width) / 2
        assert beside or abs(one.y - other.y) >= HEIGHT, f"{one.node.label} on {other.node.label}"
    for box in drawn.boxes:
        assert box.x - box.width / 2 > 0
        assert box.x + box.width / 2 < drawn.width
        assert box.y - HEIGHT / 2 > 0
        assert box.y + HEIGHT / 2 < drawn.height


def test_circles_are_drawn_too() -> None:
    """Parts that feed each other, and one that feeds itself, end in a picture all the same."""
    nodes = {
        key: Node(key, key, "", net, (key,)) for key, net in (("p", False), ("n", True), ("q", False), ("m", True))
    }
    edges = [("p", "n"), ("n", "q"), ("q", "m"), ("m", "p"), ("m", "q")]
    drawn = picture(Graph(nodes, dict.fromkeys(edges)))
    assert drawn is not None
    assert len(drawn.curves) == len(edges)


def test_nothing_is_no_picture() -> None:
    """Without parts there is nothing to draw."""
    assert picture(Graph()) is None
