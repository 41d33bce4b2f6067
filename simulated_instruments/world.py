"""One world: a board, the bench wired to it and the clock they share. It hands each device the terminals it sees.

It implements `devices.terminals` over the circuit; it speaks no SCPI and knows no device.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field

from autobench.clock import Clock
from simulated_instruments.benches.faults import BenchDamage
from simulated_instruments.benches.open_lead import OpenLead
from simulated_instruments.benches.truth import OutputChange, OutputTruth, Truth
from simulated_instruments.benches.wiring import SupplyWiring, Wiring
from simulated_instruments.board.assembly import Assembly
from simulated_instruments.board.board import Board
from simulated_instruments.board.board_nets import BoardNets
from simulated_instruments.board.network import TwoEnded
from simulated_instruments.board.sources import LimitedSource
from simulated_instruments.devices.terminals import OutputPoint, OutputSetting
from simulated_instruments.scope_probes import ScopeProbes

HIGH, LOW = "meter HI", "meter LO"
OPEN = float("inf")  # ohm
COMPLIANCE_OHMS = 1.0  # how softly the ohms source meets its compliance voltage
# Insulation of the leads, and the meter's own 10 MΩ, which is across them while it reads volts there: what keeps a lead
# that hangs in the air from holding a charge for ever.
LEAK_OHMS = 10e6
AT_LIMIT = 1e-6  # relative; how near its limit a current counts as limited


@dataclass
class Output:
    """One supply output: its setting, and its source in the network (or on nothing, when it feeds no rail)."""

    number: int
    source: LimitedSource
    feeds: bool
    setting: OutputSetting = field(default_factory=lambda: OutputSetting(False, 0.0, 0.0))


class World:
    """Board and bench under one clock, safe to call from several threads."""

    def __init__(self, assembly: Assembly, wiring: Wiring, fixture: str, clock: Clock, damage: BenchDamage) -> None:
        self.clock, self.wiring, self.damage = clock, wiring, damage
        self.lock = threading.RLock()
        self.changes: list[OutputChange] = []
        self._points = assembly.circuit.points()
        positions = wiring.fixtures.get(fixture, {})
        self._touched = {place: point for point, place in positions.items() if point in self._points}
        self._outputs = {number: output_of(number, wiring.supply, assembly) for number in wiring.supply.outputs}
        self._ohms_source = LimitedSource("ohms source", HIGH, LOW, COMPLIANCE_OHMS)
        self._drive = (0.0, 0.0)
        self._high: tuple[int, ...] = ()
        self._low: tuple[int, ...] = ()
        self._same_since = clock.now()
        self._stamped: dict[str, float] = dict.fromkeys((path.name for path in self._paths()), OPEN)
        self._open_lead = OpenLead(assembly.tolerance, wiring.line_hertz)
        fed = [output.source for output in self._outputs.values() if output.feeds]
        wires = [*self._leads(assembly), *self._paths()]
        self.board = Board(assembly, wires, [*fed, self._ohms_source], clock.now())
        self.nets = BoardNets(self.board, self.board.activity) if self.board.activity else None
        self.probes = ScopeProbes(self.nets, positions, wiring, clock, self.lock) if self.nets else None
        signals = assembly.circuit.logic_points()
        self._signals = {place: signals[point] for point, place in positions.items() if point in signals}
        self._high_signal: str | None = None
        self.relays(frozenset())

    # Wires

    def _leads(self, assembly: Assembly) -> list[TwoEnded]:
        """Two leads for each feed whose rail the board has, and what leaks between them."""
        wires = []
        for feed in self.wiring.supply.feeds:
            if feed.rail not in assembly.fed:
                continue
            rail, source = assembly.circuit.rails[feed.rail], self._outputs[feed.output].source
            # A negative rail is fed by an output wired the other way round.
            turned = self.damage.reversed_leads != (rail.nominal < 0.0)
            ends = (rail.ground, rail.inlet) if turned else (rail.inlet, rail.ground)
            for terminal, end in zip((source.plus, source.minus), ends, strict=True):
                wires.append(TwoEnded(f"lead from {terminal}", terminal, end, feed.lead_ohms))
            wires.append(TwoEnded(f"leak across {source.plus}", source.plus, source.minus, LEAK_OHMS))
        return wires

    def _paths(self) -> list[TwoEnded]:
        """Every path from a meter input to a point, open until the network needs it."""
        return [
            TwoEnded(path_name(end, position), end, self._points[point], OPEN)
            for end in (HIGH, LOW)
            for position, point in self._touched.items()
        ]

    # Supply

    def apply(self, number: int, setting: OutputSetting) -> None:
        """One output's setting changes now."""
        with self.lock:
            output, now = self._outputs[number], self.clock.now()
            if setting == output.setting:
                return
            was, output.setting = output.setting, setting
            self.changes.append(OutputChange(now, number, setting.on, setting.volts, setting.amps))
            if not (was.on or setting.on):
                return
            if output.feeds:
                self.board.change(now)
                output.source.connect(now, setting.on)
                output.source.set(now, setting.volts, setting.amps)
                self.board.changed()
            else:
                # Nothing hangs on it: only its own voltage goes up and down.
                target, supply = setting.volts if setting.on else 0.0, self.wiring.supply
                rising = target >= output.source.open_volts(now)
                output.source.set(now, target, setting.amps, supply.rise if rising else supply.fall)

    def point(self, number: int) -> OutputPoint:
        """The operating point of one output now."""
        with self.lock:
            output, now = self._outputs[number], self.clock.now()
            if not output.feeds:
                return OutputPoint(output.source.open_volts(now), 0.0, False)
            volts = self.board.volts(now, output.source.plus, output.source.minus)
            if not output.setting.on:
                return OutputPoint(volts, 0.0, False)
            amps = self.board.amps(now, output.source)
            return OutputPoint(volts, amps, amps >= output.setting.amps * (1.0 - AT_LIMIT))

    # Relays and meter

    def relays(self, told: frozenset[int]) -> None:
        """The relays are told now that exactly these channels should be closed."""
        with self.lock:
            closed = (told - self.damage.stuck_open) | self.damage.stuck_closed
            if self.probes:
                self.probes.moved(self.clock.now(), closed)
            self._high_signal = self._signal(closed, self.wiring.routes.high)
            high, low = (self._reached(closed, slot) for slot in (self.wiring.routes.high, self.wiring.routes.low))
            if (high, low) == (self._high, self._low):
                return
            now = self.clock.now()
            if self._high and self._low:
                self._open_lead.let_go(now, self._across(now, now))
            self._high, self._low, self._same_since = high, low, now
            self._rewire(now)

    def _reached(self, closed: frozenset[int], slot: int) -> tuple[int, ...]:
        positions = {channel % 100 for channel in closed if channel // 100 == slot}
        return tuple(sorted(positions & self._touched.keys()))

    def _signal(self, closed: frozenset[int], slot: int) -> str | None:
        """The net a meter input touches, if it touches one that carries signals."""
        places = sorted(channel % 100 for channel in closed if channel // 100 == slot)
        return next((self._signals[place] for place in places if place in self._signals), None)

    def drive(self, amps: float, compliance: float) -> None:
        """The meter's ohms source is set now."""
        with self.lock:
            if (amps, compliance) != self._drive:
                self._drive = (amps, compliance)
                self._rewire(self.clock.now())

    def _rewire(self, now: float) -> None:
        """Put paths and ohms source into the network where they carry current, and only there.

        A voltmeter on one pin draws nothing, so closing its relay is no change of the circuit.
        """
        amps, compliance = self._drive
        driving = amps > 0.0 and bool(self._high) and bool(self._low)
        wanted = dict.fromkeys(self._stamped, OPEN)
        for end, positions in ((HIGH, self._high), (LOW, self._low)):
            if driving or len(positions) > 1:
                wanted |= {path_name(end, position): self.wiring.routes.path_ohms for position in positions}
        source = self._ohms_source
        setting = (driving, compliance, amps) if driving else (False, source.target, source.limit)
        if wanted == self._stamped and setting == (source.connected, source.target, source.limit):
            return
        self.board.change(now, {name: ohms for name, ohms in wanted.items() if ohms != self._stamped[name]})
        source.connect(now, driving)
        source.set(now, setting[1], setting[2])
        self._stamped, self._same_since = wanted, now
        self.board.changed()

    def _node(self, end: str, positions: tuple[int, ...]) -> str:
        """The node a meter input is at: its own where a path carries current, else the point it touches."""
        if len(positions) > 1 or self._ohms_source.connected:
            return end
        return self._points[self._touched[positions[0]]]

    def _across(self, start: float, stop: float) -> float:
        return self.board.transient.average(self._node(HIGH, self._high), self._node(LOW, self._low), start, stop)

    def meter_volts(self, input_ohms: float, aperture: float) -> float:
        """Mean volts HI to LO over the `aperture` seconds that end now."""
        with self.lock:
            now = self.clock.now()
            if self._high_signal and self._low and self.probes:
                low = self.board.volts(now, self._node(LOW, self._low), self.board.circuit.reference)
                return self.probes.mean(self._high_signal, now - aperture, now) - low
            if self._high and self._low:
                path = self.wiring.routes.path_ohms * (1.0 / len(self._high) + 1.0 / len(self._low))
                return self._across(max(self._same_since, now - aperture), now) * input_ohms / (input_ohms + path)
            if self._drive[0] > 0.0:
                return self._drive[1]
            return self._open_lead.volts(input_ohms, now - aperture, now)

    def meter_key(self) -> str:
        """Names what the meter is connected to."""
        with self.lock:
            ends = ["+".join(self._touched[place] for place in end) or "open" for end in (self._high, self._low)]
            if self._high_signal and not self._high:
                ends[0] = self._high_signal
            return " to ".join(ends)

    # Truth

    def truth(self) -> Truth:
        """Everything, now."""
        with self.lock:
            now = self.clock.now()
            outputs = {number: self._output_truth(number) for number in self._outputs}
            volts = self.board.moment(now).volts
            nodes = {name: float(volts[place]) for name, place in self.board.network.index.items()}
            return Truth(
                time=now,
                outputs=outputs,
                most_volts=self.board.most(now),
                changes=tuple(self.changes),
                nodes=nodes,
                points=self._points,
                state=self.board.state(now),
            )

    def _output_truth(self, number: int) -> OutputTruth:
        point, setting = self.point(number), self._outputs[number].setting
        return OutputTruth(number, setting.on, point.volts, point.amps, point.limiting, setting.volts, setting.amps)


class SupplySockets:
    """`SupplyTerminals` of one supply."""

    def __init__(self, world: World) -> None:
        self._world = world

    def apply(self, output: int, setting: OutputSetting) -> None:
        self._world.apply(output, setting)

    def point(self, output: int) -> OutputPoint:
        return self._world.point(output)


class MeterSockets:
    """`MeterTerminals` of one meter."""

    def __init__(self, world: World) -> None:
        self._world = world

    def drive(self, amps: float, compliance_volts: float) -> None:
        self._world.drive(amps, compliance_volts)

    def volts(self, input_ohms: float, aperture: float) -> float:
        return self._world.meter_volts(input_ohms, aperture)

    def key(self) -> str:
        return self._world.meter_key()


class RelayContacts:
    """`RelayTerminals` of one relay multiplexer."""

    def __init__(self, world: World) -> None:
        self._world = world

    def closed(self, channels: frozenset[int]) -> None:
        self._world.relays(channels)


def output_of(number: int, supply: SupplyWiring, assembly: Assembly) -> Output:
    """Output `number`, off; it feeds something if the wiring leads it to a rail this board has."""
    feeds = any(feed.output == number and feed.rail in assembly.fed for feed in supply.feeds)
    source = LimitedSource(f"output {number}", f"output {number} +", f"output {number} -", supply.ohms, supply.rise)
    return Output(number, source, feeds)


def path_name(end: str, position: int) -> str:
    """The name of the path from a meter input to a position."""
    return f"{end} to {position}"
