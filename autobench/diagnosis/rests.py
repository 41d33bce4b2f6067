"""Boards at rest, each simulated once, and the ways in which a disturbed program may end. It predicts no readings."""

from __future__ import annotations

from dataclasses import replace

from autobench.diagnosis import cpu
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.effects import HEALTHY, Effect
from autobench.diagnosis.simulation import Settled, settle

# Share of programs that halt for ever.
HALTS = {cpu.UNINTERRUPTED: 0.5, cpu.CRASHED: 0.15}
# Share of programs gone astray whose strobes look like those of any program.
ASTRAY = 0.4
# The same for class S: one opcode in twenty jams it, and nothing but a reset ends that.
JAMS = {cpu.CRASHED: 0.5}


class Rests:
    """Boards at rest, each simulated once: what an effect only adds to the current changes no net."""

    def __init__(self, board: BoardModel) -> None:
        self.board = board
        self.healthy = settle(board, HEALTHY)
        self.known: dict[Effect, Settled] = {}

    def at_rest(self, effect: Effect) -> Settled:
        """What the board does with `effect`."""
        plain = replace(effect, weight=1.0, extra=0.0, grounded=(), dead_draw=1.0)
        if plain not in self.known:
            self.known[plain] = settle(self.board, plain, self.healthy)
        return replace(self.known[plain], effect=effect)

    def ways(self, effect: Effect) -> tuple[tuple[float, Settled], ...]:
        """The same with the chance of each: a program whose interrupt is missing halts for ever, or runs on; one that
        reads garbage may come upon a halt as well, or look like any other."""
        settled = self.at_rest(effect)
        halts = (JAMS if self.board.cpu_class == "S" else HALTS).get(settled.state)
        if halts is None or effect.later is not None:
            return ((1.0, settled),)
        halted = (halts, self.at_rest(replace(effect, later=cpu.HALTED)))
        if settled.state != cpu.CRASHED:
            return ((1.0 - halts, settled), halted)
        astray = (ASTRAY * (1.0 - halts), self.at_rest(replace(effect, later=cpu.ASTRAY)))
        return (((1.0 - ASTRAY) * (1.0 - halts), settled), astray, halted)
