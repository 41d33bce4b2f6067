"""A simulated two-output supply whose outputs are words, as in `OUTP CH1,ON`: the dialect PS-4.

Its firmware is slow: what is sent on the heels of another message is lost without a word. Each output is a
`SupplyOutput`. It must not know what is connected.
"""

from __future__ import annotations

from typing import ClassVar

from autobench.clock import Clock
from autobench.protocols.parameters import boolean, character, number
from autobench.protocols.scpi import ScpiError
from simulated_instruments.devices.command_tree import Answer, Command, CommandTree, Later
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.supply_output import Ratings, SupplyOutput
from simulated_instruments.devices.terminals import SupplyTerminals

OUTPUTS = (1, 2)
WORDS = tuple(f"CH{place}" for place in OUTPUTS)
MEASURING_TIME = 0.02  # s
PACE = 0.03  # s between two messages, else the second is lost
RATINGS = Ratings(
    volts=32.0,
    amps=3.2,
    trip_volts=33.0,
    volts_class=(0.0005, 0.01),
    amps_class=(0.002, 0.01),
)
# Settings: attribute, unit, least, most.
SPANS = {
    "volts": ("V", 0.0, RATINGS.volts),
    "amps": ("A", 0.0, RATINGS.amps),
    "trip_volts": ("V", 0.1, RATINGS.trip_volts),
    "trip_amps": ("A", 0.01, 3.5),
}
# Bits of the status word: in constant current (one an output), the tracking mode (left at independent), and on.
LIMITING_BIT, MODE_BITS, ON_BIT = 0, 0b01 << 2, 4


def read_setting(what: str, text: str) -> float:
    """A value sent for a setting; beyond its span is an error, never the nearest value."""
    unit, least, most = SPANS[what]
    return number(text, unit, minimum=least, maximum=most, default=most)


class ChannelWordSupply(Device):
    """Two outputs of 32 V and 3.2 A. `ignores_off`: a fault; switching off is accepted, not done."""

    model = "PS-4"
    latency = 0.02

    def __init__(self, name: str, clock: Clock, terminals: SupplyTerminals, seed: int = 0) -> None:
        super().__init__(name, clock, seed)
        self.pace = PACE
        self.ignores_off = False
        self.outputs = {place: SupplyOutput(place, clock, terminals, seed, name, RATINGS) for place in OUTPUTS}
        self.trip_amps = dict.fromkeys(OUTPUTS, SPANS["trip_amps"][2])
        self.reset()

    def reset(self) -> None:
        for output in self.outputs.values():
            output.reset()
            output.settings.trip_on_volts = False
            output.refresh()

    def progress(self) -> None:
        for output in self.outputs.values():
            output.refresh()

    def named(self, text: str) -> SupplyOutput:
        """The output of a word such as `CH1`; raises -141 or -224 for any other."""
        return self.outputs[int(character(text, WORDS)[2:])]

    def numbered(self, place: int) -> SupplyOutput:
        """The output of a header's suffix; raises -114 for one that does not exist."""
        if place not in self.outputs:
            raise ScpiError(-114, f"CH{place}")
        return self.outputs[place]

    def set_level(self, place: int, what: str, text: str) -> Answer:
        output = self.numbered(place)
        setattr(output.settings, what, read_setting(what, text))
        output.refresh()
        return None

    def level(self, place: int, what: str) -> Answer:
        return f"{getattr(self.numbered(place).settings, what):.3f}"

    def apply(self, word: str, volts: str, amps: str) -> Answer:
        """Both values are checked before either is set."""
        output = self.named(word)
        level, limit = read_setting("volts", volts), read_setting("amps", amps)
        output.settings.volts, output.settings.amps = level, limit
        output.refresh()
        return None

    def switch(self, word: str, state: str) -> Answer:
        output, on = self.named(word), boolean(state)
        if on and output.tripped:
            raise ScpiError(-221, f"{word} has tripped")
        if on or not self.ignores_off:
            output.switch(on)
        return None

    def measure(self, word: str, *what: str) -> Answer:
        """Readings of one output; watts are what its volts and amps give."""
        output = self.named(word)

        def read() -> str:
            values = {each: output.measured(each) for each in ("volts", "amps")}
            values["watts"] = values["volts"] * values["amps"]
            return ",".join(f"{values[each]:.3f}" for each in what)

        return Later(MEASURING_TIME, read)

    def mode(self, word: str) -> Answer:
        """Constant current or constant voltage, which is also said of an output that is off."""
        return "CC" if self.named(word).limiting else "CV"

    def status_word(self) -> Answer:
        """One hexadecimal number for the whole supply."""
        word = MODE_BITS
        for place, output in self.outputs.items():
            word |= output.limiting << (LIMITING_BIT + place - 1) | output.live << (ON_BIT + place - 1)
        return f"0x{word:02x}"

    def set_trip_amps(self, word: str, text: str) -> Answer:
        self.trip_amps[self.named(word).number] = read_setting("trip_amps", text)
        return None

    def set_trip_volts(self, word: str, text: str) -> Answer:
        output = self.named(word)
        output.settings.trip_volts = read_setting("trip_volts", text)
        output.refresh()
        return None

    def arm_trip(self, word: str, what: str, state: str) -> Answer:
        output = self.named(word)
        setattr(output.settings, what, boolean(state))
        output.refresh()
        return None

    def clear_trip(self, word: str) -> Answer:
        self.named(word).clear_trip()
        return None

    tree: ClassVar[CommandTree]


def switched(on: bool) -> str:
    """On and off as this supply answers them."""
    return "ON" if on else "OFF"


def happened(tripped: bool) -> str:
    """Whether a protection has tripped, as this supply answers it."""
    return "YES" if tripped else "NO"


ChannelWordSupply.tree = CommandTree(
    Command("CH#:VOLTage", lambda supply, place, text: supply.set_level(place, "volts", text)),
    Command("CH#:VOLTage?", lambda supply, place: supply.level(place, "volts")),
    Command("CH#:CURRent", lambda supply, place, text: supply.set_level(place, "amps", text)),
    Command("CH#:CURRent?", lambda supply, place: supply.level(place, "amps")),
    Command("APPLy", ChannelWordSupply.apply),
    Command("OUTPut[:STATe]", ChannelWordSupply.switch),
    Command("OUTPut[:STATe]?", lambda supply, word: switched(supply.named(word).settings.on)),
    Command("OUTPut:MODE?", ChannelWordSupply.mode),
    Command("OUTPut:OVP:VALue", ChannelWordSupply.set_trip_volts),
    Command("OUTPut:OVP:VALue?", lambda supply, word: f"{supply.named(word).settings.trip_volts:.3f}"),
    Command("OUTPut:OVP[:STATe]", lambda supply, word, state: supply.arm_trip(word, "trip_on_volts", state)),
    Command("OUTPut:OVP[:STATe]?", lambda supply, word: switched(supply.named(word).settings.trip_on_volts)),
    Command("OUTPut:OVP:QUES?", lambda supply, word: happened(supply.named(word).tripped_on_volts)),
    Command("OUTPut:OVP:CLEAR", ChannelWordSupply.clear_trip),
    Command("OUTPut:OCP:VALue", ChannelWordSupply.set_trip_amps),
    Command("OUTPut:OCP:VALue?", lambda supply, word: f"{supply.trip_amps[supply.named(word).number]:.3f}"),
    Command("OUTPut:OCP[:STATe]", lambda supply, word, state: supply.arm_trip(word, "trip_on_amps", state)),
    Command("OUTPut:OCP:QUES?", lambda supply, word: happened(supply.named(word).tripped_on_amps)),
    Command("OUTPut:OCP:CLEAR", ChannelWordSupply.clear_trip),
    Command("MEASure:VOLTage?", lambda supply, word: supply.measure(word, "volts")),
    Command("MEASure:CURRent?", lambda supply, word: supply.measure(word, "amps")),
    Command("MEASure:ALL?", lambda supply, word: supply.measure(word, "volts", "amps", "watts")),
    Command("SYSTem:STATus?", ChannelWordSupply.status_word),
    beneath=Device.tree,
)
