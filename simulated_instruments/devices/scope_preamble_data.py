"""A simulated four-channel oscilloscope that answers a ten-field preamble and data blocks: the dialect O-1b.

Command set and its parameters. Set-up and limits, running, converter and transfer are in the modules
`scope_preamble_data_…` beside this one. It must not know what is connected.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any, ClassVar

from autobench.protocols.parameters import boolean, character, integer, kind, number
from autobench.protocols.scpi import ScpiError
from simulated_instruments.devices.command_tree import Answer, Command, CommandTree, Later
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.scope_preamble_data_converter import Acquisition
from simulated_instruments.devices.scope_preamble_data_measure import INVALID, ITEMS, measured
from simulated_instruments.devices.scope_preamble_data_running import RunningScope
from simulated_instruments.devices.scope_preamble_data_setup import (
    CHANNELS,
    DEPTHS,
    LEAST_VOLTS,
    MOST_MEMORY,
    MOST_VOLTS,
    SCREEN_POINTS,
    TIME_SCALES,
    Input,
    time_scale_for,
)
from simulated_instruments.devices.scope_preamble_data_waveform import EMPTY, Transfer, trace, written

SOURCES = tuple(f"CHANnel{channel}" for channel in CHANNELS)
BLOCK_TIME = 0.01  # s from asking for a block to its first byte
TRANSFER_RATE = 10e6  # bytes a second
MEASURING_TIME = 0.05  # s
MOST_AVERAGES = 1024
LEAST_HOLDOFF, MOST_HOLDOFF = 16e-9, 10.0  # s


class PreambleDataScope(RunningScope):
    """The oscilloscope as its commands show it."""

    model = "O-1b"

    def reset(self) -> None:
        super().reset()
        self.transfer = Transfer()

    # Vertical.

    def change_input(self, channel: int, changed: Input) -> Answer:
        return self.change(self.setup.with_input(channel, changed))

    def input(self, channel: int) -> Input:
        """The setting of a channel; raises -114 if there is none with this number."""
        if channel not in CHANNELS:
            raise ScpiError(-114, f"channel {channel}")
        return self.setup.input(channel)

    def set_displayed(self, channel: int, state: str) -> Answer:
        return self.change_input(channel, replace(self.input(channel), displayed=boolean(state)))

    def set_coupling(self, channel: int, coupling: str) -> Answer:
        wanted = character(coupling, ("DC", "AC", "GND"))
        return self.change_input(channel, replace(self.input(channel), coupling=wanted))

    def set_probe(self, channel: int, factor: str) -> Answer:
        settings, wanted = self.input(channel), number(factor)
        if wanted not in (1, 10):
            raise ScpiError(-224, factor)
        return self.change_input(channel, replace(settings, probe=wanted))

    def set_scale(self, channel: int, scale: str) -> Answer:
        """Any sensitivity between the least and the most can be set."""
        settings = self.input(channel)
        least, most = LEAST_VOLTS * settings.probe, MOST_VOLTS * settings.probe
        wanted = number(scale, "V", minimum=least, maximum=most, default=settings.probe)
        return self.change_input(channel, settings.scaled(wanted / settings.probe))

    def set_offset(self, channel: int, offset: str) -> Answer:
        settings = self.input(channel)
        most = settings.most_offset * settings.probe
        wanted = number(offset, "V", minimum=-most, maximum=most, default=0.0)
        return self.change_input(channel, replace(settings, offset=wanted / settings.probe))

    def set_limit(self, channel: int, limit: str) -> Answer:
        settings, wanted = self.input(channel), limit.strip().upper()
        if wanted not in ("20M", "OFF"):
            raise ScpiError(-224 if kind(limit) == "number" else -141, limit[:40])
        return self.change_input(channel, replace(settings, limited=wanted == "20M"))

    # Time, memory, trigger.

    def set_time_scale(self, scale: str) -> Answer:
        wanted = number(scale, "S", minimum=TIME_SCALES[0], maximum=TIME_SCALES[-1], default=1e-6)
        return self.change(self.setup.with_time_scale(time_scale_for(wanted)))

    def set_time_offset(self, offset: str) -> Answer:
        least, most = self.setup.least_offset, self.setup.most_offset
        # A last digit lost in writing the number is no reason to refuse it.
        wanted = number(offset, "S", minimum=least * (1 + 1e-6), maximum=most, default=0.0)
        return self.change(replace(self.setup, time_offset=max(wanted, least)))

    def set_depth(self, depth: str) -> Answer:
        if kind(depth) == "word":
            character(depth, ("AUTO",))
            return self.change(replace(self.setup, depth=None))
        wanted = integer(depth, minimum=1, maximum=self.setup.most_depth)
        if wanted not in (*DEPTHS, self.setup.most_depth):
            raise ScpiError(-224, depth)
        return self.change(replace(self.setup, depth=wanted))

    def depth(self) -> Answer:
        depth = self.setup.depth
        return "AUTO" if depth is None else str(min(depth, self.setup.most_depth))

    def set_averages(self, count: str) -> Answer:
        wanted = integer(count, minimum=2, maximum=MOST_AVERAGES, default=2)
        if wanted & (wanted - 1):
            raise ScpiError(-224, count)
        return self.change(replace(self.setup, averages=wanted))

    def set_level(self, level: str) -> Answer:
        least, most = self.setup.level_span
        return self.change_trigger(level=number(level, "V", minimum=least, maximum=most, default=0.0))

    def set_holdoff(self, seconds: str) -> Answer:
        return self.change_trigger(holdoff=number(seconds, "S", minimum=LEAST_HOLDOFF, maximum=MOST_HOLDOFF))

    def change_trigger(self, **changed: str | float) -> Answer:
        return self.change(replace(self.setup, trigger=replace(self.setup.trigger, **changed)))  # type: ignore[arg-type]

    # Reading out.

    def choose_transfer(self, attribute: str, choice: str | int) -> Answer:
        setattr(self.transfer, attribute, choice)
        return None

    def choose_part(self, attribute: str, place: str) -> Answer:
        setattr(self.transfer, attribute, integer(place, minimum=1, maximum=MOST_MEMORY))
        return None

    def source(self) -> Acquisition | None:
        """What is in the memory, if the chosen channel is in it; else the error is entered."""
        acquisition = self.latest()
        if acquisition is None:
            self.report(-230, "nothing acquired yet")
        elif not acquisition.setup.input(self.transfer.source).displayed:
            self.report(-221, f"channel {self.transfer.source} is not displayed")
            return None
        return acquisition

    def preamble(self) -> list[str]:
        acquisition = self.source()
        whole = self.transfer.whole(self.running)
        return self.transfer.preamble(None if acquisition is None else acquisition.setup, whole)

    def data(self) -> Answer:
        """One block; an empty one where it may not be read, so that the answer does not fail to come."""
        acquisition, whole = self.source(), self.transfer.whole(self.running)
        if acquisition is None:
            return EMPTY
        if whole and self.running:
            self.report(-221, "the memory is read only when stopped")
            return EMPTY
        transfer, setup = replace(self.transfer), acquisition.setup
        part = transfer.part(setup.points if whole else SCREEN_POINTS)
        if part is None:
            self.report(-222, f"points {transfer.start} to {transfer.stop}")
            return EMPTY

        def finish() -> str:
            return transfer.block(trace(acquisition, self.converter, transfer.source, whole)[part], setup)

        return Later(BLOCK_TIME + transfer.bytes(part.stop - part.start) / TRANSFER_RATE, finish)

    def measure(self, item: str, source: str | None = None) -> Answer:
        chosen = character(item, ITEMS)
        channel = self.transfer.source if source is None else read_source(source)
        acquisition = self.latest()

        def finish() -> str:
            value = measured(chosen, acquisition, self.converter, channel)
            return INVALID if value is None else written(value)

        return Later(MEASURING_TIME, finish)

    tree: ClassVar[CommandTree]


def read_source(text: str) -> int:
    """The channel of a name such as `CHANnel2`."""
    return int(character(text, SOURCES)[-1])


def choice_commands(
    header: str, choices: tuple[str, ...], write: Callable[[Any, str], Answer], read: Callable[[Any], str]
) -> Iterator[Command]:
    """The pair of commands for a setting that is one of several words; `write` gets the short form."""
    yield Command(header, lambda scope, text: write(scope, character(text, choices)))
    yield Command(f"{header}?", read)


def channel_commands(
    header: str,
    write: Callable[[PreambleDataScope, int, str], Answer],
    read: Callable[[Input], str],
) -> Iterator[Command]:
    """The pair of commands for a setting of one channel."""
    yield Command(f"CHANnel#:{header}", write)
    yield Command(f"CHANnel#:{header}?", lambda scope, channel: read(scope.input(channel)))


def nothing(_scope: PreambleDataScope, _choice: str) -> Answer:
    """What a setting with a single choice does."""
    return None


def preamble_query(place: int) -> Callable[[PreambleDataScope], Answer]:
    """The handler of a query for one field of the preamble."""
    return lambda scope: scope.preamble()[place]


PREAMBLE_QUERIES = {"XINCrement": 4, "XORigin": 5, "XREFerence": 6, "YINCrement": 7, "YORigin": 8, "YREFerence": 9}
Scope = PreambleDataScope
PreambleDataScope.tree = CommandTree(
    *channel_commands("DISPlay", Scope.set_displayed, lambda each: str(int(each.displayed))),
    *channel_commands("COUPling", Scope.set_coupling, lambda each: each.coupling),
    *channel_commands("PROBe", Scope.set_probe, lambda each: f"{each.probe:g}"),
    *channel_commands("SCALe", Scope.set_scale, lambda each: written(each.scale)),
    *channel_commands("OFFSet", Scope.set_offset, lambda each: written(each.offset * each.probe)),
    *channel_commands("BWLimit", Scope.set_limit, lambda each: "20M" if each.limited else "OFF"),
    Command("TIMebase[:MAIN]:SCALe", Scope.set_time_scale),
    Command("TIMebase[:MAIN]:SCALe?", lambda scope: written(scope.setup.time_scale)),
    Command("TIMebase[:MAIN]:OFFSet", Scope.set_time_offset),
    Command("TIMebase[:MAIN]:OFFSet?", lambda scope: written(scope.setup.time_offset)),
    *choice_commands("TIMebase:MODE", ("MAIN",), nothing, lambda _: "MAIN"),
    *choice_commands(
        "ACQuire:TYPE",
        ("NORMal", "AVERages", "PEAK"),
        lambda scope, kind: scope.change(replace(scope.setup, kind=kind)),
        lambda scope: scope.setup.kind,
    ),
    Command("ACQuire:MDEPth", Scope.set_depth),
    Command("ACQuire:MDEPth?", Scope.depth),
    Command("ACQuire:AVERages", Scope.set_averages),
    Command("ACQuire:AVERages?", lambda scope: str(scope.setup.averages)),
    Command("ACQuire:SRATe?", lambda scope: written(1 / scope.setup.interval)),
    *choice_commands("TRIGger:MODE", ("EDGE",), nothing, lambda _: "EDGE"),
    *choice_commands(
        "TRIGger:EDGE:SOURce",
        SOURCES,
        lambda scope, source: scope.change_trigger(source=int(source[-1])),
        lambda scope: f"CHAN{scope.setup.trigger.source}",
    ),
    Command("TRIGger:EDGE:LEVel", Scope.set_level),
    Command("TRIGger:EDGE:LEVel?", lambda scope: written(scope.setup.trigger.level)),
    *choice_commands(
        "TRIGger:EDGE:SLOPe",
        ("POSitive", "NEGative", "RFALl"),
        lambda scope, slope: scope.change_trigger(slope=slope),
        lambda scope: scope.setup.trigger.slope,
    ),
    *choice_commands(
        "TRIGger:COUPling",
        ("AC", "DC", "LFReject", "HFReject"),
        lambda scope, coupling: scope.change_trigger(coupling=coupling),
        lambda scope: scope.setup.trigger.coupling,
    ),
    Command("TRIGger:HOLDoff", Scope.set_holdoff),
    Command("TRIGger:HOLDoff?", lambda scope: written(scope.setup.trigger.holdoff)),
    *choice_commands(
        "TRIGger:SWEep",
        ("AUTO", "NORMal", "SINGle"),
        Scope.choose_sweep,
        lambda scope: "SING" if scope.single else scope.setup.sweep,
    ),
    Command("TRIGger:STATus?", Scope.state),
    Command("RUN", Scope.run),
    Command("STOP", Scope.stop),
    Command("SINGle", lambda scope: scope.arm(single=True)),
    Command("TFORce", Scope.force),
    Command("AUToscale", Scope.set_up),
    *choice_commands(
        "WAVeform:SOURce",
        SOURCES,
        lambda scope, source: scope.choose_transfer("source", int(source[-1])),
        lambda scope: f"CHAN{scope.transfer.source}",
    ),
    *choice_commands(
        "WAVeform:MODE",
        ("NORMal", "RAW", "MAXimum"),
        lambda scope, mode: scope.choose_transfer("mode", mode),
        lambda scope: scope.transfer.mode,
    ),
    *choice_commands(
        "WAVeform:FORMat",
        ("BYTE", "WORD", "ASCii"),
        lambda scope, form: scope.choose_transfer("format", form),
        lambda scope: scope.transfer.format,
    ),
    Command("WAVeform:STARt", lambda scope, place: scope.choose_part("start", place)),
    Command("WAVeform:STARt?", lambda scope: str(scope.transfer.start)),
    Command("WAVeform:STOP", lambda scope, place: scope.choose_part("stop", place)),
    Command("WAVeform:STOP?", lambda scope: str(scope.transfer.stop)),
    Command("WAVeform:PREamble?", lambda scope: ",".join(scope.preamble())),
    *(Command(f"WAVeform:{field}?", preamble_query(place)) for field, place in PREAMBLE_QUERIES.items()),
    Command("WAVeform:DATA?", Scope.data),
    Command("MEASure:ITEM?", Scope.measure),
    beneath=Device.tree,
)
