"""A simulated counter that is configured, then read, with one gate for all inputs: the dialect K-2.

Configuring sets the input back, so that it chooses its level by itself again. A reading that cannot be made ends with
its own time-out and no number. It must not know what is connected.
"""

from __future__ import annotations

import math
from typing import ClassVar

from autobench.protocols.parameters import boolean, channel_list, character, kind, number
from autobench.protocols.scpi import ScpiError
from simulated_instruments.devices.command_tree import Answer, Command, CommandTree, Later
from simulated_instruments.devices.counter_gate import INPUTS, CounterInput, GateCounter, in_steps, input_commands
from simulated_instruments.devices.instrument import Device

MOST_LEVEL = 5.0  # V at the connector, on the smaller range
LEAST_GATE, MOST_GATE = 1e-3, 1000.0  # s
FOR_EVER = 9.9e37
NOT_A_NUMBER = "+9.91000000000000E+37"


def written(value: float) -> str:
    """A number as this counter answers it."""
    return f"{value:+.14E}"


class ConfiguredCounter(GateCounter):
    """The counter as its commands show it."""

    model = "K-2"
    latency = 0.008

    def reset(self) -> None:
        super().reset()
        self.within = 1.0
        self.probes = dict.fromkeys(INPUTS, 1.0)
        self.ranges = dict.fromkeys(INPUTS, 5.0)

    def input(self, number: int) -> CounterInput:
        """The settings of an input; raises -114 if there is none with this number."""
        if number not in INPUTS:
            raise ScpiError(-114, f"input {number}")
        return self.inputs[number]

    def configure(self, first: str = "", second: str = "", third: str = "") -> Answer:
        """`CONFigure:FREQuency`: expected rate, resolution and channel, each of which may be left out from the left."""
        given = [text for text in (first, second, third) if text]
        place = 1
        if given and kind(given[-1]) == "expression":
            chosen = channel_list(given.pop(), INPUTS)
            if len(chosen) != 1:
                raise ScpiError(-224, "one channel")
            place = chosen[0]
        for text in given:
            number(text, "HZ", minimum=0.0, maximum=350e6, default=10e6)
        self.channel, self.gate = place, 0.1
        settings = self.inputs[place]
        self.inputs[place] = CounterInput(settings.coupling, settings.ohms)
        return None

    def set_gate(self, text: str) -> Answer:
        self.gate = number(text, "S", minimum=LEAST_GATE, maximum=MOST_GATE)
        return None

    def set_coupling(self, place: int, text: str) -> Answer:
        self.input(place).coupling = character(text, ("AC", "DC"))
        return None

    def set_ohms(self, place: int, text: str) -> Answer:
        wanted = number(text, "OHM")
        if wanted not in (50.0, 1e6):
            raise ScpiError(-224, text[:40])
        self.input(place).ohms = wanted
        return None

    def set_level(self, place: int, text: str) -> Answer:
        """Volts at the probe's tip, by the factor that was told."""
        settings, probe = self.input(place), self.probes[place]
        most = MOST_LEVEL * probe * self.ranges[place] / 5.0
        settings.level = in_steps(number(text, "V", minimum=-most, maximum=most) / probe)
        return None

    def level(self, place: int) -> str:
        return written((self.input(place).level or 0.0) * self.probes[place])

    def set_automatic(self, place: int, text: str) -> Answer:
        settings = self.input(place)
        settings.level = None if boolean(text) else settings.level or 0.0
        return None

    def set_probe(self, place: int, text: str) -> Answer:
        """The level stays where it is at the connector, and is told otherwise from now on."""
        self.input(place)
        wanted = number(text)
        if wanted not in (1.0, 10.0):
            raise ScpiError(-224, text[:40])
        self.probes[place] = wanted
        return None

    def set_range(self, place: int, text: str) -> Answer:
        self.input(place)
        wanted = number(text, "V")
        if wanted not in (5.0, 50.0):
            raise ScpiError(-224, text[:40])
        self.ranges[place] = wanted
        return None

    def set_timeout(self, text: str) -> Answer:
        wanted = number(text, "S", minimum=0.01, maximum=FOR_EVER)
        self.within = math.inf if wanted > 9e36 else wanted
        return None

    def read(self) -> Answer:
        """A reading after the gate, or no number after the time-out."""
        if self.triggered():
            return Later(self.gate, self.finish)
        return None if math.isinf(self.within) else Later(self.within, lambda: NOT_A_NUMBER)

    def finish(self) -> str:
        """The reading once the gate has passed."""
        rate = self.counted()
        return NOT_A_NUMBER if rate is None else written(rate)

    tree: ClassVar[CommandTree]


def by_time(_counter: ConfiguredCounter, text: str) -> Answer:
    """A gate is always a time here."""
    character(text, ("TIME",))
    return None


def inside(_counter: ConfiguredCounter, text: str) -> Answer:
    """The time base is always its own here."""
    character(text, ("INTernal",))
    return None


Own = ConfiguredCounter
ConfiguredCounter.tree = CommandTree(
    Command("CONFigure:FREQuency", Own.configure),
    Command("CONFigure?", lambda counter: f'"FREQ 1.0E+07,1.0E+00,(@{counter.channel})"'),
    Command("[SENSe:]FREQuency:GATE:SOURce", by_time),
    Command("[SENSe:]FREQuency:GATE:SOURce?", lambda _: "TIME"),
    Command("[SENSe:]FREQuency:GATE:TIME", Own.set_gate),
    Command("[SENSe:]FREQuency:GATE:TIME?", lambda counter: written(counter.gate)),
    Command("[SENSe:]ROSCillator:SOURce", inside),
    Command("[SENSe:]ROSCillator:SOURce?", lambda _: "INT"),
    *input_commands("INPut#:COUPling", Own.set_coupling, lambda counter, place: counter.input(place).coupling),
    *input_commands("INPut#:IMPedance", Own.set_ohms, lambda counter, place: written(counter.input(place).ohms)),
    *input_commands("INPut#:LEVel", Own.set_level, Own.level),
    *input_commands(
        "INPut#:LEVel:AUTO", Own.set_automatic, lambda counter, place: str(int(counter.input(place).level is None))
    ),
    *input_commands("INPut#:PROBe", Own.set_probe, lambda counter, place: written(counter.probes[place])),
    *input_commands("INPut#:RANGe", Own.set_range, lambda counter, place: written(counter.ranges[place])),
    Command("SYSTem:TIMeout", Own.set_timeout),
    Command("SYSTem:TIMeout?", lambda counter: written(min(counter.within, FOR_EVER))),
    Command("READ?", Own.read),
    beneath=Device.tree,
)
