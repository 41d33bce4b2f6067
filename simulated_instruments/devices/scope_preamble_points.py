"""A simulated four-channel oscilloscope with a ten-field preamble whose origin is in volts: the dialect O-1a.

It shares running, trigger and converter with its cousin O-1b and nothing of its command set: a positive offset moves
the trace down, the memory is always used whole, and a transfer thins it out to the points asked for. It must not know
what is connected.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any, ClassVar

import numpy as np

from autobench.clock import Clock
from autobench.protocols.parameters import boolean, character, integer, number
from autobench.protocols.scpi import ScpiError
from simulated_instruments.devices.command_tree import Answer, Command, CommandTree, Later
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.scope_preamble_data_converter import Acquisition
from simulated_instruments.devices.scope_preamble_data_running import RunningScope
from simulated_instruments.devices.scope_preamble_data_setup import (
    CHANNELS,
    LEAST_VOLTS,
    MOST_VOLTS,
    TIME_SCALES,
    Input,
    Setup,
    time_scale_for,
)
from simulated_instruments.devices.terminals import ScopeTerminals

CENTRE = 128  # the reference code in the preamble
LEAST_CODE, HOLE = 1, 0  # 1 and 255 are clipped; 0 stands for a point that was not acquired
SOURCES = tuple(f"CHANnel{channel}" for channel in CHANNELS)
FORMATS = {"BYTE": 0, "WORD": 1, "ASC": 4}
KINDS = {"NORM": 0, "PEAK": 1, "AVER": 2, "HRES": 3}
SCREEN_POINTS = 1000  # of a transfer in the mode NORMal, at the most
LEAST_POINTS = 100
BLOCK_TIME = 0.01  # s from asking for a block to its first byte
TRANSFER_RATE = 10e6  # bytes a second
RUNNING, WAITING = 1 << 3, 1 << 5  # operation condition


def written(value: float) -> str:
    """A number as this oscilloscope answers it."""
    return f"{value:+.5E}"


class WholeMemorySetup(Setup):
    """Ten divisions across; the record fills the memory, or lasts as long as the screen at the highest rate."""

    across: ClassVar[int] = 10
    rate: ClassVar[float] = 2e9
    memory: ClassVar[int] = 4_000_000

    @property
    def points(self) -> int:
        """Points of the record; `depth` is what a transfer asks for."""
        possible = min(max(2, round(self.most_rate * self.span)), self.most_depth)
        points = possible if self.depth is None else min(self.depth, possible)
        return points - points % 2 if self.kind == "PEAK" else points


@dataclass
class Transfer:
    """The settings of the transfer, as after `*RST`."""

    source: int = 1
    mode: str = "NORM"
    format: str = "BYTE"
    points: int = SCREEN_POINTS


class PreamblePointsScope(RunningScope):
    """The oscilloscope as its commands show it."""

    model = "O-1a"
    delivered = WholeMemorySetup()

    def __init__(self, name: str, clock: Clock, terminals: ScopeTerminals, seed: int = 0) -> None:
        super().__init__(name, clock, terminals, seed)
        self.converter.centre, self.converter.least_code = CENTRE, LEAST_CODE

    def reset(self) -> None:
        super().reset()
        self.transfer = Transfer()
        self.seen: Acquisition | None = None  # the acquisition whose trigger was told already
        self.thinned: dict[int, tuple[Acquisition, Acquisition]] = {}

    def input(self, channel: int) -> Input:
        """The setting of a channel; raises -114 if there is none with this number."""
        if channel not in CHANNELS:
            raise ScpiError(-114, f"channel {channel}")
        return self.setup.input(channel)

    def change_input(self, channel: int, changed: Input) -> Answer:
        return self.change(self.setup.with_input(channel, changed))

    def set_displayed(self, channel: int, state: str) -> Answer:
        return self.change_input(channel, replace(self.input(channel), displayed=boolean(state)))

    def set_coupling(self, channel: int, text: str) -> Answer:
        return self.change_input(channel, replace(self.input(channel), coupling=character(text, ("AC", "DC"))))

    def set_probe(self, channel: int, text: str) -> Answer:
        wanted = number(text, minimum=0.1, maximum=1000.0)
        return self.change_input(channel, replace(self.input(channel), probe=wanted))

    def set_scale(self, channel: int, text: str) -> Answer:
        settings = self.input(channel)
        least, most = LEAST_VOLTS * settings.probe, MOST_VOLTS * settings.probe
        wanted = number(text, "V", minimum=least, maximum=most)
        return self.change_input(channel, settings.scaled(wanted / settings.probe))

    def set_offset(self, channel: int, text: str) -> Answer:
        """The volts in the middle of the screen: more of them, and the trace goes down."""
        settings = self.input(channel)
        most = settings.most_offset * settings.probe
        wanted = number(text, "V", minimum=-most, maximum=most, default=0.0)
        return self.change_input(channel, replace(settings, offset=-wanted / settings.probe))

    def set_limit(self, channel: int, text: str) -> Answer:
        return self.change_input(channel, replace(self.input(channel), limited=boolean(text)))

    def set_time_scale(self, text: str) -> Answer:
        wanted = number(text, "S", minimum=TIME_SCALES[0], maximum=TIME_SCALES[-1])
        return self.change(self.setup.with_time_scale(time_scale_for(wanted)))

    def set_position(self, text: str) -> Answer:
        least, most = self.setup.least_offset, self.setup.most_offset
        wanted = number(text, "S", minimum=least * (1 + 1e-6), maximum=most, default=0.0)
        return self.change(replace(self.setup, time_offset=max(wanted, least)))

    def set_level(self, text: str) -> Answer:
        least, most = self.setup.level_span
        return self.change_trigger(level=number(text, "V", minimum=least, maximum=most, default=0.0))

    def change_trigger(self, **changed: str | float) -> Answer:
        return self.change(replace(self.setup, trigger=replace(self.setup.trigger, **changed)))  # type: ignore[arg-type]

    def choose_transfer(self, attribute: str, choice: str | int) -> Answer:
        setattr(self.transfer, attribute, choice)
        return None

    def set_points(self, text: str) -> Answer:
        self.transfer.points = integer(text, minimum=LEAST_POINTS, maximum=self.setup.memory)
        return None

    def condition(self) -> Answer:
        """`:OPERegister:CONDition?`: running, and waiting for its trigger; both lag as the display does."""
        state = self.state()
        return str((RUNNING if state != "STOP" else 0) | (WAITING if state == "WAIT" else 0))

    def triggered(self) -> Answer:
        """`:TER?`: whether there was a trigger since it was asked last."""
        latest = self.latest()
        told, self.seen = latest is not None and latest is not self.seen, latest
        return str(int(told))

    def record(self) -> Acquisition | None:
        """What a transfer reads: the acquisition in the memory thinned out to the points that were asked for.

        Points are left out, not averaged, so what is too fast for them aliases; extremes stay extremes.
        """
        acquisition, chosen = self.latest(), self.transfer
        if acquisition is None:
            self.report(-230, "nothing acquired yet")
            return None
        if not acquisition.setup.input(chosen.source).displayed:
            self.report(-221, f"channel {chosen.source} is not displayed")
            return None
        if chosen.mode != "NORM" and self.running:
            self.report(-221, "the memory is read only when stopped")
            return None
        points = min(chosen.points, SCREEN_POINTS) if chosen.mode == "NORM" else chosen.points
        kept = self.thinned.get(points)
        if kept is None or kept[0] is not acquisition:
            setup = replace(acquisition.setup, depth=points)
            self.thinned = {points: (acquisition, replace(acquisition, setup=setup, codes={}))}
        return self.thinned[points][1]

    def preamble(self) -> list[str]:
        acquisition = self.record()
        form = str(FORMATS[self.transfer.format])
        if acquisition is None:
            return [form, *["0"] * 9]
        setup = acquisition.setup
        settings = setup.input(self.transfer.source)
        step = settings.step * settings.probe
        return [
            form,
            str(KINDS[setup.kind]),
            str(setup.points),
            str(setup.averages if setup.kind == "AVER" else 1),
            written(setup.interval),
            written(setup.origin),
            "0",
            written(step),
            written(-settings.offset_codes * step),
            str(CENTRE),
        ]

    def data(self) -> Answer:
        """One block with the whole transfer; an empty one where there is nothing to read."""
        acquisition = self.record()
        if acquisition is None:
            return "#800000000"
        source, form = self.transfer.source, self.transfer.format
        size = acquisition.setup.points * (2 if form == "WORD" else 1)

        def finish() -> str:
            codes = self.converter.codes(acquisition, source)
            data = codes.tobytes() if form == "BYTE" else (codes.astype(np.uint16) << 8).astype(">u2").tobytes()
            return f"#8{len(data):08d}{data.decode('latin-1')}"

        return Later(BLOCK_TIME + size / TRANSFER_RATE, finish)

    tree: ClassVar[CommandTree]


def choice_commands(
    header: str, choices: tuple[str, ...], write: Callable[[Any, str], Answer], read: Callable[[Any], str]
) -> Iterator[Command]:
    """The pair of commands for a setting that is one of several words."""
    yield Command(header, lambda scope, text: write(scope, character(text, choices)))
    yield Command(f"{header}?", read)


def channel_commands(
    header: str, write: Callable[[PreamblePointsScope, int, str], Answer], read: Callable[[Input], str]
) -> Iterator[Command]:
    """The pair of commands for a setting of one channel."""
    yield Command(f"CHANnel#:{header}", write)
    yield Command(f"CHANnel#:{header}?", lambda scope, channel: read(scope.input(channel)))


Scope = PreamblePointsScope
FIELDS = {"XINCrement": 4, "XORigin": 5, "XREFerence": 6, "YINCrement": 7, "YORigin": 8, "YREFerence": 9}


def field_query(place: int) -> Callable[[PreamblePointsScope], Answer]:
    """The handler of a query for one field of the preamble."""
    return lambda scope: scope.preamble()[place]


PreamblePointsScope.tree = CommandTree(
    *channel_commands("DISPlay", Scope.set_displayed, lambda each: str(int(each.displayed))),
    *channel_commands("COUPling", Scope.set_coupling, lambda each: each.coupling),
    *channel_commands("PROBe", Scope.set_probe, lambda each: written(each.probe)),
    *channel_commands("SCALe", Scope.set_scale, lambda each: written(each.scale)),
    *channel_commands("OFFSet", Scope.set_offset, lambda each: written(-each.offset * each.probe + 0.0)),
    *channel_commands("BWLimit", Scope.set_limit, lambda each: str(int(each.limited))),
    Command("TIMebase:SCALe", Scope.set_time_scale),
    Command("TIMebase:SCALe?", lambda scope: written(scope.setup.time_scale)),
    Command("TIMebase:POSition", Scope.set_position),
    Command("TIMebase:POSition?", lambda scope: written(scope.setup.time_offset)),
    *choice_commands(
        "ACQuire:TYPE",
        ("NORMal", "PEAK", "AVERage", "HRESolution"),
        lambda scope, kind: scope.change(replace(scope.setup, kind=kind)),
        lambda scope: scope.setup.kind,
    ),
    Command("ACQuire:SRATe?", lambda scope: written(1 / scope.setup.interval)),
    Command("ACQuire:POINts?", lambda scope: str(scope.setup.points)),
    *choice_commands("TRIGger:MODE", ("EDGE",), lambda *_: None, lambda _: "EDGE"),
    *choice_commands(
        "TRIGger[:EDGE]:SOURce",
        SOURCES,
        lambda scope, source: scope.change_trigger(source=int(source[-1])),
        lambda scope: f"CHAN{scope.setup.trigger.source}",
    ),
    Command("TRIGger[:EDGE]:LEVel", Scope.set_level),
    Command("TRIGger[:EDGE]:LEVel?", lambda scope: written(scope.setup.trigger.level)),
    *choice_commands(
        "TRIGger[:EDGE]:SLOPe",
        ("POSitive", "NEGative"),
        lambda scope, slope: scope.change_trigger(slope=slope),
        lambda scope: scope.setup.trigger.slope,
    ),
    *choice_commands("TRIGger:SWEep", ("AUTO", "NORMal"), Scope.choose_sweep, lambda scope: scope.setup.sweep),
    Command("TRIGger:FORCe", Scope.force),
    Command("OPERegister:CONDition?", Scope.condition),
    Command("TER?", Scope.triggered),
    Command("RUN", Scope.run),
    Command("STOP", Scope.stop),
    Command("SINGle", lambda scope: scope.arm(single=True)),
    *choice_commands(
        "WAVeform:SOURce",
        SOURCES,
        lambda scope, source: scope.choose_transfer("source", int(source[-1])),
        lambda scope: f"CHAN{scope.transfer.source}",
    ),
    *choice_commands(
        "WAVeform:POINts:MODE",
        ("NORMal", "RAW", "MAXimum"),
        lambda scope, mode: scope.choose_transfer("mode", mode),
        lambda scope: scope.transfer.mode,
    ),
    Command("WAVeform:POINts", Scope.set_points),
    Command("WAVeform:POINts?", lambda scope: str(scope.transfer.points)),
    *choice_commands(
        "WAVeform:FORMat",
        ("BYTE", "WORD"),
        lambda scope, form: scope.choose_transfer("format", form),
        lambda scope: scope.transfer.format,
    ),
    Command("WAVeform:PREamble?", lambda scope: ",".join(scope.preamble())),
    *(Command(f"WAVeform:{field}?", field_query(place)) for field, place in FIELDS.items()),
    Command("WAVeform:DATA?", Scope.data),
    beneath=Device.tree,
)
