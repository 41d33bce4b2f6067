"""A simulated four-channel oscilloscope whose record has a binary descriptor, laid out by a template: the dialect O-3a.

It shares running, trigger and converter with the scopes O-1. Commands have no tree; replies begin with their header and
end with a unit until that is switched off; a block has text before it and two line ends behind it; codes have signs.
It must not know what is connected.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any, ClassVar

import numpy as np

from autobench.clock import Clock
from autobench.protocols.parameters import character, number
from autobench.protocols.scpi import ScpiError, Unit
from simulated_instruments.devices.command_tree import Answer, Command, CommandTree, Later
from simulated_instruments.devices.headed_replies import COMMON
from simulated_instruments.devices.scope_positioned_setup import CENTRE, LEAST_CODE, PositionedSetup
from simulated_instruments.devices.scope_preamble_data_converter import Acquisition
from simulated_instruments.devices.scope_preamble_data_setup import (
    CHANNELS,
    TIME_SCALES,
    Setup,
    time_scale_for,
)
from simulated_instruments.devices.scope_template_channels import SOURCES, TemplateChannels, paired
from simulated_instruments.devices.scope_template_descriptor import Part, descriptor
from simulated_instruments.devices.terminals import ScopeTerminals

BLOCK_TIME = 0.01  # s from asking for a waveform to its first byte
TRANSFER_RATE = 10e6  # bytes a second
NEW_SIGNAL, TRIGGER_READY = 1 << 0, 1 << 13  # of the register INR, which reading clears
UNIT_BEHIND = re.compile(r"(?<=[0-9])(?:V|S|Sa/s)$")
BETWEEN_COMMANDS = re.compile(r";\s*(?=[A-Za-z])")
MEMORY = re.compile(r"([0-9]+(?:\.[0-9]+)?(?:E[+]?[0-9]+)?)([KM]?)", re.IGNORECASE)
WAYS = ("SAMPLING", "PEAK_DETECT")
ONE_BYTE = ("DEF9", "BYTE", "BIN")


def written(value: float, unit: str = "") -> str:
    """A number as this oscilloscope answers it: three digits, and its unit glued to it."""
    return f"{value + 0.0:.2E}{unit}"


class TemplateScope(TemplateChannels):
    """The oscilloscope as its commands show it."""

    model = "O-3a"
    delivered: ClassVar[Setup] = PositionedSetup()
    steps: ClassVar[tuple[int, ...]] = PositionedSetup.depths
    own_gain: ClassVar[bool] = True  # whether the descriptor tells the volts of a code

    def __init__(self, name: str, clock: Clock, terminals: ScopeTerminals, seed: int = 0) -> None:
        super().__init__(name, clock, terminals, seed)
        self.converter.centre, self.converter.least_code = CENTRE, LEAST_CODE

    def reset(self) -> None:
        super().reset()
        self.header = "SHORT"
        self.low_first = False
        self.part = Part()
        self.levels = dict.fromkeys(CHANNELS, 0.0)
        self.slopes = dict.fromkeys(CHANNELS, "POS")
        self.told: tuple[Acquisition | None, object] = (None, None)

    # The way of talking.

    def _execute(self, message: str) -> None:
        super()._execute(BETWEEN_COMMANDS.sub(";:", message))  # there is no tree: every header stands for itself

    def _perform(self, unit: Unit) -> Answer:
        answer = super()._perform(unit)
        if answer is None or unit.common or not unit.query:
            return answer
        if isinstance(answer, Later):
            return Later(answer.seconds, lambda: self.headed(unit, answer.finish()))
        return self.headed(unit, answer)

    def headed(self, unit: Unit, text: str) -> str:
        """A reply with its header and unit, or without either."""
        if self.header == "OFF":
            return UNIT_BEHIND.sub("", text)
        return f"{':'.join(unit.header)} {text}"

    def set_header(self, text: str) -> Answer:
        self.header = character(text, ("OFF", "SHORT", "LONG"))
        return None

    # Time, memory, trigger.

    def set_time_scale(self, text: str) -> Answer:
        wanted = number(text, "S", minimum=TIME_SCALES[0], maximum=TIME_SCALES[-1])
        return self.change(self.setup.with_time_scale(time_scale_for(wanted)))

    def set_delay(self, text: str) -> Answer:
        least, most = self.setup.least_offset, self.setup.most_offset
        wanted = number(text, "S", minimum=least * (1 + 1e-6), maximum=most)
        return self.change(replace(self.setup, time_offset=max(wanted, least)))

    def set_memory(self, text: str) -> Answer:
        """`14K` and the like: the next larger one there is."""
        match = MEMORY.fullmatch(text.strip())
        if match is None:
            raise ScpiError(-120, text[:40])
        wanted = float(match[1]) * {"": 1.0, "K": 1e3, "M": 1e6}[match[2].upper()]
        if wanted > self.steps[-1]:
            raise ScpiError(-222, text[:40])
        return self.change(replace(self.setup, depth=next(step for step in self.steps if step >= wanted - 0.5)))

    def memory(self) -> Answer:
        depth = self.setup.depth or self.setup.points
        return f"{depth / 1e6:g}M" if depth >= 1_000_000 else f"{depth / 1e3:g}K"

    def rate(self) -> Answer:
        return written(1.0 / self.setup.interval, "Sa/s")

    def select_trigger(self, *words: str) -> Answer:
        """`EDGE,SR,C1`: the kind, then pairs; only the source counts here."""
        character(words[0], ("EDGE",))
        for name, value in paired(words[1:]):
            if name.strip().upper() == "SR":
                return self.retrigger(int(character(value, SOURCES)[-1]))
        return None

    def retrigger(self, source: int) -> Answer:
        """The trigger on a channel, with the level and the slope that were set for it."""
        trigger = replace(self.setup.trigger, source=source, level=self.levels[source], slope=self.slopes[source])
        return self.change(replace(self.setup, trigger=trigger))

    def set_level(self, channel: int, text: str) -> Answer:
        self.input(channel)
        self.levels[channel] = number(text, "V")
        return self.retrigger(self.setup.trigger.source)

    def set_slope(self, channel: int, text: str) -> Answer:
        self.input(channel)
        self.slopes[channel] = character(text, ("POS", "NEG"))
        return self.retrigger(self.setup.trigger.source)

    def set_mode(self, text: str) -> Answer:
        """The trigger mode is also what starts and stops it."""
        mode = character(text, ("AUTO", "NORM", "SINGLE", "STOP"))
        if mode == "STOP":
            return self.stop()
        if mode == "SING":  # waits for its trigger, however it ran before
            self.setup = replace(self.setup, sweep="NORM")
            return self.arm(single=True)
        self.choose_sweep(mode)
        return self.run()

    def mode(self) -> Answer:
        if self.state() == "STOP":
            return "STOP"
        return "SINGLE" if self.sweep.single else self.setup.sweep

    def changes(self) -> Answer:
        """`INR?`: what happened since it was asked last."""
        latest, sweep = self.latest(), self.sweep
        ready = sweep if self.state() == "WAIT" else None
        found = (NEW_SIGNAL if latest is not None and latest is not self.told[0] else 0) | (
            TRIGGER_READY if ready is not None and ready is not self.told[1] else 0
        )
        self.told = (latest, ready or self.told[1])
        return str(found)

    # Reading out.

    def set_format(self, *words: str) -> Answer:
        if tuple(word.strip().upper() for word in words) != ONE_BYTE:
            raise ScpiError(-224, ",".join(words)[:40])
        return None

    def set_order(self, text: str) -> Answer:
        self.low_first = character(text, ("HI", "LO")) == "LO"
        return None

    def set_part(self, *words: str) -> Answer:
        """Pairs of `SP` (every so many points), `NP` (points), `FP` (first point, from 0) and `SN`, and a number."""
        for name, value in paired(words):
            self.part = self.part.changed(character(name, ("SP", "NP", "FP", "SN")), round(number(value, minimum=0)))
        return None

    def waveform(self, channel: int, text: str) -> Answer:
        """The descriptor, or the codes of a channel; nothing but an error where there is no such record."""
        block = character(text, ("DESC", "DAT1", "DAT2", "ALL"))
        self.input(channel)
        acquisition = self.latest()
        if acquisition is None or not acquisition.setup.input(channel).displayed:
            self.report(-221, f"C{channel} has no waveform")
            return None
        part = self.part.of(acquisition.setup.points)
        described = descriptor(acquisition.setup, channel, part, self.low_first, self.own_gain)
        if block == "DESC":
            return blocked(described)

        def finish() -> str:
            codes = self.converter.codes(acquisition, channel)[part]
            data = (codes ^ np.uint8(CENTRE)).tobytes()  # two's complement of the code less 128
            return blocked(described + data if block == "ALL" else data)

        return Later(BLOCK_TIME + len(range(*part.indices(acquisition.setup.points))) / TRANSFER_RATE, finish)

    tree: ClassVar[CommandTree]


def blocked(data: bytes) -> str:
    """A block with the text before it and the line end of its own behind it."""
    return f"ALL,#9{len(data):09d}{data.decode('latin-1')}\n"


def channel_commands(
    word: str, write: Callable[[Any, int, str], Answer], read: Callable[[Any, int], Answer]
) -> Iterator[Command]:
    """The pair of commands for a setting of one channel."""
    yield Command(f"C#:{word}", write)
    yield Command(f"C#:{word}?", read)


def up_to_eight(handler: Callable[..., Answer], least: int = 1) -> Callable[..., Answer]:
    """A handler of a list of words, as a command that takes at the most eight of them."""

    def handle(
        scope: Any,
        first: str,
        second: str = "",
        third: str = "",
        fourth: str = "",
        fifth: str = "",
        sixth: str = "",
        seventh: str = "",
        eighth: str = "",
    ) -> Answer:
        words = [first, second, third, fourth, fifth, sixth, seventh, eighth]
        given = tuple(word for word in words if word)
        if len(given) < least:
            raise ScpiError(-109)
        return handler(scope, *given)

    return handle


Scope = TemplateScope
SHARED = CommandTree(
    Command("CHDR", Scope.set_header),
    Command("CHDR?", lambda scope: scope.header),
    *channel_commands("TRA", Scope.set_trace, lambda scope, place: "ON" if scope.input(place).displayed else "OFF"),
    *channel_commands("CPL", Scope.set_coupling, Scope.coupling),
    *channel_commands("ATTN", Scope.set_probe, lambda scope, place: f"{scope.input(place).probe:g}"),
    *channel_commands("VDIV", Scope.set_scale, lambda scope, place: written(scope.input(place).scale, "V")),
    *channel_commands(
        "OFST",
        Scope.set_offset,
        lambda scope, place: written((settings := scope.input(place)).offset * scope.offset_factor(settings), "V"),
    ),
    Command("BWL", up_to_eight(Scope.set_limits, 2)),
    Command("BWL?", Scope.limits),
    Command("TDIV", Scope.set_time_scale),
    Command("TDIV?", lambda scope: written(scope.setup.time_scale, "S")),
    Command("TRDL", Scope.set_delay),
    Command("TRDL?", lambda scope: written(scope.setup.time_offset, "S")),
    Command("MSIZ", Scope.set_memory),
    Command("MSIZ?", Scope.memory),
    Command("SARA?", lambda scope: scope.rate()),
    Command(
        "ACQW",
        lambda scope, word: scope.change(
            replace(scope.setup, kind={"SAMP": "NORM", "PEAK": "PEAK"}[character(word, WAYS)])
        ),
    ),
    Command("ACQW?", lambda scope: WAYS[scope.setup.kind == "PEAK"]),
    Command("TRSE", up_to_eight(Scope.select_trigger)),
    Command("TRSE?", lambda scope: f"EDGE,SR,C{scope.setup.trigger.source}"),
    *channel_commands("TRLV", Scope.set_level, lambda scope, place: written(scope.levels[place], "V")),
    *channel_commands("TRSL", Scope.set_slope, lambda scope, place: scope.slopes[place]),
    Command("TRMD", Scope.set_mode),
    Command("TRMD?", Scope.mode),
    Command("ARM", lambda scope: scope.arm(single=True)),
    Command("STOP", Scope.stop),
    Command("FRTR", Scope.force),
    Command("INR?", Scope.changes),
    Command("WFSU", up_to_eight(Scope.set_part, 2)),
    Command("WFSU?", lambda scope: str(scope.part)),
    Command("C#:WF?", Scope.waveform),
    beneath=COMMON,
)
TemplateScope.tree = CommandTree(
    Command("CFMT", up_to_eight(Scope.set_format, 3)),
    Command("CORD", Scope.set_order),
    Command("CORD?", lambda scope: "LO" if scope.low_first else "HI"),
    beneath=SHARED,
)
