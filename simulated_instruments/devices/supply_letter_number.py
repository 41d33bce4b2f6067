"""A simulated supply of two outputs told by a letter and a number, as in `V1 5.00` and `OP1 1`: the dialect PS-7.

What limits and trips it keeps in a register of events for each output, which reading empties of what is over. Its
errors are those of IEEE 488.2's event status, with a number for each kind. It must not know what is connected.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import ClassVar

from autobench.clock import Clock
from autobench.protocols.parameters import number
from autobench.protocols.scpi import ScpiError
from simulated_instruments.devices.command_tree import Answer, Command, CommandTree
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.supply_output import Ratings, SupplyOutput
from simulated_instruments.devices.terminals import SupplyTerminals

OUTPUTS = (1, 2)
RATINGS = Ratings(
    volts=32.0,
    amps=3.0,
    trip_volts=35.0,
    volts_class=(0.001, 0.02),
    amps_class=(0.003, 0.003),
    volts_step=0.01,
    amps_step=0.001,
)
LEAST_TRIP_VOLTS = 1.0
LEAST_AMPS, LEAST_TRIP_AMPS, MOST_TRIP_AMPS = 0.01, 0.01, 3.3
PACE = 0.01  # s; what comes sooner after the message before is lost
VERIFIED = 0.1  # s that a setting with its verification takes
# Bits of a limit event register.
CONSTANT_VOLTAGE, CONSTANT_CURRENT, VOLTS_TRIP, AMPS_TRIP = 1 << 0, 1 << 1, 1 << 2, 1 << 3


class LetterNumberSupply(Device):
    """Two outputs of 32 V and 3 A. `locked_elsewhere`: another interface has it to itself, and nothing can be set here.
    `ignores_off`: a fault; switching off is not done.
    """

    model = "PS-7"
    latency = 0.02

    def __init__(self, name: str, clock: Clock, terminals: SupplyTerminals, seed: int = 0) -> None:
        super().__init__(name, clock, seed)
        self.terminator = b"\r\n"
        self.pace = PACE
        self.locked_elsewhere = self.locked = self.ignores_off = False
        self.limit_events = dict.fromkeys(OUTPUTS, 0)
        self.execution_error = self.query_error = 0
        self.outputs = {place: SupplyOutput(place, clock, terminals, seed, name, RATINGS) for place in OUTPUTS}
        self.reset()

    def reset(self) -> None:
        """`*RST`: off, no volts, all the amps, no protection."""
        for output in self.outputs.values():
            output.reset()
            output.settings.trip_on_volts = False

    def receive(self, data: bytes, end: bool) -> None:
        """A line feed ends a line; a carriage return before it means nothing."""
        super().receive(data.replace(b"\r", b""), end)

    def progress(self) -> None:
        """Whatever is so now has been."""
        for place, output in self.outputs.items():
            output.refresh()
            self.limit_events[place] |= condition(output)

    def report(self, number: int, info: str = "") -> None:
        """There is no queue: each kind of error has a number of its own."""
        super().report(number, info)
        self.errors.clear()
        if -300 < number <= -200:
            self.execution_error = -number
        elif -500 < number <= -400:
            self.query_error = -number

    # What the words do.

    def require_free(self) -> None:
        """Raises -203, command protected, while another interface has it to itself."""
        if self.locked_elsewhere:
            raise ScpiError(-203)

    def set_volts(self, place: int, text: str) -> Answer:
        self.require_free()
        self.outputs[place].settings.volts = round(number(text, "V", minimum=0.0, maximum=RATINGS.volts), 2)
        self.progress()
        return None

    def set_volts_verified(self, place: int, text: str) -> Answer:
        """The same, and done only when the output has got there."""
        self.set_volts(place, text)
        self.free_at += VERIFIED
        return None

    def set_amps(self, place: int, text: str) -> Answer:
        self.require_free()
        self.outputs[place].settings.amps = round(number(text, "A", minimum=LEAST_AMPS, maximum=RATINGS.amps), 2)
        self.progress()
        return None

    def set_volts_trip(self, place: int, text: str) -> Answer:
        """A level switches it on, the words `ON` and `OFF` do as they say."""
        self.require_free()
        settings, word = self.outputs[place].settings, text.strip().upper()
        if word not in ("ON", "OFF"):
            settings.trip_volts = round(number(text, "V", minimum=LEAST_TRIP_VOLTS, maximum=RATINGS.trip_volts), 2)
        settings.trip_on_volts = word != "OFF"
        self.progress()
        return None

    def set_amps_trip(self, place: int, text: str) -> Answer:
        self.require_free()
        settings, word = self.outputs[place].settings, text.strip().upper()
        level = number(text, "A", minimum=LEAST_TRIP_AMPS, maximum=MOST_TRIP_AMPS) if word != "OFF" else float("inf")
        settings.trip_amps = level
        self.progress()
        return None

    def switch(self, place: int, text: str) -> Answer:
        """ON is refused until a trip was reset."""
        self.require_free()
        on = number(text, "", minimum=0.0, maximum=1.0) >= 0.5
        if on and self.outputs[place].tripped:
            raise ScpiError(-221)
        if on or not self.ignores_off:
            self.outputs[place].switch(on)
        self.progress()
        return None

    def switch_all(self, text: str) -> Answer:
        for place in OUTPUTS:
            self.switch(place, text)
        return None

    def reset_trips(self) -> Answer:
        self.require_free()
        for output in self.outputs.values():
            output.clear_trip()
        return None

    def read_limit_events(self, place: int) -> Answer:
        """What has been since the last reading; what is so now stays."""
        self.progress()
        told, self.limit_events[place] = self.limit_events[place], condition(self.outputs[place])
        return str(told)

    def shown_volts_trip(self, place: int) -> Answer:
        settings = self.outputs[place].settings
        return f"VP{place} {settings.trip_volts:.2f}" if settings.trip_on_volts else f"VP{place} OFF"

    def shown_amps_trip(self, place: int) -> Answer:
        level = self.outputs[place].settings.trip_amps
        return f"CP{place} OFF" if level == float("inf") else f"CP{place} {level:.2f}"

    def measured(self, place: int, what: str, form: str) -> Answer:
        return f"{max(0.0, self.outputs[place].measured(what)):{form}}"

    def lock(self, wanted: bool) -> Answer:
        """1 where this interface has it to itself, 0 where nobody has, -1 where another one has."""
        if self.locked_elsewhere:
            return "-1"
        self.locked = wanted
        return str(int(wanted))

    def take_execution_error(self) -> Answer:
        told, self.execution_error = self.execution_error, 0
        return str(told)

    def take_query_error(self) -> Answer:
        told, self.query_error = self.query_error, 0
        return str(told)

    tree: ClassVar[CommandTree]


def condition(output: SupplyOutput) -> int:
    """What is so now, in the bits of the register."""
    value = VOLTS_TRIP * output.tripped_on_volts | AMPS_TRIP * output.tripped_on_amps
    if output.live:
        value |= CONSTANT_CURRENT if output.limiting else CONSTANT_VOLTAGE
    return value


def of_output(place: int) -> Iterator[Command]:
    """The words of one output."""
    here: dict[str, Callable[..., Answer]] = {
        f"V{place}": lambda supply, text: supply.set_volts(place, text),
        f"V{place}V": lambda supply, text: supply.set_volts_verified(place, text),
        f"I{place}": lambda supply, text: supply.set_amps(place, text),
        f"OVP{place}": lambda supply, text: supply.set_volts_trip(place, text),
        f"OCP{place}": lambda supply, text: supply.set_amps_trip(place, text),
        f"OP{place}": lambda supply, text: supply.switch(place, text),
        f"V{place}?": lambda supply: f"V{place} {supply.outputs[place].settings.volts:.2f}",
        f"I{place}?": lambda supply: f"I{place} {supply.outputs[place].settings.amps:.2f}",
        f"V{place}O?": lambda supply: f"{supply.measured(place, 'volts', '.2f')}V",
        f"I{place}O?": lambda supply: f"{supply.measured(place, 'amps', '.3f')}A",
        f"OVP{place}?": lambda supply: supply.shown_volts_trip(place),
        f"OCP{place}?": lambda supply: supply.shown_amps_trip(place),
        f"OP{place}?": lambda supply: str(int(supply.outputs[place].live)),
        f"LSR{place}?": lambda supply: supply.read_limit_events(place),
    }
    yield from (Command(word, handler) for word, handler in here.items())


LetterNumberSupply.tree = CommandTree(
    *(command for place in OUTPUTS for command in of_output(place)),
    Command("OPALL", LetterNumberSupply.switch_all),
    Command("TRIPRST", LetterNumberSupply.reset_trips),
    Command("IFLOCK", lambda supply: supply.lock(True)),
    Command("IFUNLOCK", lambda supply: supply.lock(False)),
    Command("LOCAL", lambda _: None),
    Command("EER?", LetterNumberSupply.take_execution_error),
    Command("QER?", LetterNumberSupply.take_query_error),
    *(command for command in Device.tree.commands if command.pattern.text.startswith("*")),
)
