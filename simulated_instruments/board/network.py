"""The DC network: nodal analysis, with a damped Newton iteration for what is not linear. It knows no board.

Kirchhoff's current law is written at every node but the reference: currents that leave through resistors and loads,
less what sources bring, are zero. Capacitors take part through the increments that `transient` passes in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from simulated_instruments.board.elements import Element, slopes
from simulated_instruments.board.loads import Array, load_currents, load_slopes
from simulated_instruments.board.sources import LimitedSource

LEAK = 1e-12  # S from every node to the reference: keeps a node that nothing reaches from being undefined
TOLERANCE = 1e-10  # A; the largest current that may go missing at any node …
ROUNDING = 8.0 * float(np.finfo(np.float64).eps)  # … beside what a double cannot hold where conductances are huge
ROUNDS = 200
PATIENCE = 4
STUCK = 40  # rounds after which the slopes are made anew each time, and a nanoamp may go missing
SWIFT = 0.01  # an old set of slopes is good enough while a step leaves less than this share of the squared currents


@dataclass(frozen=True)
class TwoEnded:
    """A resistor (`value` in Ω) or capacitor (`value` in F) between two nodes."""

    name: str
    plus: str
    minus: str
    value: float


@dataclass(frozen=True)
class Load:
    """A block of chips from node `plus` to node `minus` that takes `amps` at `nominal` volts."""

    name: str
    plus: str
    minus: str
    amps: float
    nominal: float


@dataclass(frozen=True)
class Flow:
    """The current `amps` that flows from node `plus` to node `minus` inside one element."""

    name: str
    plus: str
    minus: str
    amps: float


class Network:
    """Elements between named nodes; the reference node is 0 V.

    Volts are arrays with one element a node and a last one, always 0, for the reference. An open resistor has
    `float("inf")` ohms; resistors can be changed with `set_ohms`, loads with `scale` (one factor a load).
    """

    def __init__(
        self,
        reference: str,
        resistors: Sequence[TwoEnded],
        capacitors: Sequence[TwoEnded],
        loads: Sequence[Load],
        sources: Sequence[LimitedSource],
        elements: Sequence[Element] = (),
    ) -> None:
        self.elements = tuple(elements)
        self.resistors, self.capacitors = tuple(resistors), tuple(capacitors)
        self.loads, self.sources = tuple(loads), tuple(sources)
        two_ended: list[TwoEnded | Load | LimitedSource] = [*resistors, *capacitors, *loads, *sources]
        ends = [end for one in two_ended for end in (one.plus, one.minus)]
        ends += [node for one in self.elements for node in one.nodes]
        names = [name for name in dict.fromkeys(ends) if name != reference]
        self.size = len(names)
        self.index: dict[str, int] = {name: place for place, name in enumerate(names)} | {reference: self.size}
        self.reference = reference
        self.scale: Array = np.ones(len(self.loads))
        self._load_amps = np.array([load.amps for load in loads], dtype=np.float64)
        self._load_nominal = np.array([load.nominal for load in loads], dtype=np.float64)
        self.load_ends = self._incidence(loads)
        self._resistor_ends = self._incidence(resistors)
        self._siemens = np.array([conductance(element.value) for element in resistors], dtype=np.float64)
        self._place = {element.name: place for place, element in enumerate(resistors)}
        capacitor_ends = self._incidence(capacitors)
        farads = np.array([element.value for element in capacitors], dtype=np.float64)
        self.capacitance: Array = capacitor_ends.T @ (capacitor_ends * farads[:, None])
        self._ends = [(self.index[source.plus], self.index[source.minus]) for source in sources]
        self._element_places = [np.array([self.index[node] for node in one.nodes]) for one in self.elements]
        self._stamp()

    def _incidence(self, elements: Sequence[TwoEnded | Load | LimitedSource]) -> Array:
        """+1 at an element's `plus` node and −1 at its `minus`; one row an element, the reference left out."""
        matrix = np.zeros((len(elements), self.size + 1))
        for row, element in enumerate(elements):
            matrix[row, self.index[element.plus]] += 1.0
            matrix[row, self.index[element.minus]] -= 1.0
        return matrix[:, : self.size]

    def _stamp(self) -> None:
        ends = self._resistor_ends
        self._linear = ends.T @ (ends * self._siemens[:, None]) + LEAK * np.eye(self.size)
        self._stiffness, self._steep = 0.0, self._linear
        self._steepest = float(self._linear.diagonal().max(initial=0.0))
        self._offset: Array = np.zeros(self.size)
        self._inverse: Array | None = None

    def set_ohms(self, changes: Mapping[str, float]) -> None:
        """Change resistors by name; `inf` opens one."""
        for name, ohms in changes.items():
            self._siemens[self._place[name]] = conductance(ohms)
        self._stamp()

    def across_loads(self, volts: Array) -> Array:
        """Volts across each load."""
        across: Array = self.load_ends @ volts[: self.size]
        return across

    def source_across(self, place: int, volts: Array) -> float:
        """Volts across the source at `place` in `sources`."""
        plus, minus = self._ends[place]
        return float(volts[plus] - volts[minus])

    def source_amps(self, time: float, volts: Array) -> Array:
        """Current out of each source."""
        pairs = enumerate(self.sources)
        return np.array([source.amps(time, self.source_across(place, volts)) for place, source in pairs])

    def solve(self, time: float, guess: Array, stiffness: float = 0.0, held: Array | None = None) -> Array:
        """Volts at which every node's currents cancel within `TOLERANCE` (and rounding), starting from `guess`.

        `stiffness` (1/s) and `held` (V, size) add the capacitors' currents in a time step, C·stiffness·(v − held).
        Raises `ArithmeticError` if the iteration does not end, which means a circuit that has no solution.
        """
        if stiffness != self._stiffness:
            self._stiffness, self._inverse = stiffness, None
            self._steep = self._linear + self.capacitance * stiffness
            self._steepest = float(self._steep.diagonal().max(initial=0.0))
        self._offset = stiffness * (self.capacitance @ held) if held is not None else np.zeros(self.size)
        volts = guess.copy()
        missing = self._missing(time, volts)
        steepest = max([self._steepest, *(1.0 / source.ohms for source in self.sources)])
        for turn in range(1, ROUNDS):
            tolerance = max(TOLERANCE, ROUNDING * steepest * float(np.abs(volts).max()))
            if turn > STUCK:
                # Old slopes that go nowhere any more, or rounding that is worse than foreseen: both cost a nanoamp.
                self._inverse, tolerance = None, 30.0 * tolerance
            solved = float(np.abs(missing).max(initial=0.0)) < tolerance
            # Modes are looked at when the rest is solved, since a guess a millivolt off would flip them for nothing;
            # and now and then, because a current into an open circuit solves to no voltage a double can hold.
            if (solved or turn % PATIENCE == 0) and self._settle_modes(time, volts):
                self._inverse = None
                missing = self._missing(time, volts)
            elif solved:
                return volts
            volts, missing = self._improve(time, volts, missing)
        raise ArithmeticError(f"the circuit has no operating point that can be found at {time:.6f} s")

    def _settle_modes(self, time: float, volts: Array) -> bool:
        moved = False
        for place, source in enumerate(self.sources):
            if source.connected:
                moved |= source.settle_mode(time, self.source_across(place, volts))
        return moved

    def _improve(self, time: float, volts: Array, missing: Array) -> tuple[Array, Array]:
        """One Newton step: with the slopes of an earlier solution while that goes well, else with new ones, damped."""
        before = float(missing @ missing)
        if self._inverse is not None:
            trial, left = self._step(time, volts, self._inverse @ missing)
            if float(left @ left) < SWIFT * before:
                return trial, left
        inverse: Array = np.linalg.inv(self._jacobian(volts)).astype(np.float64, copy=False)
        self._inverse, step = inverse, inverse @ missing
        while True:
            trial, left = self._step(time, volts, step)
            if float(left @ left) < before or float(np.abs(step).max()) < 1e-9:
                return trial, left
            step = step / 2.0

    def _step(self, time: float, volts: Array, step: Array) -> tuple[Array, Array]:
        trial = volts.copy()
        trial[: self.size] -= step
        return trial, self._missing(time, trial)

    def _missing(self, time: float, volts: Array) -> Array:
        """Current missing at each node (A, positive = too much leaves)."""
        inner = volts[: self.size]
        missing: Array = self._steep @ inner - self._offset
        if self.loads:
            amps = load_currents(self.load_ends @ inner, self._load_amps * self.scale, self._load_nominal)
            missing += amps @ self.load_ends
        for place, source in enumerate(self.sources):
            if source.connected:
                amps_out = source.amps(time, self.source_across(place, volts))
                for node, sign in zip(self._ends[place], (-1.0, 1.0), strict=True):
                    if node != self.size:
                        missing[node] += sign * amps_out
        if self.elements:
            for element, places in zip(self.elements, self._element_places, strict=True):
                for node, amps_in in zip(places.tolist(), element.amps(volts[places]).tolist(), strict=True):
                    if node != self.size:
                        missing[node] += amps_in
        return missing

    def _jacobian(self, volts: Array) -> Array:
        """Derivative of `_missing` by the node volts."""
        jacobian = self._steep.copy()
        across = self.load_ends @ volts[: self.size]
        steepness = load_slopes(across, self._load_amps * self.scale, self._load_nominal)
        jacobian += self.load_ends.T @ (self.load_ends * steepness[:, None])
        for source, (plus, minus) in zip(self.sources, self._ends, strict=True):
            if (slope := source.slope()) != 0.0:
                self._add(jacobian, (plus, minus), np.array([[slope, -slope], [-slope, slope]]))
        if self.elements:
            whole = np.zeros((self.size, self.size))
            for element, places in zip(self.elements, self._element_places, strict=True):
                self._add(whole, places.tolist(), slopes(element, volts[places]))
            jacobian += whole
        return jacobian

    def _add(self, matrix: Array, places: Sequence[int], block: Array) -> None:
        """Add `block` to the rows and columns `places` of a matrix without the reference."""
        for row, values in zip(places, block.tolist(), strict=True):
            for column, value in zip(places, values, strict=True):
                if row != self.size and column != self.size:
                    matrix[row, column] += value

    def flows(self, time: float, volts: Array) -> list[Flow]:
        """The current through every element but the capacitors, leaks included, for checking Kirchhoff's law."""
        inner = volts[: self.size]
        found = []
        for element, siemens, across in zip(self.resistors, self._siemens, self._resistor_ends @ inner, strict=True):
            found.append(Flow(element.name, element.plus, element.minus, float(siemens * across)))
        currents = load_currents(self.load_ends @ inner, self._load_amps * self.scale, self._load_nominal)
        found += [
            Flow(load.name, load.plus, load.minus, float(amps)) for load, amps in zip(self.loads, currents, strict=True)
        ]
        for source, amps in zip(self.sources, self.source_amps(time, volts), strict=True):
            found.append(Flow(source.name, source.minus, source.plus, float(amps)))
        for one, places in zip(self.elements, self._element_places, strict=True):
            for node, amps in zip(one.nodes, one.amps(volts[places]), strict=True):
                found.append(Flow(f"{one.name} at {node}", node, self.reference, float(amps)))
        leaks = [(name, float(volts[place]) * LEAK) for name, place in self.index.items() if place != self.size]
        return found + [Flow(f"leak of {name}", name, self.reference, amps) for name, amps in leaks]


def conductance(ohms: float) -> float:
    """Siemens of a resistance in Ω; an infinite one conducts nothing."""
    return 0.0 if ohms == float("inf") else 1.0 / ohms
