"""A simulated four-channel oscilloscope whose record is told by an out-preamble and read as a curve: the dialect O-2.

It shares running, trigger and converter with the scopes O-1 and nothing of its command set: a trace is moved by a
position in divisions and by an offset in volts, a probe is told by its gain, which is the inverse of its attenuation,
codes have signs, replies have headers until they are switched off, and events are told only once `*ESR?` was read. It
must not know what is connected.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any, ClassVar

from autobench.clock import Clock
from autobench.protocols.parameters import boolean, character, integer, kind, number
from simulated_instruments.devices.command_tree import Answer, Command, CommandTree, Later
from simulated_instruments.devices.headed_replies import COMMON, HeadedReplies
from simulated_instruments.devices.scope_out_preamble_waveform import Transfer, written
from simulated_instruments.devices.scope_positioned_channels import PositionedChannels
from simulated_instruments.devices.scope_positioned_setup import CENTRE, LEAST_CODE, PositionedInput, PositionedSetup
from simulated_instruments.devices.scope_preamble_data_converter import Acquisition
from simulated_instruments.devices.scope_preamble_data_setup import (
    CHANNELS,
    TIME_SCALES,
    time_scale_for,
)
from simulated_instruments.devices.terminals import ScopeTerminals

SOURCES = tuple(f"CH{channel}" for channel in CHANNELS)
BLOCK_TIME = 0.01  # s from asking for a curve to its first byte
TRANSFER_RATE = 10e6  # bytes a second
NOT_DISPLAYED = 2244  # event: the waveform that was asked for is not active
NOTHING_TO_TELL = '0,"No events to report - queue empty"'
PENDING = '1,"No events to report - new events pending *ESR?"'
KINDS = {"SAM": "NORM", "PEAK": "PEAK", "AVE": "AVER"}
STATES = {"RUN": "ARMED", "WAIT": "READY", "TD": "TRIGGER", "AUTO": "AUTO", "STOP": "SAVE"}


class OutPreambleScope(HeadedReplies, PositionedChannels):
    """The oscilloscope as its commands show it.

    `zero_at_trigger` is how one family tells its time: the time of the trigger's point instead of the first one's.
    """

    model = "O-2"
    delivered = PositionedSetup()
    zero_at_trigger = False

    def __init__(self, name: str, clock: Clock, terminals: ScopeTerminals, seed: int = 0) -> None:
        super().__init__(name, clock, terminals, seed)
        self.converter.centre, self.converter.least_code = CENTRE, LEAST_CODE

    def reset(self) -> None:
        super().reset()
        self.headed = True
        self.sequence = False  # whether it stops after one acquisition
        self.delayed, self.delay, self.place = False, 0.0, 50.0
        self.transfer = Transfer()
        self.told: list[str] = []

    # Events.

    def read_events(self) -> Answer:
        """Reading the event status is what makes the events that led to it readable."""
        self.told = [event_text(self.errors.pop()) for _ in range(len(self.errors))]
        return super().read_events()

    def clear_status(self) -> Answer:
        self.told = []
        return super().clear_status()

    def all_events(self) -> Answer:
        """`ALLEv?`: the events that were there when `*ESR?` was read last."""
        told, self.told = self.told, []
        return ",".join(told) or (PENDING if len(self.errors) else NOTHING_TO_TELL)

    # Time and trigger.

    def set_time_scale(self, text: str) -> Answer:
        wanted = number(text, "S", minimum=TIME_SCALES[0], maximum=TIME_SCALES[-1])
        return self.moved(time_scale_for(wanted))

    def set_delay(self, text: str) -> Answer:
        """Seconds from the trigger to the middle of the screen, while the delay is on."""
        self.delay = number(text, "S")
        return self.moved(self.setup.time_scale)

    def set_delayed(self, text: str) -> Answer:
        self.delayed = boolean(text)
        return self.moved(self.setup.time_scale)

    def set_place(self, text: str) -> Answer:
        """Where the trigger lies on the screen, in % from its left, while the delay is off."""
        self.place = number(text, minimum=0.0, maximum=100.0)
        return self.moved(self.setup.time_scale)

    def moved(self, scale: float) -> Answer:
        """The set-up at this time scale, with the trigger where delay or place put it."""
        setup = self.setup.with_time_scale(scale)
        middle = self.delay if self.delayed else (0.5 - self.place / 100.0) * setup.span
        return self.change(replace(setup, time_offset=max(setup.least_offset, min(middle, setup.most_offset))))

    def set_record(self, text: str) -> Answer:
        """The next longer record there is."""
        wanted = integer(text, minimum=1, maximum=self.setup.memory)
        depths = PositionedSetup.depths
        return self.change(replace(self.setup, depth=next(depth for depth in depths if depth >= wanted)))

    def set_level(self, channel: int, text: str) -> Answer:
        """A level is kept for the source that is chosen; the others' are not told apart here."""
        self.input(channel)
        if channel != self.setup.trigger.source:
            return None
        least, most = self.setup.level_span
        return self.change_trigger(level=number(text, "V", minimum=least, maximum=most))

    def change_trigger(self, **changed: str | float) -> Answer:
        return self.change(replace(self.setup, trigger=replace(self.setup.trigger, **changed)))  # type: ignore[arg-type]

    # Running.

    def set_stop_after(self, text: str) -> Answer:
        """`SEQuence`: what runs stops after one acquisition more."""
        self.sequence = character(text, ("SEQuence", "RUNSTop")) == "SEQ"
        return self.arm(single=self.sequence) if self.running and self.sequence is not self.sweep.single else None

    def set_state(self, text: str) -> Answer:
        """ON starts, and a single sequence anew; OFF stops."""
        going = (
            character(text, ("RUN", "STOP", "ON", "OFF")) in ("RUN", "ON") if kind(text) == "word" else boolean(text)
        )
        if not going:
            return self.stop()
        return None if self.running and not self.sequence else self.arm(single=self.sequence)

    def acquiring(self) -> str:
        """Whether it acquires, as late as the display tells it."""
        return "0" if self.state() == "STOP" else "1"

    # Reading out.

    def source(self) -> Acquisition | None:
        """What is in the memory, if the chosen channel is in it; else the event is entered."""
        acquisition = self.latest()
        if acquisition is None or not acquisition.setup.input(self.transfer.source).displayed:
            self.report(NOT_DISPLAYED, "Source waveform is not active")
            return None
        return acquisition

    def part(self, points: int) -> slice:
        """The points of a transfer: a stop beyond the record is the record's end, without a word."""
        return slice(self.transfer.start - 1, max(self.transfer.start - 1, min(self.transfer.stop, points)))

    def preamble(self) -> dict[str, str] | None:
        """The fields of the out-preamble in their order; none, and so no reply, where there is no waveform."""
        acquisition = self.source()
        if acquisition is None:
            return None
        setup = acquisition.setup
        return self.transfer.fields(setup, self.part(setup.points), self.zero_at_trigger)

    def set_width(self, text: str) -> Answer:
        """One byte a point is all there is."""
        integer(text, minimum=1, maximum=1)
        return None

    def curve(self) -> Answer:
        """One block with the points that were chosen; nothing where there is no waveform."""
        acquisition = self.source()
        if acquisition is None:
            return None
        source, encoding, part = self.transfer.source, self.transfer.encoding, self.part(acquisition.setup.points)

        def finish() -> str:
            codes = self.converter.codes(acquisition, source)[part]
            data = (codes ^ 0x80 if encoding == "RIB" else codes).tobytes()  # two's complement of the code less 128
            count = str(len(data))
            return f"#{len(count)}{count}{data.decode('latin-1')}"

        return Later(BLOCK_TIME + (part.stop - part.start) / TRANSFER_RATE, finish)

    tree: ClassVar[CommandTree]


def event_text(error: Any) -> str:
    """An event as `ALLEv?` tells it: its number without a sign, and its text."""
    text = str(error)
    return text.removeprefix("-")


def choice_commands(
    header: str, choices: tuple[str, ...], write: Callable[[Any, str], Answer], read: Callable[[Any], str]
) -> Iterator[Command]:
    """The pair of commands for a setting that is one of several words."""
    yield Command(header, lambda scope, text: write(scope, character(text, choices)))
    yield Command(f"{header}?", read)


def channel_commands(
    header: str, write: Callable[[OutPreambleScope, int, str], Answer], read: Callable[[PositionedInput], str]
) -> Iterator[Command]:
    """The pair of commands for a setting of one channel."""
    yield Command(header, write)
    yield Command(f"{header}?", lambda scope, channel: read(scope.input(channel)))


def transfer_commands(header: str, attribute: str) -> Iterator[Command]:
    """The pair of commands for the first or the last point of a transfer."""

    def write(scope: OutPreambleScope, text: str) -> Answer:
        setattr(scope.transfer, attribute, integer(text, minimum=1))
        return None

    yield Command(header, write)
    yield Command(f"{header}?", lambda scope: str(getattr(scope.transfer, attribute)))


def choose(attribute: str) -> Callable[[Any, str], Answer]:
    """Writes one attribute of the transfer."""

    def write(scope: OutPreambleScope, choice: str) -> Answer:
        setattr(scope.transfer, attribute, int(choice[-1]) if attribute == "source" else choice)
        return None

    return write


def field_query(field: str) -> Callable[[OutPreambleScope], Answer]:
    """The handler of a query for one field of the out-preamble."""

    def read(scope: OutPreambleScope) -> Answer:
        fields = scope.preamble()
        return None if fields is None else fields[field]

    return read


Scope = OutPreambleScope
# The short forms of the fields are those of the dialect, not of the standard's rule.
FIELDS = ("NR_Pt", "PT_Off", "XINcr", "XZEro", "YMUlt", "YOFf", "YZEro", "XUNit", "YUNit", "BYT_Nr", "WFId")
OutPreambleScope.tree = CommandTree(
    *channel_commands("SELect:CH#", Scope.set_displayed, lambda each: str(int(each.displayed))),
    *channel_commands("CH#:COUPling", Scope.set_coupling, lambda each: each.coupling),
    *channel_commands("CH#:PRObe:GAIN", Scope.set_gain, lambda each: written(1.0 / each.probe)),
    *channel_commands("CH#:SCAle", Scope.set_scale, lambda each: written(each.scale)),
    *channel_commands("CH#:POSition", Scope.set_position, lambda each: written(each.position)),
    *channel_commands("CH#:OFFSet", Scope.set_offset, lambda each: written(-each.offset * each.probe + 0.0)),
    *channel_commands("CH#:BANdwidth", Scope.set_bandwidth, lambda each: "TWE" if each.limited else "FUL"),
    Command("HORizontal[:MAIn]:SCAle", Scope.set_time_scale),
    Command("HORizontal[:MAIn]:SCAle?", lambda scope: written(scope.setup.time_scale)),
    Command("HORizontal:DELay:MODe", Scope.set_delayed),
    Command("HORizontal:DELay:MODe?", lambda scope: str(int(scope.delayed))),
    Command("HORizontal:DELay:TIMe", Scope.set_delay),
    Command("HORizontal:DELay:TIMe?", lambda scope: written(scope.delay)),
    Command("HORizontal:POSition", Scope.set_place),
    Command("HORizontal:POSition?", lambda scope: written(scope.place)),
    Command("HORizontal:RECOrdlength", Scope.set_record),
    Command("HORizontal:RECOrdlength?", lambda scope: str(scope.setup.points)),
    Command("HORizontal:SAMPLERate?", lambda scope: written(1.0 / scope.setup.interval)),
    *choice_commands(
        "ACQuire:MODe",
        ("SAMple", "PEAKdetect", "AVErage"),
        lambda scope, word: scope.change(replace(scope.setup, kind=KINDS[word])),
        lambda scope: next(word for word, kind in KINDS.items() if kind == scope.setup.kind),
    ),
    Command("ACQuire:STOPAfter", Scope.set_stop_after),
    Command("ACQuire:STOPAfter?", lambda scope: "SEQUENCE" if scope.sequence else "RUNSTOP"),
    Command("ACQuire:STATE", Scope.set_state),
    Command("ACQuire:STATE?", Scope.acquiring),
    Command("BUSY?", Scope.acquiring),
    *choice_commands(
        "TRIGger:A:EDGE:SOUrce",
        SOURCES,
        lambda scope, source: scope.change_trigger(source=int(source[-1])),
        lambda scope: f"CH{scope.setup.trigger.source}",
    ),
    Command("TRIGger:A:LEVel:CH#", Scope.set_level),
    Command("TRIGger:A:LEVel:CH#?", lambda scope, _channel: written(scope.setup.trigger.level)),
    *choice_commands(
        "TRIGger:A:EDGE:SLOpe",
        ("RISe", "FALL"),
        lambda scope, slope: scope.change_trigger(slope="POS" if slope == "RIS" else "NEG"),
        lambda scope: "RISE" if scope.setup.trigger.slope == "POS" else "FALL",
    ),
    *choice_commands("TRIGger:A:TYPe", ("EDGE",), lambda *_: None, lambda _: "EDGE"),
    *choice_commands("TRIGger:A:MODe", ("AUTO", "NORMal"), Scope.choose_sweep, lambda scope: scope.setup.sweep),
    Command("TRIGger:STATE?", lambda scope: STATES[str(scope.state())]),
    Command("TRIGger", lambda scope, text: scope.force() if character(text, ("FORCe",)) else None),
    *choice_commands("DATa:SOUrce", SOURCES, choose("source"), lambda scope: f"CH{scope.transfer.source}"),
    *choice_commands("DATa:ENCdg", ("RIBinary", "RPBinary"), choose("encoding"), lambda scope: scope.transfer.encoding),
    Command("DATa:WIDth", OutPreambleScope.set_width),
    Command("DATa:WIDth?", lambda _: "1"),
    *transfer_commands("DATa:STARt", "start"),
    *transfer_commands("DATa:STOP", "stop"),
    Command("WFMOutpre?", lambda scope: None if (fields := scope.preamble()) is None else ";".join(fields.values())),
    *(Command(f"WFMOutpre:{field}?", field_query(field.upper())) for field in FIELDS),
    Command("CURVe?", Scope.curve),
    Command("HEADer", HeadedReplies.set_headed),
    Command("HEADer?", lambda scope: str(int(scope.headed))),
    Command("VERBose", HeadedReplies.set_verbose),
    Command("VERBose?", lambda scope: str(int(scope.verbose))),
    Command("*ESR?", Scope.read_events),
    Command("*CLS", Scope.clear_status),
    Command("ALLEv?", Scope.all_events),
    beneath=COMMON,
)
