"""What faults of the supply do at one place of one board, as weighted effects.

Weights are first guesses. It spreads no priors and predicts no readings.
"""

from __future__ import annotations

from dataclasses import replace

from autobench.diagnosis import cpu
from autobench.diagnosis.effects import Effect, RailTrouble
from autobench.diagnosis.memory_effects import Rule, Spot, Ways

FRAGILE = ("rom", "video", "cpu")  # what too many volts kill besides the memory
# Share of nominal that the current is lower by, on the mean, through a joint that opens now and then.
OPENS = (0.0, -0.06, -0.13)
# Share of nominal by which a linear regulator gives less than at its limit once it folds back (common practice).
FOLDS = (0.0, -0.2, -0.4, -0.6)


def on_rail(kind: str, extra: float = 0.0) -> Rule:
    """Trouble of the rail a place belongs to."""

    def ways(at: Spot) -> Ways:
        rail = at.net or at.board.parts[at.part].rail or ""
        return (Effect(rail=RailTrouble(rail, kind, at.part), extra=extra),) if rail in at.board.rails else ()

    return ways


def shorted_rail(at: Spot) -> Ways:
    """A hard short across a rail. Behind a regulator or converter it takes what that gives at its limit, or less where
    it folds back; or the converter shuts down."""
    rail, ways = at.board.rails.get(at.net), on_rail("short")(at)
    if rail is None or rail.source is None:
        return ways
    if any(part.kind == "regulator" and part.rail == rail.name for part in at.board.parts.values()):
        return tuple(way for folded in FOLDS for way in on_rail("short", folded)(at))
    makers = tuple(part.name for part in at.board.parts.values() if part.kind == "converter")
    return (*ways, *(replace(way, dead=makers) for way in ways if makers))


def made_rail(rail: str, kind: str, later: str | None = None) -> Rule:
    """Trouble of a rail the board makes itself; without its bias the memory forgets."""

    def ways(at: Spot) -> Ways:
        if rail not in at.board.rails or at.board.rails[rail].source is None:
            return ()
        trouble = RailTrouble(rail, kind, at.part)
        return (Effect(rail=trouble, later=later),)

    return ways


def own_rail(kind: str) -> Rule:
    """Trouble of the rail that a regulator or bridge makes."""

    def ways(at: Spot) -> Ways:
        return made_rail(at.board.parts[at.part].rail or "", kind)(at)

    return ways


def chip_short(at: Spot) -> Ways:
    """Hard, or soft enough to let the rail live."""
    hard = shorted_rail(at)
    soft = RailTrouble(at.net, "soft short", at.part)
    softly = (
        Effect(0.4 / 6.0, rail=soft, dead=(at.part,), dead_level=level, extra=extra)
        for extra in (0.4, 0.65, 0.95)
        for level in ("static", "high")
    )
    return (*(replace(way, weight=0.6 / len(hard), dead=(at.part, *way.dead)) for way in hard), *softly)


def cracked(at: Spot) -> Ways:
    """A joint of the supply that opens now and then: the board starts anew each time."""
    return tuple(way for extra in OPENS for way in on_rail("loose", extra)(at))


def too_many_volts(at: Spot) -> Ways:
    """What stands before the regulator comes through, and takes memory, buffers, then large chips with it."""
    ways = []
    of_kind = {kind: [part.name for part in at.board.parts.values() if part.kind == kind] for kind in FRAGILE}
    rom, video, main = (tuple(of_kind[kind][:1]) for kind in FRAGILE)
    for way in own_rail("high")(at):
        ways.append(replace(way, weight=0.2))
        ways.append(replace(way, weight=0.3, later=cpu.CRASHED))
        ways += [replace(way, weight=share, dead=dead, dead_level="floating")
                 for share, dead in ((0.2, rom), (0.2, (*rom, *video)), (0.1, main)) if dead]  # fmt: skip
    return tuple(ways)
