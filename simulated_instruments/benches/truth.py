"""The truth about a simulated bench at one time, for tests and for scoring; no instrument may see it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from simulated_instruments.board.states import BoardState


@dataclass(frozen=True)
class OutputTruth:
    """One supply output now: `volts` and `amps` at its terminals, and what it was set to."""

    output: int
    on: bool
    volts: float
    amps: float
    limiting: bool
    set_volts: float
    set_amps: float


@dataclass(frozen=True)
class OutputChange:
    """The setting of one output from `time` (s) on."""

    time: float
    output: int
    on: bool
    volts: float
    amps: float


@dataclass(frozen=True)
class Truth:
    """Everything at `time`. `most_volts` is the highest volts ever at each rail's inlet, `changes` every setting of an
    output since the bench was opened, `nodes` the volts of all nodes against the board's ground at the inlet, `state`
    what the parts are doing."""

    time: float
    outputs: Mapping[int, OutputTruth]
    most_volts: Mapping[str, float]
    changes: tuple[OutputChange, ...]
    nodes: Mapping[str, float]
    points: Mapping[str, str]
    state: BoardState

    @property
    def any_on(self) -> bool:
        """Whether any output is on now."""
        return any(output.on for output in self.outputs.values())

    @property
    def ever_on(self) -> list[tuple[float, int, float]]:
        """(time, output, volts set) of every setting under which an output was on."""
        return [(change.time, change.output, change.volts) for change in self.changes if change.on]

    @property
    def times_on(self) -> int:
        """How often any output was switched on."""
        switched, was_on = 0, set[int]()
        for change in self.changes:
            if change.on and change.output not in was_on:
                switched += 1
            (was_on.add if change.on else was_on.discard)(change.output)
        return switched

    def node_volts(self, name: str) -> float:
        """Volts of a node, or of a point such as `U18.8`, against the board's ground at the inlet."""
        return self.nodes[self.points.get(name, name)]

    def between(self, plus: str, minus: str) -> float:
        """Volts from one point or node to another."""
        return self.node_volts(plus) - self.node_volts(minus)
