"""The supply's outputs and the leads from them to the board's inlet, which a person may plug in and out.

Part of the world; it knows the wiring and the network, and no instrument.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from simulated_instruments.benches.faults import BenchDamage
from simulated_instruments.benches.truth import OutputChange, OutputTruth
from simulated_instruments.benches.wiring import Feed, SupplyWiring
from simulated_instruments.board.assembly import Assembly
from simulated_instruments.board.board import Board
from simulated_instruments.board.network import TwoEnded
from simulated_instruments.board.sources import LimitedSource
from simulated_instruments.devices.terminals import OutputPoint, OutputSetting

OPEN = float("inf")  # ohm
# Insulation of the leads, and the meter's own 10 MΩ, which is across them while it reads volts there: what keeps a lead
# that hangs in the air from holding a charge for ever.
LEAK_OHMS = 10e6
# What is left between a bench supply, which floats, and the board once its plug is out.
INSULATION_OHMS = 100e6
# A that an output takes back by its bleeder and sense divider (common practice): more than a meter's ohms source gives.
BLEEDER_AMPS = 2e-3
AT_LIMIT = 1e-6  # relative; how near its limit a current counts as limited


@dataclass
class Output:
    """One supply output: its setting, and its source in the network (or on nothing, when it feeds no rail)."""

    number: int
    source: LimitedSource
    feeds: bool
    setting: OutputSetting = field(default_factory=lambda: OutputSetting(False, 0.0, 0.0))


class SupplyLeads:
    """Outputs and leads. `board` must be set before anything is asked or changed; times are those of the clock."""

    board: Board

    def __init__(self, supply: SupplyWiring, assembly: Assembly, damage: BenchDamage) -> None:
        self.supply, self._damage = supply, damage
        self._circuit, self._fed = assembly.circuit, assembly.fed
        self.changes: list[OutputChange] = []
        self.outputs = {number: output_of(number, supply, assembly) for number in supply.outputs}
        self.sources = [output.source for output in self.outputs.values() if output.feeds]
        # Only leads whose plug is pulled by a person end in a node of their own.
        by_hand = supply.instrument is None
        self._plugs = {feed.rail: feed for feed in self._feeds() if by_hand}
        self._out: set[str] = set()
        inlets = {node: point for point, node in reversed(assembly.circuit.points().items())}
        self._inlets = {
            name: inlets[node]
            for rail in self._plugs
            for name, node in zip(plug_points(rail), self._inlet(rail), strict=True)
        }

    def _feeds(self) -> list[Feed]:
        return [feed for feed in self.supply.feeds if feed.rail in self._fed]

    def _inlet(self, rail: str) -> tuple[str, str]:
        found = self._circuit.rails[rail]
        return found.inlet, found.ground

    def wires(self) -> list[TwoEnded]:
        """Two leads for each feed whose rail the board has, and what leaks between them."""
        wires = []
        for feed in self._feeds():
            source, ends = self.outputs[feed.output].source, self._inlet(feed.rail)
            ohms = feed.lead_ohms
            if feed.rail in self._plugs:
                plug, ohms = plug_points(feed.rail), feed.lead_ohms - feed.plug_ohms
                contacts = zip(plug, ends, strict=True)
                wires += [TwoEnded(f"contact of {name}", name, end, feed.plug_ohms) for name, end in contacts]
                wires.append(TwoEnded(dummy_load(feed.rail), *plug, OPEN))
                wires.append(TwoEnded(f"insulation of {source.minus}", source.minus, ends[1], INSULATION_OHMS))
                ends = plug
            # A negative rail is fed by an output wired the other way round.
            if self._damage.reversed_leads != (self._circuit.rails[feed.rail].nominal < 0.0):
                ends = ends[1], ends[0]
            for terminal, end in zip((source.plus, source.minus), ends, strict=True):
                wires.append(TwoEnded(f"lead from {terminal}", terminal, end, ohms))
            wires.append(TwoEnded(f"leak across {source.plus}", source.plus, source.minus, LEAK_OHMS))
        return wires

    def take_over(self, before: SupplyLeads, now: float) -> None:
        """The same outputs and plugs as `before`, on a board that hands have been on; every output is off."""
        self.changes = before.changes
        for number, output in self.outputs.items():
            setting = before.outputs[number].setting
            output.setting = setting
            output.source.set(now, setting.volts if output.feeds else 0.0, setting.amps)
        for rail in before._out:
            self.plug(now, rail, connected=False)

    # Outputs

    def apply(self, now: float, number: int, setting: OutputSetting) -> None:
        """One output's setting changes now."""
        output = self.outputs[number]
        if setting == output.setting:
            return
        was, output.setting = output.setting, setting
        self.changes.append(OutputChange(now, number, setting.on, setting.volts, setting.amps))
        if not (was.on or setting.on):
            return
        if output.feeds:
            self.board.change(now)
            output.source.connect(now, setting.on)
            output.source.set(now, setting.volts, self._limit(setting))
            self.board.changed()
        else:
            # Nothing hangs on it: only its own voltage goes up and down.
            target = setting.volts if setting.on else 0.0
            rising = target >= output.source.open_volts(now)
            output.source.set(now, target, setting.amps, self.supply.rise if rising else self.supply.fall)

    def _limit(self, setting: OutputSetting) -> float:
        """The amps at which the supply really limits."""
        return setting.amps * self._damage.limit_share

    def point(self, now: float, number: int) -> OutputPoint:
        """The operating point of one output now."""
        output = self.outputs[number]
        if not output.feeds:
            return OutputPoint(output.source.open_volts(now), 0.0, False)
        volts = self.board.volts(now, output.source.plus, output.source.minus)
        if not output.setting.on:
            return OutputPoint(volts, 0.0, False)
        amps = self.board.amps(now, output.source)
        return OutputPoint(volts, amps, amps >= self._limit(output.setting) * (1.0 - AT_LIMIT))

    def truth(self, now: float) -> dict[int, OutputTruth]:
        """Every output as it really is now."""
        found = {}
        for number, output in self.outputs.items():
            point, setting = self.point(now, number), output.setting
            found[number] = OutputTruth(
                number, setting.on, point.volts, point.amps, point.limiting, setting.volts, setting.amps
            )
        return found

    # Plugs

    @property
    def plugs(self) -> list[str]:
        """The rails whose plug a person can pull."""
        return list(self._plugs)

    def plug(self, now: float, rail: str, connected: bool) -> None:
        """The plug of `rail` goes in or out now."""
        if connected != (rail in self._out):
            return
        (self._out.discard if connected else self._out.add)(rail)
        ohms = self._plugs[rail].plug_ohms if connected else OPEN
        self.board.change(now, {f"contact of {name}": ohms for name in plug_points(rail)})
        self.board.changed()

    def load(self, now: float, rail: str, ohms: float | None) -> None:
        """A dummy load across the leads of `rail` from now on, or none."""
        self.board.change(now, {dummy_load(rail): OPEN if ohms is None else ohms})
        self.board.changed()

    @property
    def ends(self) -> dict[str, str]:
        """The points at the ends of the leads, with their nodes."""
        return {name: name for rail in self._plugs for name in plug_points(rail)}

    def really(self, point: str) -> str:
        """What is touched at `point`: a plug that is in hides behind the inlet's own contact."""
        return point if self.apart(point) else self._inlets.get(point, point)

    def other_end(self, point: str) -> str | None:
        """The ground end of the pulled plug that `point` is at, None if it is on the board."""
        rail = self.apart(point)
        return None if rail is None else plug_points(rail)[1]

    def apart(self, point: str) -> str | None:
        """The rail at whose pulled plug `point` is, None if it is on the board."""
        return next((rail for rail in self._out if point in plug_points(rail)), None)


def plug_points(rail: str) -> tuple[str, str]:
    """The points at the ends of the leads of `rail`: where the inlet's own side is, and where its ground is."""
    return f"{rail} plug +", f"{rail} plug -"


def dummy_load(rail: str) -> str:
    """The name of the dummy load that may be put across the leads of `rail`."""
    return f"dummy load of {rail}"


def output_of(number: int, supply: SupplyWiring, assembly: Assembly) -> Output:
    """Output `number`, off; it feeds something if the wiring leads it to a rail this board has."""
    feeds = any(feed.output == number and feed.rail in assembly.fed for feed in supply.feeds)
    source = LimitedSource(f"output {number}", f"output {number} +", f"output {number} -", supply.ohms, supply.rise)
    source.sink = BLEEDER_AMPS
    return Output(number, source, feeds)
