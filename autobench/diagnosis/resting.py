"""Which outputs cannot move because their inputs, as they were read, leave them at one level: they say nothing.

A select or a write strobe that stays idle is no sign of a stuck output where nobody asks for it. No candidates are
known here.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product

from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.parts import Output, Part

READ_AS = {"low": False, "high": True, "floating": True}  # an open input acts as a high
MOST_FREE = 8  # inputs that may be at either level; beyond so many nothing is worked out


def level_at_rest(board: BoardModel, read: Mapping[str, str], part: str, net: str) -> str | None:
    """The level at which the inputs of `part` leave its output `net`, or None where it may move.

    `read`: the word of every net that was read; all others may be at either level.
    """
    maker = board.parts.get(part)
    output = None if maker is None else next((out for out in maker.outputs if out.net == net), None)
    if maker is None or output is None or output.how != "decode":
        return None
    fixed = {net: READ_AS[word] for net, word in read.items() if word in READ_AS}
    free = [each for each in inputs_of(maker, output) if each not in fixed]
    if len(free) > MOST_FREE:
        return None
    levels = {
        level(maker, output, {**fixed, **dict(zip(free, choice, strict=True))})
        for choice in product((False, True), repeat=len(free))
    }
    return None if len(levels) > 1 else "high" if levels.pop() else "low"


def inputs_of(part: Part, output: Output) -> list[str]:
    """The nets an output hangs on, through other outputs of the same part as well."""
    own = {other.net: other for other in part.outputs}
    found: list[str] = []
    for net, _ in output.needs:
        found += inputs_of(part, own[net]) if net in own else [net]
    return list(dict.fromkeys(found))


def level(part: Part, output: Output, inputs: Mapping[str, bool]) -> bool:
    """Whether an output is high: it is at its active level when every net it needs has the level it needs."""
    own = {other.net: other for other in part.outputs}
    active = all(
        (level(part, own[net], inputs) if net in own else inputs[net]) == (needed == "high")
        for net, needed in output.needs
    )
    return active == (output.idle == "low")
