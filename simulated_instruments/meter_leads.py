"""The meter's two leads: what they touch, the ohms source behind them, and the volts between them.

Part of the world; it knows the board's network and nets, and no instrument.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from simulated_instruments.benches.mains_hum import MainsHum
from simulated_instruments.benches.open_lead import OpenLead
from simulated_instruments.board.board import Board
from simulated_instruments.board.network import TwoEnded
from simulated_instruments.board.sources import LimitedSource
from simulated_instruments.scope_probes import ScopeProbes

HIGH, LOW = "meter HI", "meter LO"
OPEN = float("inf")  # ohm
COMPLIANCE_OHMS = 1.0  # how softly the ohms source meets its compliance voltage

Points = tuple[str, ...]


class MeterLeads:
    """Both leads. `board` and `probes` must be set before anything is asked or changed.

    `nodes` gives the node of every point on the supply side that a lead can touch, `signals` the net of every point
    that carries one; `path_ohms` lie between an input and a point. `apart` names the loose part of the bench a point
    is on, None for the board: between two loose parts no current finds a way. `hum` is what lies between the leads
    themselves.
    """

    board: Board
    probes: ScopeProbes | None

    def __init__(
        self,
        nodes: Mapping[str, str],
        signals: Mapping[str, str],
        path_ohms: float,
        open_lead: OpenLead,
        hum: MainsHum,
        apart: Callable[[str], str | None],
        start: float,
    ) -> None:
        self._nodes, self._signals, self._path_ohms, self._open_lead = nodes, signals, path_ohms, open_lead
        self._hum, self._apart = hum, apart
        self.source = LimitedSource("ohms source", HIGH, LOW, COMPLIANCE_OHMS)
        self._drive = (0.0, 0.0)
        self._high: Points = ()
        self._low: Points = ()
        self._high_net: str | None = None
        self._low_net: str | None = None
        self._same_since = start
        self._stamped: dict[str, float] = dict.fromkeys((path.name for path in self.paths()), OPEN)

    def paths(self) -> list[TwoEnded]:
        """Every path from a meter input to a point, open until the network needs it."""
        pairs = [(end, point) for end in (HIGH, LOW) for point in self._nodes]
        return [TwoEnded(path_name(end, point), end, self._nodes[point], OPEN) for end, point in pairs]

    # What changes

    def touch(self, now: float, high: Sequence[str], low: Sequence[str]) -> None:
        """HI and LO touch these points from now on."""
        if len({self._apart(point) for point in (*high, *low)}) > 1:
            high = low = ()
        nets = self._net(high), self._net(low)
        ends = self._supplied(high), self._supplied(low)
        if (*ends, *nets) == (self._high, self._low, self._high_net, self._low_net):
            return
        held = self._held(now)
        if held is not None:
            self._open_lead.let_go(now, held)
        moved = ends != (self._high, self._low)
        (self._high, self._low), (self._high_net, self._low_net) = ends, nets
        if moved:
            self._same_since = now
            self._rewire(now)

    @property
    def driven(self) -> tuple[float, float]:
        """Amps and compliance volts of the ohms source."""
        return self._drive

    def drive(self, now: float, amps: float, compliance: float) -> None:
        """The meter's ohms source is set now."""
        if (amps, compliance) != self._drive:
            self._drive = (amps, compliance)
            self._rewire(now)

    def _rewire(self, now: float) -> None:
        """Put paths and ohms source into the network where they carry current, and only there.

        A voltmeter on one pin draws nothing, so closing its relay is no change of the circuit.
        """
        amps, compliance = self._drive
        driving = amps > 0.0 and bool(self._high) and bool(self._low)
        wanted = dict.fromkeys(self._stamped, OPEN)
        for end, points in ((HIGH, self._high), (LOW, self._low)):
            if driving or len(points) > 1:
                wanted |= {path_name(end, point): self._path_ohms for point in points}
        source = self.source
        setting = (driving, compliance, amps) if driving else (False, source.target, source.limit)
        if wanted == self._stamped and setting == (source.connected, source.target, source.limit):
            return
        self.board.change(now, {name: ohms for name, ohms in wanted.items() if ohms != self._stamped[name]})
        source.connect(now, driving)
        source.set(now, setting[1], setting[2])
        self._stamped, self._same_since = wanted, now
        self.board.changed()

    def _net(self, points: Sequence[str]) -> str | None:
        return next((self._signals[point] for point in points if point in self._signals), None)

    def _supplied(self, points: Sequence[str]) -> Points:
        return tuple(point for point in points if point in self._nodes)

    # What is asked

    def volts(self, now: float, input_ohms: float, aperture: float) -> float:
        """Mean volts HI to LO over the `aperture` seconds that end now."""
        if self._on_signal():
            return self._signal_volts(now - aperture, now) + self._hum.mean(now - aperture, now)
        if self._high and self._low:
            path = self._path_ohms * (1.0 / len(self._high) + 1.0 / len(self._low))
            volts = self._across(max(self._same_since, now - aperture), now) + self._hum.mean(now - aperture, now)
            return volts * input_ohms / (input_ohms + path)
        if self._drive[0] > 0.0:
            return self._drive[1]
        return self._open_lead.volts(input_ohms, now - aperture, now)

    def key(self) -> str:
        """Names what is connected."""
        ends = ["+".join(end) or "open" for end in (self._high, self._low)]
        for place, net in enumerate((self._high_net, self._low_net)):
            if net and ends[place] == "open":
                ends[place] = net
        return " to ".join(ends)

    def _on_signal(self) -> bool:
        """Whether both leads touch something and one of them a net that carries signals."""
        high, low = self._high_net or self._high, self._low_net or self._low
        return bool(high and low and (self._high_net or self._low_net) and self.probes)

    def _held(self, now: float) -> float | None:
        """Volts across the leads at this moment, None if they are open."""
        if self._on_signal():
            return self._signal_volts(now, now)
        return self._across(now, now) if self._high and self._low else None

    def _signal_volts(self, start: float, stop: float) -> float:
        """Mean volts over [start, stop] with a net at one lead or both. The current of the ohms source, which is too
        small to change what a driver does, adds its drop in the driver's own resistance."""
        volts = self._end_volts(self._high_net, HIGH, self._high, start, stop)
        volts -= self._end_volts(self._low_net, LOW, self._low, start, stop)
        amps, compliance = self._drive
        if amps <= 0.0 or self.probes is None:
            return volts
        nets = [net for net in (self._high_net, self._low_net) if net]
        if len(nets) == 2:
            ohms = self.probes.ohms_between(nets[0], nets[1], start, stop)
        else:
            ohms = self.probes.source_ohms(nets[0], start, stop)
        ohms += 2.0 * self._path_ohms
        return min(volts + amps * ohms, compliance)

    def _end_volts(self, net: str | None, end: str, points: Points, start: float, stop: float) -> float:
        if net and self.probes:
            return self.probes.mean(net, start, stop)
        return self.board.volts(stop, self._node(end, points), self.board.circuit.reference)

    def _node(self, end: str, points: Points) -> str:
        """The node a meter input is at: its own where a path carries current, else the point it touches."""
        if len(points) > 1 or self.source.connected:
            return end
        return self._nodes[points[0]]

    def _across(self, start: float, stop: float) -> float:
        return self.board.transient.average(self._node(HIGH, self._high), self._node(LOW, self._low), start, stop)


def path_name(end: str, point: str) -> str:
    """The name of the path from a meter input to a point."""
    return f"{end} to {point}"
