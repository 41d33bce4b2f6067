"""The board's dependency graph as a picture: what feeds what, with good, bad and unknown nets by the readings.

Parts and nets that are alike are drawn as one, rails without the lines to every part. Layers run from the sources
downward; it judges no reading and knows no report.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from autobench.documents.board import Board
from autobench.documents.nets import GROUND, NUMBERED, spread
from autobench.documents.parts import Part
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict

GOOD, BAD, UNKNOWN = "good", "bad", "unknown"
WORDS = {GOOD: "good", BAD: "bad", UNKNOWN: "not known"}


@dataclass(frozen=True)
class Node:
    """A part or a net, or several that are alike. `state` is of a net; `rank` the place among the suspects, from 1."""

    key: str
    label: str
    note: str
    net: bool
    members: tuple[str, ...]
    state: str = UNKNOWN
    rank: int | None = None


@dataclass
class Graph:
    """Nodes by key, and edges from what drives to what listens."""

    nodes: dict[str, Node] = field(default_factory=dict)
    edges: dict[tuple[str, str], None] = field(default_factory=dict)


def net_states(readings: Iterable[Reading]) -> dict[str, str]:
    """`good`, `bad` or `unknown` for every net with readings.

    Bad: an unconditional reading outside its limits. Unknown: nothing settled, or a required reading of it that is void
    or skipped.
    """
    by_net: dict[str, list[Reading]] = {}
    for reading in readings:
        if reading.net is not None:
            by_net.setdefault(reading.net, []).append(reading)
    return {net: state_of(taken) for net, taken in by_net.items()}


def state_of(readings: Sequence[Reading]) -> str:
    """The state of one net by its readings."""
    counting = [reading for reading in readings if not reading.conditional]
    if any(reading.verdict is Verdict.OUTSIDE for reading in counting):
        return BAD
    if any(reading.required and reading.verdict in (Verdict.VOID, Verdict.SKIPPED) for reading in readings):
        return UNKNOWN
    said = [reading for reading in counting if reading.verdict in (Verdict.WITHIN, Verdict.UNUSUAL)]
    telling = [reading for reading in said if reading.state or reading.low is not None or reading.high is not None]
    return GOOD if telling else UNKNOWN


def board_graph(board: Board, readings: Iterable[Reading], suspects: Sequence[str] = ()) -> Graph:
    """The graph of a board; `suspects` are parts and nets, the likeliest first."""
    states = net_states(readings)
    graph = Graph()
    joined = drives_and_hears(board)
    owner: dict[str, str] = {}
    for row, part in board.part_rows.items():
        members = spread(row)
        if any(joined[name] != ((), ()) for name in members) or part.feeds is not None:
            rank = rank_of(members, suspects)
            graph.nodes[f"part {row}"] = Node(f"part {row}", row, part.kind, False, members, rank=rank)
            owner |= dict.fromkeys(members, f"part {row}")
    for nets, drivers, listeners in net_groups(joined, owner):
        if not listeners and not any(net in states or net in board.rails for net in nets):
            continue
        node = net_node(nets, states, suspects)
        graph.nodes[node.key] = node
        graph.edges |= {(driver, node.key): None for driver in drivers}
        graph.edges |= {(node.key, listener): None for listener in listeners}
    for name, part in board.parts.items():
        if part.feeds in owner and name in owner:
            graph.edges[owner[name], owner[part.feeds]] = None
    return graph


Joined = Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]]


def drives_and_hears(board: Board) -> Joined:
    """For each part the nets it drives and those it hears; a connector drives rails and hears everything else."""
    return {name: drives_and_hears_of(part, board) for name, part in board.parts.items()}


def drives_and_hears_of(part: Part, board: Board) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The same for one part."""
    if part.kind != "connector":
        return part.drives, part.hears
    nets = [net for _, net in part.pin_nets if net != GROUND]
    return tuple(net for net in nets if net in board.rails), tuple(net for net in nets if net not in board.rails)


def net_groups(
    joined: Joined, owner: Mapping[str, str]
) -> list[tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]]:
    """Nets with their drivers and listeners; the numbered nets of a bus with the same ones go together."""
    users: dict[str, tuple[dict[str, None], dict[str, None]]] = {}
    for part, (driven, heard) in joined.items():
        for side, nets in enumerate((driven, heard)):
            for net in nets:
                users.setdefault(net, ({}, {}))[side][owner[part]] = None
    groups: dict[tuple[object, ...], list[str]] = {}
    for net, (drivers, listeners) in users.items():
        numbered = NUMBERED.fullmatch(net)
        alike = (numbered[1], tuple(drivers), tuple(listeners)) if numbered else (net,)
        groups.setdefault(alike, []).append(net)
    return [(tuple(nets), tuple(users[nets[0]][0]), tuple(users[nets[0]][1])) for nets in groups.values()]


def net_node(nets: tuple[str, ...], states: Mapping[str, str], suspects: Sequence[str]) -> Node:
    """A net, or a bus that is bad if one of its lines is and good if all of them are."""
    found = [states.get(net, UNKNOWN) for net in nets]
    state = BAD if BAD in found else GOOD if set(found) == {GOOD} else UNKNOWN
    label = nets[0] if len(nets) == 1 else f"{nets[0]}..{nets[-1]}"
    count = found.count(state)
    note = WORDS[state] if len(nets) == 1 or count == len(nets) else f"{count} of {len(nets)} {WORDS[state]}"
    return Node(f"net {label}", label, note, True, nets, state, rank_of(nets, suspects))


def rank_of(members: Sequence[str], suspects: Sequence[str]) -> int | None:
    """The first place of any member among the suspects."""
    return next((number for number, suspect in enumerate(suspects, 1) if suspect in members), None)
