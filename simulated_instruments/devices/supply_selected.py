"""A simulated three-output supply whose outputs are selected before they are told anything: the dialect PS-2.

Two outputs count up from their common terminal, the third counts down and takes signed volts. The selection stays until
another is made, whoever made it. It must not know what is connected.
"""

from __future__ import annotations

from typing import ClassVar

from autobench.clock import Clock
from autobench.protocols.parameters import boolean, character, integer, number
from autobench.protocols.scpi import ScpiError
from autobench.protocols.status import StatusRegister
from simulated_instruments.devices.command_tree import Answer, Command, CommandTree, Later
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.supply_output import Ratings, SupplyOutput
from simulated_instruments.devices.terminals import SupplyTerminals

MEASURING_TIME = 0.02  # s
NAMES = ("P15V", "P25V", "N25V")
RATINGS = {
    1: Ratings(volts=15.45, amps=3.09, trip_volts=17.0),
    2: Ratings(volts=25.75, amps=1.03, trip_volts=28.0),
    3: Ratings(volts=25.75, amps=1.03, trip_volts=28.0, negative=True),
}
# Questionable instrument summary of one output: "voltage unregulated" means constant current.
CONSTANT_CURRENT, CONSTANT_VOLTAGE = 1 << 0, 1 << 1
TRIPPED_ON_VOLTS = 1 << 9
SUMMARY = 1 << 13  # of the questionable register: some output has something to say (SCPI-1999 vol. 1, 9.4)


def written(value: float) -> str:
    """A number as this supply answers it."""
    return f"{value:+.8E}"


class SelectedSupply(Device):
    """Outputs of 15 V and 3 A, 25 V and 1 A, −25 V and 1 A. `together`: switching concerns all outputs at once, as on
    some instruments of this family. `ignores_off`: a fault; switching off is accepted, not done.
    """

    model = "PS-2"
    latency = 0.02

    def __init__(self, name: str, clock: Clock, terminals: SupplyTerminals, seed: int = 0) -> None:
        super().__init__(name, clock, seed)
        self.together = False
        self.ignores_off = False
        self.selected = 1
        self.outputs = {
            place: SupplyOutput(place, clock, terminals, seed, name, ratings) for place, ratings in RATINGS.items()
        }
        self.summaries = {place: StatusRegister() for place in RATINGS}
        self.reset()

    def reset(self) -> None:
        self.selected = 1
        for output in self.outputs.values():
            output.reset()
        self.progress()

    def registers(self) -> list[StatusRegister]:
        return [*super().registers(), *self.summaries.values()]

    def progress(self) -> None:
        said = 0
        for place, output in self.outputs.items():
            output.refresh()
            mode = CONSTANT_CURRENT if output.limiting else CONSTANT_VOLTAGE
            condition = (mode if output.live else 0) | TRIPPED_ON_VOLTS * output.tripped_on_volts
            self.summaries[place].update(condition)
            said |= condition
        self.questionable.update(SUMMARY if said else 0)

    @property
    def output(self) -> SupplyOutput:
        """The selected output."""
        return self.outputs[self.selected]

    def named(self, text: str | None) -> SupplyOutput:
        """The output of that name, or the selected one."""
        return self.output if text is None else self.outputs[NAMES.index(character(text, NAMES)) + 1]

    def select_number(self, text: str) -> Answer:
        self.selected = integer(text, minimum=1, maximum=len(NAMES))
        return None

    def select_name(self, text: str) -> Answer:
        self.selected = NAMES.index(character(text, NAMES)) + 1
        return None

    def level(self, output: SupplyOutput, text: str) -> float:
        """Volts sent for an output, as a magnitude; the wrong sign is out of range."""
        most = output.ratings.volts
        least, highest = (-most, 0.0) if output.ratings.negative else (0.0, most)
        return abs(number(text, "V", minimum=least, maximum=highest, default=0.0))

    def limit(self, output: SupplyOutput, text: str) -> float:
        """Amps sent for an output."""
        return number(text, "A", minimum=0.0, maximum=output.ratings.amps, default=output.ratings.amps)

    def set_volts(self, text: str) -> Answer:
        self.output.settings.volts = self.level(self.output, text)
        self.output.refresh()
        return None

    def set_amps(self, text: str) -> Answer:
        self.output.settings.amps = self.limit(self.output, text)
        self.output.refresh()
        return None

    def set_trip(self, text: str) -> Answer:
        """The trip level takes the sign of its output, too."""
        output, most = self.output, self.output.ratings.trip_volts
        least, highest = (-most, -1.0) if output.ratings.negative else (1.0, most)
        output.settings.trip_volts = abs(number(text, "V", minimum=least, maximum=highest))
        output.refresh()
        return None

    def arm_trip(self, text: str) -> Answer:
        self.output.settings.trip_on_volts = boolean(text)
        self.output.refresh()
        return None

    def signed(self, value: float) -> str:
        """Volts of the selected output as answered."""
        return written(self.output.ratings.sign * value + 0.0)

    def apply(self, name: str, volts: str, amps: str | None = None) -> Answer:
        """Selects the output; both values are checked before either is set."""
        output = self.named(name)
        level = self.level(output, volts)
        limit = output.settings.amps if amps is None else self.limit(output, amps)
        self.selected = output.number
        output.settings.volts, output.settings.amps = level, limit
        output.refresh()
        return None

    def switch(self, state: str) -> Answer:
        on = boolean(state)
        concerned = list(self.outputs.values()) if self.together else [self.output]
        if on and any(output.tripped for output in concerned):
            raise ScpiError(-200, "an output has tripped")
        if on or not self.ignores_off:
            for output in concerned:
                output.switch(on)
        return None

    def clear_trip(self) -> Answer:
        self.output.clear_trip()
        return None

    def measure(self, what: str, name: str | None = None) -> Answer:
        output = self.named(name)
        return Later(MEASURING_TIME, lambda: written(output.measured(what)))

    def summary(self, place: int, event: bool) -> Answer:
        """The register of one output; raises -114 where there is none of this number."""
        if place not in self.summaries:
            raise ScpiError(-114, f"output {place}")
        self.progress()
        register = self.summaries[place]
        return str(register.read_event() if event else register.condition)

    tree: ClassVar[CommandTree]


LEVEL = "[:LEVel][:IMMediate][:AMPLitude]"
SUMMARIES = "STATus:QUEStionable:INSTrument:ISUMmary#"
SelectedSupply.tree = CommandTree(
    Command("INSTrument:NSELect", SelectedSupply.select_number),
    Command("INSTrument:NSELect?", lambda supply: str(supply.selected)),
    Command("INSTrument[:SELect]", SelectedSupply.select_name),
    Command("INSTrument[:SELect]?", lambda supply: NAMES[supply.selected - 1]),
    Command(f"[SOURce]:VOLTage{LEVEL}", SelectedSupply.set_volts),
    Command(f"[SOURce]:VOLTage{LEVEL}?", lambda supply: supply.signed(supply.output.settings.volts)),
    Command(f"[SOURce]:CURRent{LEVEL}", SelectedSupply.set_amps),
    Command(f"[SOURce]:CURRent{LEVEL}?", lambda supply: written(supply.output.settings.amps)),
    Command("[SOURce]:VOLTage:PROTection[:LEVel]", SelectedSupply.set_trip),
    Command("[SOURce]:VOLTage:PROTection[:LEVel]?", lambda supply: supply.signed(supply.output.settings.trip_volts)),
    Command("[SOURce]:VOLTage:PROTection:STATe", SelectedSupply.arm_trip),
    Command("[SOURce]:VOLTage:PROTection:STATe?", lambda supply: str(int(supply.output.settings.trip_on_volts))),
    Command("[SOURce]:VOLTage:PROTection:TRIPped?", lambda supply: str(int(supply.output.tripped_on_volts))),
    Command("[SOURce]:VOLTage:PROTection:CLEar", SelectedSupply.clear_trip),
    Command("OUTPut:PROTection:CLEar", SelectedSupply.clear_trip),
    Command("APPLy", SelectedSupply.apply),
    Command("OUTPut[:STATe]", SelectedSupply.switch),
    Command("OUTPut[:STATe]?", lambda supply: str(int(supply.output.settings.on))),
    Command("MEASure[:SCALar]:VOLTage[:DC]?", lambda supply, name=None: supply.measure("volts", name)),
    Command("MEASure[:SCALar]:CURRent[:DC]?", lambda supply, name=None: supply.measure("amps", name)),
    Command(f"{SUMMARIES}:CONDition?", lambda supply, place: supply.summary(place, event=False)),
    Command(f"{SUMMARIES}[:EVENt]?", lambda supply, place: supply.summary(place, event=True)),
    Command("SYSTem:REMote", lambda _: None),
    Command("SYSTem:LOCal", lambda _: None),
    beneath=Device.tree,
)
