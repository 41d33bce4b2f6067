"""Every node and net of a board as a waveform over its whole recent past: supply nodes from the network, nets from the
logic.

It strings the stages of `activity` together by what the parts' rails did, and lets each net's volts follow the rail of
the part that drives it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from simulated_instruments.board.activity import Activity, Stage
from simulated_instruments.board.assembly import drawing
from simulated_instruments.board.board import Board
from simulated_instruments.board.circuit import net_of
from simulated_instruments.board.levels import REFERENCE
from simulated_instruments.board.palettes import touching
from simulated_instruments.board.ripple import Ripple, Switching
from simulated_instruments.board.source_ohms import bridge_ohms, source_ohms, undriven_ohms
from simulated_instruments.board.states import Epoch
from simulated_instruments.board.transient import Moment
from simulated_instruments.board.video import NETS
from simulated_instruments.board.waveform import (
    Array,
    Deferred,
    Extremes,
    Joined,
    Scaled,
    Waveform,
    sampled_extremes,
    search,
)

# What a converter's own ripple (at its high output) is at its other ends.
CONVERTER_SHARES = {"plus": 1.0, "minus": 0.6, "in": 0.5}
# The levels of `levels` hold at this share of a rail's nominal volts.
AT_SHARE = REFERENCE / 5.0
# Ripple at the worst place of a healthy board and its spread, and of one whose bulk capacitor is open (V peak to peak).
HEALTHY_RIPPLE, RIPPLE_SPREAD = 25e-3, 0.3
OPEN_RIPPLE = (0.15, 0.40)
NEAREST = 0.25  # share of the ripple at the inlet, where the supply holds the rail
LOOKS = 1009  # times in an interval at which a net's driver is looked at; a prime, since nets repeat evenly
GROUND_SHARE = 0.3  # share in the ground, which is a mesh


class BoardNets:
    """Waveforms of one board, valid up to the time of the last question put to it."""

    def __init__(self, board: Board, activity: Activity | None) -> None:
        self.board, self._activity = board, activity
        circuit, tolerance = board.circuit, board.assembly.tolerance
        self.nets = frozenset(circuit.logic_points().values())
        self._places = {part.name: place for place, part in enumerate(drawing(circuit))}
        self._rippling = self._own_ripples()
        self._grid: tuple[Moment, Moment, Array, Array] | None = None  # the history as arrays, with its two ends
        self._across: dict[tuple[int, int], Array] = {}  # from that, volts between two nodes
        self._epochs: list[Epoch] = []
        self._cut: list[Stage] = []  # the stages of these epochs
        self._ripple = Ripple(self._ripple_volts(), *self._rhythm(), tolerance.generator("ripple"))

    @property
    def activity(self) -> Activity:
        """What the nets do: the board makes another one when a part dies on the bench.

        `ValueError` for a circuit that has no logic, whose nets nobody can ask for.
        """
        found = self.board.activity or self._activity
        if found is None:
            raise ValueError(f"{self.board.circuit.name} has no logic")
        return found

    def _ripple_volts(self) -> float:
        if self._activity is None:
            return 0.0
        tolerance = self.board.assembly.tolerance
        if self.board.assembly.condition.bulk_open:
            return math.exp(tolerance.uniform("open ripple", math.log(OPEN_RIPPLE[0]), math.log(OPEN_RIPPLE[1])))
        return HEALTHY_RIPPLE * tolerance.factor("ripple", RIPPLE_SPREAD)

    def _rhythm(self) -> tuple[float, float]:
        """Seconds of a line and of a field."""
        if self._activity is None:
            return 1.0, 1.0  # of a ripple of no volts
        timing, clocks = self.activity.signals.video, self.activity.clocks
        hertz = clocks.master / self.activity.signals.ratio(timing.clock)
        return timing.line / hertz, timing.field / hertz

    def net(self, net: str, until: float) -> Waveform:
        """The volts of `net` against the reference, up to `until` (s), which must not lie before the last change."""
        return self._followed(self.activity.driver(net), net, until, lambda stage: self.activity.wave(net, stage))

    def _followed(self, part: str, net: str, until: float, wave: Callable[[Stage], Waveform]) -> Waveform:
        """`wave` of `net` stage by stage, in proportion to the rail of `part`."""
        self.board.moment(until)
        stages = self._stages()
        waves = [Deferred(partial(self._staged, wave, net, stage)) for stage in stages]
        logic = Joined([stage.start for stage in stages], waves)
        drawer = part if part in self._places else self.activity.driver(net)
        times, volts = self._rail(drawer, until)
        nominal = self.board.circuit.rails[self.board.circuit.parts[drawer].rail or ""].nominal
        return Scaled(logic, times, np.maximum(volts, 0.0) / (AT_SHARE * nominal))

    def _stages(self) -> list[Stage]:
        """The stages so far."""
        epochs = self.board.states.epochs
        if self._epochs != epochs:
            self._epochs, self._cut = list(epochs), stages_of(epochs)
        return self._cut

    def _staged(self, wave: Callable[[Stage], Waveform], net: str, stage: Stage) -> Waveform:
        return wave(self._relevant(net, stage))

    def point(self, point: str, net: str, until: float) -> Waveform:
        """The volts at a leg: those of its net, unless a break between leg and track keeps them apart."""
        part = point.partition(".")[0]
        if self.board.assembly.condition.cut.get((part, net), True):
            return self.net(net, until)
        return self.leg(part, net, until)

    def leg(self, part: str, net: str, until: float) -> Waveform:
        """The volts at the leg of `part` itself: those of its net, unless a break or a bad contact lies between."""
        if (part, net) not in self.board.assembly.condition.cut:
            return self.net(net, until)
        return self._followed(part, net, until, lambda stage: self.activity.leg(part, net, stage))

    def source_ohms(self, net: str, start: float, stop: float) -> float:
        """Mean resistance (Ω) over [start, stop] of what holds `net`, as a small current driven into it feels it."""
        self.board.moment(stop)
        stage = [stage for stage in self._stages() if stage.start <= stop][-1]
        tolerance = self.board.assembly.tolerance
        if self.activity.driver(net) not in stage.powered:
            return undriven_ohms(tolerance, net)
        volts = self.activity.wave(net, self._relevant(net, stage)).samples(np.linspace(start, stop, LOOKS))
        return float(source_ohms(tolerance, net, self.activity.palettes.of(net), volts).mean())

    def ohms_between(self, net: str, other: str, start: float, stop: float) -> float:
        """Mean resistance (Ω) over [start, stop] from one net to another, as a small current sent through both feels
        it: what holds each of them, and beside that the bridge where they touch."""
        if net == other:
            return 0.0
        apart = self.source_ohms(net, start, stop) + self.source_ohms(other, start, stop)
        assembly = self.board.assembly
        joined = touching(assembly.condition.wrong)
        lower = next((low for up, low in joined.items() if {up, low} == {net, other}), None)
        if lower is None:
            return apart
        bridge = bridge_ohms(assembly.tolerance, lower)
        return apart * bridge / (apart + bridge)

    def _relevant(self, net: str, stage: Stage) -> Stage:
        """`stage` without what makes no difference to `net`, so that equal stages share one waveform."""
        matters = {self.activity.driver(net), self.activity.by_kind["cpu"]}
        cleared = stage.cleared and net in NETS
        return replace(stage, start=0.0, powered=stage.powered & matters, cleared=cleared)

    def _rail(self, part: str, until: float) -> tuple[Array, Array]:
        """Volts across the supply pins of `part`, at the grid points of the network up to `until`."""
        load = self.board.network.loads[self._places[part]]
        return self._between(load.plus, load.minus, until)

    def _between(self, plus: str, minus: str, until: float) -> tuple[Array, Array]:
        """Grid points in time up to `until`, and the volts from `plus` to `minus` at each."""
        last = self.board.moment(until)  # first, since it takes the history up to there
        history = self.board.transient.history
        if self._grid is None or self._grid[0] is not history[0] or self._grid[1] is not history[-1]:
            times = np.array([one.time for one in history])
            self._grid = history[0], history[-1], times, np.array([one.volts for one in history])
            self._across = {}
        _, _, times, volts = self._grid
        ends = self.board.network.index[plus], self.board.network.index[minus]
        if ends not in self._across:
            self._across[ends] = volts[:, ends[0]] - volts[:, ends[1]]
        now = float(last.volts[ends[0]] - last.volts[ends[1]])
        return np.append(times, last.time), np.append(self._across[ends], now)

    def node(self, node: str, until: float) -> Waveform:
        """The volts of a supply node against the reference, with the ripple of the board's own load."""
        times, own = self._between(node, self.board.network.reference, until)
        rail = self._rail_of(node)
        if rail is not None and rail in self._rippling:
            return SupplyNode(times, own, self._rippling[rail], 1.0)
        return SupplyNode(times, own, self._ripple, self._ripple_share(node, self.board.moment(until).volts))

    def _rail_of(self, node: str) -> str | None:
        """The rail that `node` is on, None for ground."""
        rails = self.board.circuit.rails
        return next((name for name in rails if node.startswith(f"{name}.")), None) or self._supplied_by(node)

    def _own_ripples(self) -> dict[str, Ripple | Switching]:
        """Rails with a ripple of their own: those a converter makes and takes from, and those whose capacitor is
        gone."""
        assembly = self.board.assembly
        found: dict[str, Ripple | Switching] = {}
        for drawn in assembly.soldered:
            if drawn.kind == "converter":
                for node, share in CONVERTER_SHARES.items():
                    rail = net_of(drawn.nodes[node])
                    volts = share * drawn.figures["ripple"] * assembly.tolerance.factor(f"ripple {rail}", 0.1)
                    volts = assembly.condition.ripple_rails.get(rail, volts)
                    found[rail] = Switching(volts, drawn.figures["rate"])
        for rail, volts in assembly.condition.ripple_rails.items():
            if rail not in found:
                found[rail] = Ripple(volts, *self._rhythm(), assembly.tolerance.generator(f"ripple {rail}"))
        return found

    def across(self, node: str, other: str, until: float) -> Waveform:
        """The volts from one node to another, off the board, where its load makes no ripple."""
        return SupplyNode(*self._between(node, other, until), self._ripple, 0.0)

    def _ripple_share(self, node: str, volts: Array) -> float:
        """How much of the worst ripple shows at `node`: as the rail's own drop grows from the inlet outward."""
        network, circuit = self.board.network, self.board.circuit
        for rail in circuit.rails.values():
            if node.startswith(f"{rail.name}.") or self._supplied_by(node) == rail.name:
                inlet = float(volts[network.index[rail.inlet]])
                own = float(volts[network.index[node]])
                worst = min(
                    float(volts[network.index[one]]) for one in network.index if one.startswith(f"{rail.name}.")
                )
                if inlet - worst < 1e-3:
                    return NEAREST
                return NEAREST + (1.0 - NEAREST) * float(np.clip((inlet - own) / (inlet - worst), 0.0, 1.0))
        return 0.0 if node in (network.reference, *(rail.ground for rail in circuit.rails.values())) else GROUND_SHARE

    def _supplied_by(self, node: str) -> str | None:
        """The rail of the part whose supply pin is the node, None for any other node."""
        for part in self.board.circuit.parts.values():
            if part.supply and part.pins[part.supply] == node:
                return part.rail
        return None


class SupplyNode:
    """Volts of a supply node: straight lines between the network's grid points, and ripple in proportion to the
    rail."""

    def __init__(self, times: Array, volts: Array, ripple: Ripple | Switching, share: float) -> None:
        self.times, self.volts, self.ripple, self.share = times, volts, ripple, share

    def samples(self, times: Array) -> Array:
        volts = np.interp(times, self.times, self.volts)
        # The load that makes the ripple begins with the chips, somewhere below half the rail.
        alive = (
            np.clip((np.abs(volts) - 2.0) / 2.0, 0.0, 1.0)
            if self.share != GROUND_SHARE
            else np.clip(volts / 0.02, 0.0, 1.0)
        )
        found: Array = volts + self.share * alive * self.ripple.samples(times)
        return found

    def extremes(self, edges: Array) -> Extremes:
        return sampled_extremes(self, edges, count=4)  # its ripple is slow beside any interval asked for

    def crossing(self, level: float, rising: bool, start: float, stop: float) -> float | None:
        bounds = np.concatenate(([start], self.times[(self.times > start) & (self.times < stop)], [stop]))
        swing = self.share * self.ripple.whole
        for begin, end in zip(bounds[:-1].tolist(), bounds[1:].tolist(), strict=True):
            low, high = sorted(np.interp([begin, end], self.times, self.volts).tolist())
            if low - swing <= level <= high + swing:
                found = search(self, level, rising, begin, end)
                if found is not None:
                    return found
        return None


def stages_of(epochs: list[Epoch]) -> list[Stage]:
    """The stages of a board's life: an epoch cut where clock, reset, CPU and software come."""
    stages = []
    ends = [epoch.start for epoch in epochs[1:]] + [math.inf]
    for epoch, end in zip(epochs, ends, strict=True):
        moments = (epoch.clock, epoch.released, epoch.running, epoch.ready)
        cuts = {moment for moment in moments if moment is not None and epoch.start < moment < end}
        for start in [epoch.start, *sorted(cuts)]:
            clock, released, running, ready = (
                moment if moment is not None and moment <= start else None for moment in moments
            )
            stages.append(Stage(start, epoch.powered, clock, released is None, running, ready is not None))
    return stages
