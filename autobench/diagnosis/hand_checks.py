"""What only hands do, as checks: a finger, a leg against its net, reseating, a socketed swap, cold and warm, lifting.

Tables of what can be done, with time and risk; it does nothing.
"""

from __future__ import annotations

from collections.abc import Iterator

from autobench.diagnosis.alphabets import Observable
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.check import ACROSS, COMPARE, COOL, FEEL, LIFT, RESEAT, SWAP, Check, counts, failed_gate
from autobench.diagnosis.evidence import words_read
from autobench.diagnosis.means import Means
from autobench.diagnosis.ranking import Ranking
from autobench.diagnosis.repeated import watched, where
from autobench.diagnosis.resting import level_at_rest

FOLLOWING = ("cracked-joint", "ram-marginal", "cpu-clock-weak")  # worth a check for being so


def feel(ranking: Ranking) -> Iterator[Check]:
    """A finger on every chip."""
    board = ranking.predictions.board
    chips = [part.name for part in board.parts.values() if part.amps > 0.0]
    if failed_gate(ranking) in ("clocks", "reset") or not chips:
        return
    what = "lay a finger on every chip after a minute of power: is one too hot to keep it on?"
    yield Check("feel", tuple(Observable("heat", chip) for chip in chips), what, None, *FEEL)


def compare(ranking: Ranking, leg: tuple[str, str], sockets: set[str]) -> Iterator[Check]:
    """A leg of a socketed chip against its net: they differ only where the contact between them is bad."""
    part, net = leg
    board = ranking.predictions.board
    point = board.pins.get(leg)
    if part not in sockets or point is None or net in board.rails or not counts(ranking, net):
        return
    what = f"compare the {net} leg of {part} itself with the net {net} below its socket, at {point}"
    yield Check("compare", (Observable("contact", f"{part} {net}"),), what, point, *COMPARE, part, net)


def across(board: BoardModel, part: str, means: Means) -> Iterator[Check]:
    """Volts across a switch or connector under load."""
    if board.parts[part].kind not in ("connector", "switch"):
        return
    rail, sides = board.sides.get(part, ("", (None, None)))
    if sides[0] is None and means.points is not None:
        return
    what = f"measure the volts across {part}, from one pin to the other, under load"
    yield Check("across", (Observable("across", part),), what, sides[0] or part, *ACROSS, part, rail, sides[1])


def socketed(part: str) -> Iterator[Check]:
    """Reseating cures contacts; a known good part cures both the part and most contacts."""
    again = "then repeat what failed"
    what = f"power off, clean the legs of {part} and reseat it, {again}"
    yield Check("reseat", (Observable("reseat", part),), what, part, *RESEAT, part)
    what = f"power off, put a known good {part} into the socket, {again}"
    yield Check("swap", (Observable("swap", part),), what, part, *SWAP, part)


def cools(ranking: Ranking, numbers: list[int]) -> Iterator[Check]:
    """One part that may follow its temperature, cooled or warmed by itself while a line that failed is looked at."""
    candidates = ranking.predictions.candidates
    for part in dict.fromkeys(candidates[number].part for number in numbers if candidates[number].fault in FOLLOWING):
        own = [number for number in numbers if candidates[number].part == part]
        seen = watched(ranking, max(own, key=lambda number: ranking.chances[number]))
        if part is None or seen is None:
            continue
        net, point = seen
        place = where(net, point)
        what = f"cool {part} alone and look at {place}; should that be well for the moment, warm {part} instead"
        if ranking.predictions.board.parts[part].kind in ("connector", "switch"):
            what = f"power off, cool {part} alone, and with the power back look at {place} while {part} is cold"
        yield Check("cool", (Observable("cool", part),), what, point or part, *COOL, part, net)


def lifts(ranking: Ranking, legs: list[tuple[str, str]]) -> Iterator[Check]:
    """An output bent off its net: it moves by itself where the net was to blame."""
    board = ranking.predictions.board
    read = words_read({each.observable: each for each in ranking.observations})
    for part, net in legs:
        point = board.pins.get((part, net))
        if part not in board.parts or net not in board.nets or point is None or not counts(ranking, net):
            continue
        if level_at_rest(board, read, part, net) is not None:
            continue  # nobody asks for it: it would not move by itself either
        what = f"power off, lift the {net} leg of {part}, and look at the free leg"
        yield Check("lift", (Observable("free leg", f"{part} {net}"),), what, point, *LIFT, part, net)
