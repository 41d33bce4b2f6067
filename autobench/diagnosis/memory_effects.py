"""What faults of the memory and of what works it do at one place of one board, as weighted effects.

Levels of dead outputs and the ways a disturbed program ends are common practice; weights are first guesses.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from autobench.diagnosis import cpu
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.effects import Effect

Ways = tuple[Effect, ...]


@dataclass(frozen=True)
class Spot:
    """Where a fault sits; `part` and `net` are empty where they do not matter."""

    board: BoardModel
    part: str
    net: str


Rule = Callable[[Spot], Ways]

# A dead output is held low hard, floats as an open input makes it, or stays high through a pull-up.
DEAD_LEVELS = (("low", 0.4), ("floating", 0.35), ("high", 0.25))
STROBES = ("RAS", "CAS")
RESTING = {"RAS": -0.1, "CAS": -0.05}  # less current, as a share of the board's
STILL_BIT = 0.8  # how often a dead memory chip's output stands still
# What a program that starts and then meets bad memory ends in.
AFTER_START = ((cpu.CRASHED, 0.45), (cpu.RUNNING, 0.3), (cpu.HALTED, 0.25))


# An open leg of these leaves the program itself as it was, and what it keeps in memory not.
AT_MEMORY = ("ram", "address multiplexer", "gates", "data buffer")


def asks_memory(board: BoardModel, net: str) -> bool:
    """Whether a net is the select by which the CPU gets at the memory: without it the memory never answers."""
    asked = (part for part in board.parts.values() if part.kind in ("data buffer", "ram"))
    return net not in STROBES and any(part.select == net for part in asked)


def open_at_memory(at: Spot, cut: tuple[tuple[str, str], ...], in_socket: bool) -> Ways:
    """A leg at the memory: the program starts and comes to grief; a chip without a strobe drives nothing."""
    owner = at.board.parts[at.part]
    silent = tuple(((owner.name, net), "floating") for net in owner.data if at.net in (*STROBES, owner.select))
    outputs = silent if owner.kind == "ram" else ()
    return tuple(
        Effect(weight, cut=cut, in_socket=in_socket, outputs=outputs, later=state) for state, weight in AFTER_START
    )


def after_start(extra: float = 0.0) -> Ways:
    """The start-up program runs out of the ROM and comes to grief, or not, when it uses the memory."""
    return tuple(Effect(weight, later=state, extra=extra) for state, weight in AFTER_START)


def bad_memory(extra: float = 0.0, levels: tuple[tuple[str, float], ...] = DEAD_LEVELS) -> Rule:
    """One memory chip whose output stays at a level, or moves and is wrong."""

    def ways(at: Spot) -> Ways:
        stuck = tuple(
            (tuple(((at.part, net), level) for net in at.board.parts[at.part].data), STILL_BIT * share)
            for level, share in levels
        )
        return tuple(
            Effect(share * weight, later=state, extra=extra, outputs=outputs)
            for outputs, share in (*stuck, ((), 1.0 - STILL_BIT))
            for state, weight in AFTER_START
        )

    return ways


def several_bad(at: Spot) -> Ways:
    """Any of the memory chips, each perhaps dead."""
    chips = [part for part in at.board.parts.values() if part.kind == "ram"]
    outputs = tuple(((part.name, net), "perhaps") for part in chips for net in part.data)
    return tuple(
        Effect(0.25 * weight, later=state, extra=extra, outputs=outputs)
        for extra in (-0.06, 0.0, 0.06, 0.15)
        for state, weight in AFTER_START
    )


def address_bit(at: Spot) -> Ways:
    """One output of an address multiplexer at each level a dead one can have."""
    nets = [out.net for out in at.board.parts[at.part].outputs]
    if not nets:
        return after_start()
    each = 1.0 / len(nets)
    return tuple(
        Effect(each * share * weight, outputs=(((at.part, net), level),), later=state)
        for net in nets
        for level, share in DEAD_LEVELS
        for state, weight in AFTER_START
    )


def lost_strobe(at: Spot) -> Ways:
    """One strobe of the memory stays high or open; without RAS or CAS the memory rests."""
    nets = [out.net for out in at.board.parts[at.part].outputs]
    if not nets:
        return after_start(extra=-0.1)
    each = 0.5 / len(nets)
    return tuple(
        Effect(each * weight, outputs=(((at.part, net), level),), later=state, extra=RESTING.get(net, 0.0))
        for net in nets
        for level in ("high", "floating")
        for state, weight in AFTER_START
    )


def shorted_memory(at: Spot) -> Ways:
    """A memory chip that draws too much, some of them far too much."""
    return tuple(way for extra in (0.1, 0.2, 0.35) for way in bad_memory(extra, (("low", 1.0),))(at))
