"""Where the nodes and lines of a dependency graph go on the picture: layers from the sources downward, few crossings.

Layers, order and places after the usual scheme for directed graphs (Sugiyama, Tagawa and Toda 1981). Numbers out, in
units of the picture; shapes and colours are the template's business.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import networkx as nx

from autobench.views.graph import BAD, UNKNOWN, WORDS, Graph, Node

HEIGHT = 34.0  # of a node
STEP = 62.0  # from layer to layer
GAP = 12.0  # between two nodes
BEND = 14.0  # width kept free where a line passes a layer
LETTER = 9.2  # width of a letter of a label
SMALL = 6.4  # ... of a note
LEAST_WIDTH = 62.0
EDGE = 12.0  # free around the picture
SWEEPS = 12


@dataclass(frozen=True)
class Box:
    """A node with the place of its centre and its width."""

    node: Node
    x: float
    y: float
    width: float
    note: str


@dataclass(frozen=True)
class Curve:
    """A line from node to node as an SVG path, with the state of its net; `end` is where the arrow points."""

    path: str
    state: str


@dataclass(frozen=True)
class Picture:
    """Everything placed: width and height of the picture, boxes and curves."""

    width: float
    height: float
    boxes: tuple[Box, ...]
    curves: tuple[Curve, ...]
    words: str


Order = list[list[str]]


def picture(graph: Graph) -> Picture | None:
    """The graph placed, or `None` where there is nothing to draw."""
    if not graph.nodes:
        return None
    downward = without_cycles(graph)
    layers = layers_of(downward)
    chains, links = bends(downward, layers)
    order = ordered(layers, links)
    widths = {key: width_of(graph.nodes[key]) if key in graph.nodes else BEND for layer in order for key in layer}
    places = placed(order, links, widths)
    left = min(places[key] - widths[key] / 2 for key in places) - EDGE
    right = max(places[key] + widths[key] / 2 for key in places) + EDGE
    levels = {key: EDGE + HEIGHT / 2 + STEP * number for number, layer in enumerate(order) for key in layer}
    boxes = tuple(
        Box(node, places[key] - left, levels[key], widths[key], note_of(node)) for key, node in graph.nodes.items()
    )
    curves = []
    for edge in graph.edges:
        turned = edge not in chains
        chain = chains[edge] if not turned else chains[edge[1], edge[0]][::-1]
        points = [(places[key] - left, levels[key]) for key in chain]
        net = next((graph.nodes[key] for key in edge if graph.nodes[key].net), None)
        curves.append(Curve(path_through(points), net.state if net is not None else UNKNOWN))
    curves.sort(key=lambda curve: curve.state == BAD)  # the bad ones on top
    height = 2 * EDGE + HEIGHT + STEP * (len(order) - 1)
    return Picture(right - left, height, tuple(boxes), tuple(curves), in_words(graph))


def without_cycles(graph: Graph) -> nx.DiGraph:
    """The graph with lines that close a circle turned round, found from the sources on; none from a node to itself."""
    whole = nx.DiGraph()
    whole.add_nodes_from(graph.nodes)
    whole.add_edges_from(edge for edge in graph.edges if edge[0] != edge[1])
    sources = [key for key in whole if whole.in_degree(key) == 0]
    turned: set[tuple[str, str]] = set()
    state: dict[str, int] = {}
    for root in [*sources, *whole]:
        if root in state:
            continue
        state[root] = 1
        stack = [(root, iter(list(whole.successors(root))))]
        while stack:
            key, following = stack[-1]
            target = next(following, None)
            if target is None:
                state[key] = 2
                stack.pop()
            elif target not in state:
                state[target] = 1
                stack.append((target, iter(list(whole.successors(target)))))
            elif state[target] == 1:
                turned.add((key, target))
    for tail, head in turned:
        whole.remove_edge(tail, head)
        whole.add_edge(head, tail)
    return whole


def layers_of(downward: nx.DiGraph) -> dict[str, int]:
    """The layer of each node: below everything that drives it; sources just above what listens to them."""
    layers: dict[str, int] = {}
    for key in nx.topological_sort(downward):
        layers[key] = max((layers[before] + 1 for before in downward.predecessors(key)), default=0)
    for key in list(layers):
        if downward.in_degree(key) == 0 and downward.out_degree(key) > 0:
            layers[key] = min(layers[after] for after in downward.successors(key)) - 1
    return layers


def bends(
    downward: nx.DiGraph, layers: dict[str, int]
) -> tuple[dict[tuple[str, str], list[str]], list[tuple[str, str]]]:
    """A chain of nodes for every line, with a bend in each layer it passes; adds the bends to `layers`."""
    chains: dict[tuple[str, str], list[str]] = {}
    for tail, head in downward.edges:
        chain = [tail]
        for layer in range(layers[tail] + 1, layers[head]):
            name = f"bend {tail} > {head} {layer}"
            layers[name] = layer
            chain.append(name)
        chains[tail, head] = [*chain, head]
    links = [pair for chain in chains.values() for pair in itertools.pairwise(chain)]
    return chains, links


def ordered(layers: dict[str, int], links: Sequence[tuple[str, str]]) -> Order:
    """The nodes of each layer in an order with few crossings: barycentres, swept down and up; the best is kept."""
    order: Order = [[] for _ in range(max(layers.values()) + 1)]
    for key, layer in layers.items():
        order[layer].append(key)
    above, below = neighbours(links)
    best, fewest = [list(layer) for layer in order], crossings(order, below)
    for sweep in range(SWEEPS):
        numbers = range(1, len(order)) if sweep % 2 == 0 else range(len(order) - 2, -1, -1)
        near = above if sweep % 2 == 0 else below
        for number in numbers:
            fixed = order[number - 1] if sweep % 2 == 0 else order[number + 1]
            place = {key: position / max(len(fixed) - 1, 1) for position, key in enumerate(fixed)}
            own = {key: position / max(len(order[number]) - 1, 1) for position, key in enumerate(order[number])}
            order[number].sort(key=lambda key: centre([place[other] for other in near.get(key, ())], own[key]))
        count = crossings(order, below)
        if count < fewest:
            best, fewest = [list(layer) for layer in order], count
    return best


def neighbours(links: Sequence[tuple[str, str]]) -> tuple[dict[str, list[str]], dict[str, list[str]]]:
    """For each node those it is linked to in the layer above and in the layer below."""
    above: dict[str, list[str]] = {}
    below: dict[str, list[str]] = {}
    for tail, head in links:
        above.setdefault(head, []).append(tail)
        below.setdefault(tail, []).append(head)
    return above, below


def centre(places: Sequence[float], otherwise: float) -> float:
    """The mean, or `otherwise` for none."""
    return sum(places) / len(places) if places else otherwise


def crossings(order: Order, below: dict[str, list[str]]) -> int:
    """How often lines cross between neighbouring layers."""
    count = 0
    for upper, lower in itertools.pairwise(order):
        place = {key: position for position, key in enumerate(lower)}
        ends = [sorted(place[other] for other in below.get(key, ())) for key in upper]
        seen: list[int] = []
        for group in ends:
            count += sum(1 for end in group for before in seen if before > end)
            seen += group
    return count


def placed(order: Order, links: Sequence[tuple[str, str]], widths: dict[str, float]) -> dict[str, float]:
    """Horizontal centre of each node: near the mean of its neighbours, never closer than the gap to the next one."""
    above, below = neighbours(links)
    places: dict[str, float] = {}
    for layer in order:
        at = 0.0
        for key in layer:
            places[key] = at + widths[key] / 2
            at += widths[key] + GAP
        for key in layer:
            places[key] -= at / 2
    for sweep in range(SWEEPS):
        near = (above, below) if sweep % 2 == 0 else (below, above)
        for layer in order if sweep % 2 == 0 else order[::-1]:
            wanted = {}
            for key in layer:
                others = near[0].get(key, []) or near[1].get(key, [])
                wanted[key] = centre([places[other] for other in others], places[key])
            places |= apart(layer, wanted, widths)
    return places


def apart(layer: Sequence[str], wanted: dict[str, float], widths: dict[str, float]) -> dict[str, float]:
    """Places as near the wanted ones as order and gaps allow: blocks that touch move as one to their mean."""
    blocks: list[tuple[float, float, list[str]]] = []  # sum of wanted starts, count, members
    offsets: dict[str, float] = {}
    at = 0.0
    for key in layer:
        offsets[key] = at + widths[key] / 2
        at += widths[key] + GAP
        total, count, members = wanted[key] - offsets[key], 1.0, [key]
        while blocks and blocks[-1][0] / blocks[-1][1] > total / count:
            before = blocks.pop()
            total, count, members = before[0] + total, before[1] + count, before[2] + members
        blocks.append((total, count, members))
    return {key: offsets[key] + total / count for total, count, members in blocks for key in members}


def width_of(node: Node) -> float:
    """Room for the label and for the note under it."""
    return max(LEAST_WIDTH, LETTER * len(node.label) + 18.0, SMALL * len(note_of(node)) + 18.0)


def note_of(node: Node) -> str:
    """The note, with the place among the suspects where it has one."""
    return node.note if node.rank is None else f"{node.note}, suspect {node.rank}"


def path_through(points: Sequence[tuple[float, float]]) -> str:
    """A smooth path from the edge of the first node to the edge of the last, through the bends between."""
    sign = 1.0 if points[-1][1] >= points[0][1] else -1.0
    (first_x, first_y), (last_x, last_y) = points[0], points[-1]
    stops = [
        (first_x, first_y + sign * HEIGHT / 2),
        *points[1:-1],
        (last_x, last_y - sign * (HEIGHT / 2 + 5.0)),
    ]
    written = [f"M{stops[0][0]:.1f} {stops[0][1]:.1f}"]
    for (x, y), (to_x, to_y) in itertools.pairwise(stops):
        half = (to_y - y) / 2
        written.append(f"C{x:.1f} {y + half:.1f} {to_x:.1f} {to_y - half:.1f} {to_x:.1f} {to_y:.1f}")
    return "".join(written)


def in_words(graph: Graph) -> str:
    """How many nets are good, bad and unknown."""
    nets = [node for node in graph.nodes.values() if node.net]
    counts = [f"{sum(1 for node in nets if node.state == state)} {word}" for state, word in WORDS.items()]
    parts = len(graph.nodes) - len(nets)
    return f"{parts} parts or groups of parts and {len(nets)} nets or buses: {', '.join(counts)}"
