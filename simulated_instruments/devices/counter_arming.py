"""A simulated counter that is armed, with an input set part by part: the dialect K-1.

An input that is not triggered is waited for without end. It must not know what is connected.
"""

from __future__ import annotations

import re
from typing import ClassVar

from autobench.protocols.parameters import boolean, character, number, string
from autobench.protocols.scpi import ScpiError
from simulated_instruments.devices.command_tree import Answer, Command, CommandTree, Later
from simulated_instruments.devices.counter_gate import INPUTS, CounterInput, GateCounter, in_steps, input_commands
from simulated_instruments.devices.instrument import Device

FUNCTION = re.compile(r"FREQ(?:UENCY)?(?: ([12]))?")
MOST_LEVEL = 5.125  # V at the connector; ten times that with the attenuator
LEAST_GATE, MOST_GATE = 1e-3, 99.0  # s
LEAST_RATE, MOST_RATE = 0.1, 225e6  # Hz
NEAR = 0.1  # relative; the rate must not be further from what it was told to expect
NOT_A_NUMBER = "+9.91E+037"


def written(value: float) -> str:
    """A number as this counter answers it, its exponent always with three digits."""
    mantissa, _, exponent = f"{value:+.11E}".partition("E")
    return f"{mantissa}E{exponent[0]}{int(exponent[1:]):03d}"


class ArmingCounter(GateCounter):
    """The counter as its commands show it."""

    model = "K-1"
    latency = 0.01

    def reset(self) -> None:
        super().reset()
        self.timed = False  # whether a time, and not the very next event, ends the gate
        self.expected: dict[int, float] = {}
        self.attenuation = dict.fromkeys(INPUTS, 1.0)
        self.latest: float | None = None

    def input(self, number: int) -> CounterInput:
        """The settings of an input; raises -114 if there is none with this number."""
        if number not in INPUTS:
            raise ScpiError(-114, f"input {number}")
        return self.inputs[number]

    def set_function(self, text: str) -> Answer:
        """`'FREQ 1'`, in quotes."""
        match = FUNCTION.fullmatch(string(text).strip().upper())
        if match is None:
            raise ScpiError(-224, text[:40])
        self.channel = int(match[1] or 1)
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

    def set_attenuation(self, place: int, text: str) -> Answer:
        wanted = number(text)
        if wanted not in (1.0, 10.0):
            raise ScpiError(-224, text[:40])
        self.input(place)
        self.attenuation[place] = wanted
        return None

    def set_filter(self, place: int, text: str) -> Answer:
        self.input(place).filtered = boolean(text)
        return None

    def set_level(self, place: int, text: str) -> Answer:
        """Volts at the connector, whatever attenuator is behind it and whatever probe before it."""
        settings = self.input(place)
        most = MOST_LEVEL * self.attenuation[place]
        settings.level = in_steps(number(text, "V", minimum=-most, maximum=most))
        return None

    def set_automatic(self, place: int, text: str) -> Answer:
        settings = self.input(place)
        settings.level = None if boolean(text) else settings.level or 0.0
        return None

    def set_slope(self, place: int, text: str) -> Answer:
        self.input(place).slope = character(text, ("POSitive", "NEGative"))
        return None

    def set_stop(self, text: str) -> Answer:
        self.timed = character(text, ("IMMediate", "TIMer")) == "TIM"
        return None

    def set_gate(self, text: str) -> Answer:
        self.gate = number(text, "S", minimum=LEAST_GATE, maximum=MOST_GATE)
        return None

    def expect(self, place: int, text: str) -> Answer:
        self.input(place)
        self.expected[place] = number(text, "HZ", minimum=LEAST_RATE, maximum=MOST_RATE)
        return None

    def read(self) -> Answer:
        """A reading after the gate; no reply at all where the input is not triggered, until it is cleared."""
        if not self.triggered():
            return None
        if not self.timed:
            self.gate = LEAST_GATE
        return Later(self.gate, self.finish)

    def finish(self) -> str:
        """The reading once the gate has passed."""
        self.latest = self.counted()
        expected = self.expected.get(self.channel)
        if self.latest is None or (expected is not None and abs(self.latest / expected - 1.0) > NEAR):
            return NOT_A_NUMBER
        return written(self.latest)

    def fetch(self) -> Answer:
        if self.latest is None:
            raise ScpiError(-230, "nothing counted yet")
        return written(self.latest)

    tree: ClassVar[CommandTree]


def start_at_once(_counter: ArmingCounter, text: str) -> Answer:
    """The start of a gate is always immediate here."""
    character(text, ("IMMediate",))
    return None


Own = ArmingCounter
ArmingCounter.tree = CommandTree(
    Command("[SENSe:]FUNCtion", Own.set_function),
    Command("[SENSe:]FUNCtion?", lambda counter: f'"FREQ {counter.channel}"'),
    *input_commands("INPut#:COUPling", Own.set_coupling, lambda counter, place: counter.input(place).coupling),
    *input_commands("INPut#:IMPedance", Own.set_ohms, lambda counter, place: written(counter.input(place).ohms)),
    *input_commands(
        "INPut#:ATTenuation", Own.set_attenuation, lambda counter, place: written(counter.attenuation[place])
    ),
    *input_commands("INPut#:FILTer", Own.set_filter, lambda counter, place: str(int(counter.input(place).filtered))),
    *input_commands(
        "[SENSe:]EVENt#:LEVel[:ABSolute]",
        Own.set_level,
        lambda counter, place: written(counter.input(place).level or 0),
    ),
    *input_commands(
        "[SENSe:]EVENt#:LEVel:AUTO",
        Own.set_automatic,
        lambda counter, place: str(int(counter.input(place).level is None)),
    ),
    *input_commands("[SENSe:]EVENt#:SLOPe", Own.set_slope, lambda counter, place: counter.input(place).slope),
    Command("[SENSe:]FREQuency:ARM:STARt:SOURce", start_at_once),
    Command("[SENSe:]FREQuency:ARM:STARt:SOURce?", lambda _: "IMM"),
    Command("[SENSe:]FREQuency:ARM:STOP:SOURce", Own.set_stop),
    Command("[SENSe:]FREQuency:ARM:STOP:SOURce?", lambda counter: "TIM" if counter.timed else "IMM"),
    Command("[SENSe:]FREQuency:ARM:STOP:TIMer", Own.set_gate),
    Command("[SENSe:]FREQuency:ARM:STOP:TIMer?", lambda counter: written(counter.gate)),
    Command("[SENSe:]FREQuency:EXPected#", Own.expect),
    Command("READ?", Own.read),
    Command("FETCh?", Own.fetch),
    beneath=Device.tree,
)
