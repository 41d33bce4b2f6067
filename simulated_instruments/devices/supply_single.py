"""A simulated supply with one output and two ranges, told without any channel: the dialect PS-1.

Commands and status of the supply; its output is a `SupplyOutput`. It must not know what is connected.
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

MEASURING_TIME = 0.02  # s
# Questionable register: "voltage unregulated" is set in constant current, "current unregulated" in constant voltage.
CONSTANT_CURRENT, CONSTANT_VOLTAGE = 1 << 0, 1 << 1
TRIPPED_ON_VOLTS, TRIPPED_ON_AMPS = 1 << 9, 1 << 10
RANGES = {"LOW": (8.24, 5.15), "HIGH": (20.6, 2.58)}  # most volts and amps
RANGE_NAMES = {"LOW": "LOW", "P8V": "LOW", "HIGH": "HIGH", "P20V": "HIGH"}
RATINGS = Ratings(volts=20.6, amps=5.15, trip_volts=22.0)
LEAST_TRIP = 1.0  # V


def written(value: float) -> str:
    """A number as this supply answers it."""
    return f"{value:+.8E}"


class SingleSupply(Device):
    """One output of 8 V and 5 A or 20 V and 2.5 A. `ignores_off`: a fault; switching off is accepted, not done."""

    model = "PS-1"
    latency = 0.015

    def __init__(self, name: str, clock: Clock, terminals: SupplyTerminals, seed: int = 0) -> None:
        super().__init__(name, clock, seed)
        self.ignores_off = False
        self.remote = False
        self.output = SupplyOutput(1, clock, terminals, seed, name, RATINGS)
        self.reset()

    def reset(self) -> None:
        self.range = "LOW"
        self.output.reset()
        self.output.settings.amps = RANGES[self.range][1]
        self.output.refresh()
        self.progress()

    def progress(self) -> None:
        output = self.output
        output.refresh()
        mode = CONSTANT_CURRENT if output.limiting else CONSTANT_VOLTAGE
        trips = TRIPPED_ON_VOLTS * output.tripped_on_volts | TRIPPED_ON_AMPS * output.tripped_on_amps
        self.questionable.update((mode if output.live else 0) | trips)

    def limits(self, what: str) -> tuple[float, float, float]:
        """Least and most value of a setting in this range, and the one after `*RST`."""
        volts, amps = RANGES[self.range]
        return {
            "volts": (0.0, volts, 0.0),
            "amps": (0.0, amps, amps),
            "trip_volts": (LEAST_TRIP, RATINGS.trip_volts, RATINGS.trip_volts),
        }[what]

    def read_setting(self, what: str, text: str) -> float:
        """A value sent for a setting; beyond its limits is an error, never the nearest value."""
        least, most, default = self.limits(what)
        return number(text, "A" if what == "amps" else "V", minimum=least, maximum=most, default=default)

    def set_number(self, what: str, text: str) -> Answer:
        setattr(self.output.settings, what, self.read_setting(what, text))
        self.output.refresh()
        return None

    def get_number(self, what: str, end: str | None = None) -> Answer:
        if end is None:
            return written(getattr(self.output.settings, what))
        character(end, ("MINimum", "MAXimum", "DEFault"))
        return written(self.read_setting(what, end))

    def set_truth(self, what: str, text: str) -> Answer:
        setattr(self.output.settings, what, boolean(text))
        self.output.refresh()
        return None

    def get_truth(self, what: str) -> Answer:
        return str(int(getattr(self.output.settings, what)))

    def choose_range(self, text: str) -> Answer:
        """Settings that the new range cannot hold are an error; nothing changes then."""
        chosen = RANGE_NAMES[character(text, tuple(RANGE_NAMES))]
        volts, amps = RANGES[chosen]
        settings = self.output.settings
        if settings.volts > volts:
            raise ScpiError(-221, f"{settings.volts:g} V are set")
        self.range = chosen
        settings.amps = min(settings.amps, amps)  # the amps follow, as the volts could not
        self.output.refresh()
        return None

    def apply(self, volts: str, amps: str | None = None) -> Answer:
        """Both values are checked before either is set."""
        settings = self.output.settings
        level = self.read_setting("volts", volts)
        limit = settings.amps if amps is None else self.read_setting("amps", amps)
        settings.volts, settings.amps = level, limit
        self.output.refresh()
        return None

    def switch(self, state: str) -> Answer:
        on = boolean(state)
        if on and self.output.tripped:
            raise ScpiError(-200, "the output has tripped")
        if on or not self.ignores_off:
            self.output.switch(on)
        return None

    def clear_trips(self) -> Answer:
        self.output.clear_trip()
        return None

    def measure(self, what: str) -> Answer:
        return Later(MEASURING_TIME, lambda: written(self.output.measured(what)))

    def go(self, remote: bool) -> Answer:
        self.remote = remote
        return None

    tree: ClassVar[CommandTree]


def number_commands(header: str, what: str) -> tuple[Command, Command]:
    """The pair of commands of a numeric setting."""
    return (
        Command(header, lambda supply, text: supply.set_number(what, text)),
        Command(f"{header}?", lambda supply, end=None: supply.get_number(what, end)),
    )


def truth_commands(header: str, what: str) -> tuple[Command, Command]:
    """The pair of commands of an on-off setting."""
    return (
        Command(header, lambda supply, text: supply.set_truth(what, text)),
        Command(f"{header}?", lambda supply: supply.get_truth(what)),
    )


LEVEL = "[:LEVel][:IMMediate][:AMPLitude]"
SingleSupply.tree = CommandTree(
    *number_commands(f"[SOURce]:VOLTage{LEVEL}", "volts"),
    *number_commands(f"[SOURce]:CURRent{LEVEL}", "amps"),
    *number_commands("[SOURce]:VOLTage:PROTection[:LEVel]", "trip_volts"),
    *truth_commands("[SOURce]:VOLTage:PROTection:STATe", "trip_on_volts"),
    *truth_commands("[SOURce]:CURRent:PROTection:STATe", "trip_on_amps"),
    Command("[SOURce]:VOLTage:PROTection:TRIPped?", lambda supply: str(int(supply.output.tripped_on_volts))),
    Command("[SOURce]:CURRent:PROTection:TRIPped?", lambda supply: str(int(supply.output.tripped_on_amps))),
    Command("[SOURce]:VOLTage:PROTection:CLEar", SingleSupply.clear_trips),
    Command("[SOURce]:VOLTage:RANGe", SingleSupply.choose_range),
    Command("[SOURce]:VOLTage:RANGe?", lambda supply: "P8V" if supply.range == "LOW" else "P20V"),
    Command("APPLy", SingleSupply.apply),
    Command("APPLy?", lambda s: f'"{s.output.settings.volts:.5f},{s.output.settings.amps:.5f}"'),
    Command("OUTPut[:STATe]", SingleSupply.switch),
    Command("OUTPut[:STATe]?", lambda supply: str(int(supply.output.settings.on))),
    Command("OUTPut:PROTection:CLEar", SingleSupply.clear_trips),
    Command("MEASure[:SCALar]:VOLTage[:DC]?", lambda supply: supply.measure("volts")),
    Command("MEASure[:SCALar]:CURRent[:DC]?", lambda supply: supply.measure("amps")),
    Command("SYSTem:REMote", lambda supply: supply.go(True)),
    Command("SYSTem:LOCal", lambda supply: supply.go(False)),
    beneath=Device.tree,
)
