"""One world: a board, the bench wired to it and the clock they share. It hands each device the terminals it sees.

It implements `devices.terminals` over the circuit; it speaks no SCPI and knows no device. Which input touches which
point is one state here; relays and a person's hand are two ways of changing it.
"""

from __future__ import annotations

import math
import threading

from autobench.clock import Clock
from autobench.errors import UsageError
from simulated_instruments.benches.agenda import Agenda
from simulated_instruments.benches.faults import BenchDamage
from simulated_instruments.benches.mains_hum import MainsHum
from simulated_instruments.benches.open_lead import OpenLead
from simulated_instruments.benches.plate import Plate
from simulated_instruments.benches.touches import METER_HIGH, METER_LOW, TIPS, Touches, counter_input, leg_of
from simulated_instruments.benches.truth import OutputChange, Truth
from simulated_instruments.benches.wiring import Wiring
from simulated_instruments.board.assembly import Assembly
from simulated_instruments.board.board import Board
from simulated_instruments.board.board_nets import BoardNets
from simulated_instruments.devices.terminals import OutputPoint, OutputSetting
from simulated_instruments.meter_leads import MeterLeads
from simulated_instruments.scope_probes import ScopeProbes
from simulated_instruments.supply_leads import SupplyLeads

DEAD_VOLTS = 0.5  # V; below it no part of the board is powered


class World:
    """Board and bench under one clock, safe to call from several threads.

    `agenda` holds what is going to happen by itself; whatever is asked, what is due by then is done first.
    """

    def __init__(self, assembly: Assembly, wiring: Wiring, fixture: str, clock: Clock, damage: BenchDamage) -> None:
        self.clock, self.wiring, self.damage = clock, wiring, damage
        self.lock = threading.RLock()
        self.agenda = Agenda()
        self._acting: float | None = None
        circuit, self._tolerance = assembly.circuit, assembly.tolerance
        self._circuit = circuit
        positions = wiring.fixtures.get(fixture, {})
        self._plate = Plate(wiring.routes, positions, damage) if wiring.routes else None
        self.supply = SupplyLeads(wiring.supply, assembly, damage)
        self._points = circuit.points() | self.supply.ends
        self._by_relays: Touches = {}
        self._by_hand: Touches = {}
        self._most: dict[str, float] = {}
        self._meter = self._meter_leads(clock.now())
        self._solder(assembly, clock.now())
        loose = {channel: self._hum(volts) for channel, volts in damage.loose_hum.items()}
        probed = (wiring.line_hertz, loose, self.now, self.lock, self._other_end)
        self.probes = ScopeProbes(self.nets, *probed, damage.long_grounds)
        self._meter.probes = self.probes
        # The counter's inputs have dividers at their pins like the scope's, and nothing there is loose or long.
        apart = (self.now, self.lock, self._other_end)
        self.counted = ScopeProbes(self.nets, wiring.line_hertz, {}, *apart, {}, counter_input)
        self.relays(frozenset())

    def _meter_leads(self, now: float) -> MeterLeads:
        circuit = self._circuit
        signals = {**circuit.logic_points(), **{leg_of(point): leg_of(point) for point in circuit.logic_points()}}
        return MeterLeads(
            self._within_reach(),
            signals,
            self.wiring.path_ohms,
            OpenLead(self._tolerance, self.wiring.line_hertz),
            self._hum(self.damage.leads_hum),
            self._apart,
            now,
        )

    def _solder(self, assembly: Assembly, now: float) -> None:
        """Board and wires become one network."""
        wires = [*self.supply.wires(), *self._meter.paths()]
        self.board = Board(assembly, wires, [*self.supply.sources, self._meter.source], now)
        self.nets = BoardNets(self.board, self.board.activity)
        self.supply.board = self._meter.board = self.board

    def rework(self, assembly: Assembly) -> None:
        """The board on the bench is now `assembly`: the same specimen, with hands on it since. Raises `UsageError`
        while any rail has volts."""
        with self.lock:
            now = self.now()
            if not self.dead(now):
                raise UsageError("the board is live: nobody puts hands on it")
            self._most = self.board.most(now)
            supply, meter = self.supply, self._meter
            self.supply = SupplyLeads(self.wiring.supply, assembly, self.damage)
            self._meter = self._meter_leads(now)
            self._solder(assembly, now)
            self.supply.take_over(supply, now)
            self._meter.probes = self.probes
            self.probes.reworked(self.nets)
            self.counted.reworked(self.nets)
            self._meter.drive(now, *meter.driven)
            self._retouch()

    def temper(self, part: str, how: str, time: float) -> None:
        """One part is cold (`cool`) or warm (`warm`) at `time` (s)."""
        self.board.change(time)
        self.board.local.temper(part, how, time)
        self.board.changed()

    def dead(self, now: float) -> bool:
        """Whether no rail has volts."""
        rails = self._circuit.rails.values()
        return all(abs(self.board.volts(now, rail.inlet, rail.ground)) < DEAD_VOLTS for rail in rails)

    def _other_end(self, point: str) -> str | None:
        return self.supply.other_end(point)

    def _within_reach(self) -> dict[str, str]:
        """The points on supply nodes that the meter can be brought to, with their nodes."""
        if self.wiring.hand is not None:
            return self._points | {TIPS: TIPS}
        if self._plate is None:
            return {}
        return {point: self._points[point] for point in self._plate.points if point in self._points}

    def _hum(self, volts: float) -> MainsHum:
        """Hum of this bench: all of it comes from one mains."""
        return MainsHum(self.wiring.line_hertz, volts, self._tolerance.uniform("mains phase", 0.0, 2.0 * math.pi))

    def _apart(self, point: str) -> str | None:
        return TIPS if point == TIPS else self.supply.apart(point)

    def forget(self) -> None:
        """Drop what is kept for quick answers; whatever is asked later is worked out anew."""
        with self.lock:
            self.probes.forget()
            if self.board.activity is not None:
                self.board.activity.forget()

    # Time

    def now(self) -> float:
        """The clock's time (s), with everything done that is due by then; while something is done, the time of that."""
        with self.lock:
            if self._acting is not None:
                return self._acting
            now = self.clock.now()
            for due, deed in self.agenda.due(now):
                # On a clock that does not wait the grid may have got past the time it was due at.
                self._acting = max(due, self.board.transient.last.time)
                try:
                    deed(self._acting)
                finally:
                    self._acting = None
            return now

    # What touches what

    @property
    def touchable(self) -> list[str]:
        """Every point that a hand can bring a tip to."""
        signals = [point for point in self._circuit.logic_points() if point not in self._points]
        legs = (leg_of(point) for point in signals)
        return [*self._points, *signals, *legs, *sorted(self.damage.missing_points)]

    def relays(self, told: frozenset[int]) -> None:
        """The relays are told now that exactly these channels should be closed."""
        if self._plate is not None:
            with self.lock:
                self._by_relays = self._plate.touches(told)
                self._retouch()

    def touch(self, touches: Touches) -> None:
        """From now on the tips in the hand touch these points and no others."""
        with self.lock:
            self._by_hand = touches
            self._retouch()

    def _retouch(self) -> None:
        """Relays and tips in the hand hang on the same inputs: each touches what either of them brings to it."""
        with self.lock:
            now = self.now()
            names = dict.fromkeys([*self._by_relays, *self._by_hand])
            touches = {name: (*self._by_relays.get(name, ()), *self._by_hand.get(name, ())) for name in names}
            really = {name: tuple(map(self.supply.really, points)) for name, points in touches.items()}
            self.probes.moved(now, really)
            self.counted.moved(now, really)
            self._meter.touch(now, really.get(METER_HIGH, ()), really.get(METER_LOW, ()))

    # Supply

    @property
    def changes(self) -> list[OutputChange]:
        """Every setting of an output so far."""
        return self.supply.changes

    def apply(self, number: int, setting: OutputSetting) -> None:
        """One output's setting changes now."""
        with self.lock:
            self.supply.apply(self.now(), number, setting)

    def point(self, number: int) -> OutputPoint:
        """The operating point of one output now."""
        with self.lock:
            return self.supply.point(self.now(), number)

    def plug(self, rail: str, connected: bool) -> None:
        """The plug of a rail's leads goes in or out now, with the tips that are on it."""
        with self.lock:
            self.supply.plug(self.now(), rail, connected)
            self._retouch()

    def load(self, rail: str, ohms: float | None) -> None:
        """A dummy load goes across a rail's leads now, or comes off."""
        with self.lock:
            self.supply.load(self.now(), rail, ohms)

    # Meter

    def drive(self, amps: float, compliance: float) -> None:
        """The meter's ohms source is set now."""
        with self.lock:
            self._meter.drive(self.now(), amps, compliance)

    def meter_volts(self, input_ohms: float, aperture: float) -> float:
        """Mean volts HI to LO over the `aperture` seconds that end now."""
        with self.lock:
            return self._meter.volts(self.now(), input_ohms, aperture)

    def meter_key(self) -> str:
        """Names what the meter is connected to."""
        with self.lock:
            self.now()
            return self._meter.key()

    # Truth

    def truth(self) -> Truth:
        """Everything, now."""
        with self.lock:
            now = self.now()
            outputs = self.supply.truth(now)
            volts = self.board.moment(now).volts
            nodes = {name: float(volts[place]) for name, place in self.board.network.index.items()}
            really = {point: self._points[self.supply.really(point)] for point in self._points}
            return Truth(
                time=now,
                outputs=outputs,
                most_volts=self._most_volts(now),
                changes=tuple(self.changes),
                nodes=nodes,
                points=really,
                state=self.board.state(now),
            )

    def _most_volts(self, now: float) -> dict[str, float]:
        """The highest volts ever at each rail's inlet, before and since hands were on the board."""
        return {rail: max(volts, self._most.get(rail, 0.0)) for rail, volts in self.board.most(now).items()}


class SupplySockets:
    """`SupplyTerminals` of one supply, whose output 1 is output `first` of the bench."""

    def __init__(self, world: World, first: int = 1) -> None:
        self._world, self._before = world, first - 1

    def apply(self, output: int, setting: OutputSetting) -> None:
        if self._before + output in self._world.supply.outputs:  # others lead nowhere
            self._world.apply(self._before + output, setting)

    def point(self, output: int) -> OutputPoint:
        if self._before + output not in self._world.supply.outputs:
            return OutputPoint(0.0, 0.0, False)
        return self._world.point(self._before + output)


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
