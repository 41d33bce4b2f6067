"""A simulated three-output supply that takes channel lists: the dialect PS-3.

Commands and status of the supply as a whole; each output is a `SupplyOutput`. It must not know what is connected.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from autobench.clock import Clock
from autobench.protocols.parameters import boolean, channel_list, character, number
from autobench.protocols.scpi import ScpiError
from autobench.protocols.status import StatusRegister
from simulated_instruments.devices.command_tree import Answer, Command, CommandTree, Later
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.supply_output import MOST_AMPS, MOST_TRIP_VOLTS, MOST_VOLTS, SupplyOutput
from simulated_instruments.devices.terminals import SupplyTerminals

OUTPUTS = (1, 2, 3)
MEASURING_TIME = 0.01  # s for one value of a list
LONGEST_DELAY = 10.0  # s
CONSTANT_VOLTAGE, CONSTANT_CURRENT = 1 << 0, 1 << 1  # operation register
TRIPPED_ON_VOLTS, TRIPPED_ON_AMPS = 1 << 9, 1 << 10  # questionable register
# Numeric settings: attribute, unit, least, most, value after *RST.
NUMBERS: dict[str, tuple[str, float, float, float]] = {
    "volts": ("V", 0.0, MOST_VOLTS, 0.0),
    "amps": ("A", 0.0, MOST_AMPS, MOST_AMPS),
    "trip_volts": ("V", 0.0, MOST_TRIP_VOLTS, MOST_TRIP_VOLTS),
    "rise_delay": ("S", 0.0, LONGEST_DELAY, 0.0),
    "fall_delay": ("S", 0.0, LONGEST_DELAY, 0.0),
}


def written(value: float) -> str:
    """A number as this supply answers it."""
    return f"{value:+.8E}"


def read_setting(attribute: str, text: str) -> float:
    """A value sent for a numeric setting; outside its range is an error, never the nearest value."""
    unit, least, most, default = NUMBERS[attribute]
    return number(text, unit, minimum=least, maximum=most, default=default)


def number_commands(header: str, attribute: str) -> tuple[Command, Command]:
    """The pair of commands that sets and reads a numeric setting of the listed outputs."""

    def write(supply: ChannelListSupply, value: str, outputs: str) -> Answer:
        amount = read_setting(attribute, value)
        for output in supply.listed(outputs):
            setattr(output.settings, attribute, amount)
            output.refresh()
        return None

    def read(supply: ChannelListSupply, first: str, second: str | None = None) -> Answer:
        listed = supply.listed(first if second is None else second)
        if second is None:
            return ",".join(written(getattr(output.settings, attribute)) for output in listed)
        character(first, ("MINimum", "MAXimum", "DEFault"))
        return ",".join(written(read_setting(attribute, first)) for _ in listed)

    return Command(header, write), Command(f"{header}?", read)


def truth_commands(header: str, attribute: str) -> tuple[Command, Command]:
    """The pair of commands that sets and reads an on-off setting of the listed outputs."""

    def write(supply: ChannelListSupply, value: str, outputs: str) -> Answer:
        wanted = boolean(value)
        for output in supply.listed(outputs):
            setattr(output.settings, attribute, wanted)
            output.refresh()
        return None

    def read(supply: ChannelListSupply, outputs: str) -> Answer:
        return ",".join(str(int(getattr(output.settings, attribute))) for output in supply.listed(outputs))

    return Command(header, write), Command(f"{header}?", read)


class ChannelListSupply(Device):
    """Three outputs of 0 .. 20.5 V and 0 .. 5.1 A. `ignores_off`: a fault; switching off is acknowledged, not done."""

    model = "PS-3"

    def __init__(self, name: str, clock: Clock, terminals: SupplyTerminals, seed: int = 0) -> None:
        super().__init__(name, clock, seed)
        self.ignores_off = False
        self.outputs = {place: SupplyOutput(place, clock, terminals, seed, name) for place in OUTPUTS}
        self.operations = {place: StatusRegister() for place in OUTPUTS}
        self.questions = {place: StatusRegister() for place in OUTPUTS}
        self._registered: list[tuple[bool, bool, bool, bool]] = []  # the states that the registers show
        self.reset()

    def reset(self) -> None:
        for output in self.outputs.values():
            output.reset()
        self._update_registers()

    def progress(self) -> None:
        for output in self.outputs.values():
            output.refresh()
        self._update_registers()

    def registers(self) -> list[StatusRegister]:
        return [*super().registers(), *self.operations.values(), *self.questions.values()]

    def listed(self, text: str) -> list[SupplyOutput]:
        """The outputs of a channel list, in its order; raises -222 for one that does not exist."""
        return [self.outputs[place] for place in channel_list(text, OUTPUTS)]

    def _update_registers(self) -> None:
        """Conditions of each output, and of the supply as the sum of its outputs, where they are not what they were."""
        states = [
            (output.limiting, output.live, output.tripped_on_volts, output.tripped_on_amps)
            for output in self.outputs.values()
        ]
        if states == self._registered:
            return
        self._registered = states
        for place, output in self.outputs.items():
            mode = CONSTANT_CURRENT if output.limiting else CONSTANT_VOLTAGE
            self.operations[place].update(mode if output.live else 0)
            self.questions[place].update(
                TRIPPED_ON_VOLTS * output.tripped_on_volts | TRIPPED_ON_AMPS * output.tripped_on_amps
            )
        for whole, parts in ((self.operation, self.operations), (self.questionable, self.questions)):
            condition = 0
            for part in parts.values():
                condition |= part.condition
            whole.update(condition)

    def switch(self, state: str, outputs: str) -> Answer:
        """`OUTPut`: nothing is switched if one of the listed outputs may not be."""
        on = boolean(state)
        listed = self.listed(outputs)
        if on:
            for output in listed:
                if output.tripped:
                    raise ScpiError(-200, f"output {output.number} has tripped")
        elif self.ignores_off:
            return None
        for output in listed:
            output.switch(on)
        return None

    def clear_trips(self, outputs: str) -> Answer:
        for output in self.listed(outputs):
            output.clear_trip()
        return None

    def apply(self, name: str, volts: str, amps: str | None = None) -> Answer:
        """`APPLy CH1,5.0,1.0`: both values are checked before either is set."""
        output = self.named(name)
        level = read_setting("volts", volts)
        limit = output.settings.amps if amps is None else read_setting("amps", amps)
        output.settings.volts, output.settings.amps = level, limit
        output.refresh()
        return None

    def applied(self, name: str) -> Answer:
        settings = self.named(name).settings
        return f"{written(settings.volts)},{written(settings.amps)}"

    def named(self, text: str) -> SupplyOutput:
        """The output of a name such as `CH1`."""
        return self.outputs[int(character(text, [f"CH{place}" for place in OUTPUTS])[2:])]

    def measure(self, what: str, outputs: str) -> Answer:
        """Readback of the listed outputs, made when the answer is ready."""
        listed = self.listed(outputs)
        return Later(
            MEASURING_TIME * len(listed), lambda: ",".join(written(output.measured(what)) for output in listed)
        )

    def read_register(
        self, outputs: str | None, whole: StatusRegister, parts: dict[int, StatusRegister], event: bool
    ) -> Answer:
        """A status register of the supply, or those of the listed outputs."""
        self.progress()
        registers = [whole] if outputs is None else [parts[place] for place in channel_list(outputs, OUTPUTS)]
        return ",".join(str(register.read_event() if event else register.condition) for register in registers)

    tree: ClassVar[CommandTree]


def register_query(event: bool, question: bool) -> Callable[..., Answer]:
    """The handler of one status query with an optional channel list."""

    def read(supply: ChannelListSupply, outputs: str | None = None) -> Answer:
        if question:
            return supply.read_register(outputs, supply.questionable, supply.questions, event)
        return supply.read_register(outputs, supply.operation, supply.operations, event)

    return read


LEVEL = "[:LEVel][:IMMediate][:AMPLitude]"
ChannelListSupply.tree = CommandTree(
    *number_commands(f"[SOURce]:VOLTage{LEVEL}", "volts"),
    *number_commands(f"[SOURce]:CURRent{LEVEL}", "amps"),
    *number_commands("[SOURce]:VOLTage:PROTection[:LEVel]", "trip_volts"),
    *truth_commands("[SOURce]:VOLTage:PROTection:STATe", "trip_on_volts"),
    *truth_commands("[SOURce]:CURRent:PROTection:STATe", "trip_on_amps"),
    *number_commands("OUTPut:DELay:RISE", "rise_delay"),
    *number_commands("OUTPut:DELay:FALL", "fall_delay"),
    Command("OUTPut[:STATe]", ChannelListSupply.switch),
    truth_commands("OUTPut[:STATe]", "on")[1],
    Command("OUTPut:PROTection:CLEar", ChannelListSupply.clear_trips),
    Command("APPLy", ChannelListSupply.apply),
    Command("APPLy?", ChannelListSupply.applied),
    Command("MEASure[:SCALar]:VOLTage[:DC]?", lambda supply, outputs: supply.measure("volts", outputs)),
    Command("MEASure[:SCALar]:CURRent[:DC]?", lambda supply, outputs: supply.measure("amps", outputs)),
    Command("STATus:OPERation:CONDition?", register_query(event=False, question=False)),
    Command("STATus:OPERation[:EVENt]?", register_query(event=True, question=False)),
    Command("STATus:QUEStionable:CONDition?", register_query(event=False, question=True)),
    Command("STATus:QUEStionable[:EVENt]?", register_query(event=True, question=True)),
    beneath=Device.tree,
)
