"""A simulated dual-display bench meter told in short words, as in `VDC` and `MEAS1?`: the dialect M-2.

On a serial line it echoes each command and ends every exchange with a prompt that says how it went; where the transport
has an END flag it does neither. Only its first display measures here. It must not know what is connected.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from autobench.clock import Clock
from autobench.protocols.scpi import ScpiError
from simulated_instruments.devices.command_tree import Answer, Command, CommandTree, Later
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.meter_input import OVERLOAD, Function, MeterInput, Setup
from simulated_instruments.devices.terminals import MeterTerminals

VOLT_RANGES = (0.3, 3.0, 30.0, 300.0, 1000.0)
OHM_RANGES = (300.0, 3e3, 3e4, 3e5, 3e6, 3e7)
FUNCTIONS = {
    "VDC": Function("VDC", "V", VOLT_RANGES, 200e-6, 60e-6, (), (0.02,) * 5, (0.1,) * 5),
    "OHMS": Function(
        "OHMS", "OHM", OHM_RANGES, 500e-6, 100e-6, (1e-3, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7), (0.05,) * 6, (0.1,) * 6
    ),
    "DIODE": Function("DIODE", "V", (2.0,), 500e-6, 200e-6, (1e-3,), (0.05,), (0.0,)),
}
UNITS = {"VDC": "VDC", "OHMS": "OHMS", "DIODE": "VDC"}
RATES = {"S": 0.4, "M": 0.2, "F": 0.05}  # s for one reading: 2.5, 5 and 20 a second
CYCLES = {"S": 10.0, "M": 1.0, "F": 0.2}  # line cycles of integration
COUNTS = {"S": 99_999, "M": 30_000, "F": 3_000}  # of a full range
OVER = "+1E+9"  # what an overload reads as
PROMPTS = {"done": b"=>\r\n", "command": b"?>\r\n", "execution": b"!>\r\n"}
INTERRUPT = 0x03


class ShortWordsMeter(Device):
    """The meter as its words show it; `outcome` is how the last message went: done, command or execution error."""

    model = "M-2"
    latency = 0.01
    prompted = True

    def __init__(self, name: str, clock: Clock, terminals: MeterTerminals, seed: int = 0) -> None:
        super().__init__(name, clock, seed)
        self.terminator = b"\r\n"
        self.outcome = "done"
        self.remote = self.locked = False
        self.input = MeterInput(terminals, seed, name)
        self.reset()

    def reset(self) -> None:
        self.function = FUNCTIONS["VDC"]
        self.places = {name: len(function.ranges) // 2 for name, function in FUNCTIONS.items()}
        self.auto = True
        self.rate = "S"
        self.units = False
        self.internal = True  # the trigger
        self.last = ""
        self.input.drive(self.function, self.places["VDC"])

    def receive(self, data: bytes, end: bool) -> None:
        """^C forgets what was begun; a carriage return ends a line as a line feed does."""
        if INTERRUPT in data:
            self._input.clear()
            self._replies.clear()
            self.outcome = "done"
            data = data[data.rindex(INTERRUPT) + 1 :]
        super().receive(data.replace(b"\r\n", b"\n").replace(b"\r", b"\n"), end)

    def prompt(self) -> bytes:
        """What ends an exchange on a serial line."""
        return PROMPTS[self.outcome]

    def _execute(self, message: str) -> None:
        self.outcome = "done"
        super()._execute(message)

    def report(self, number: int, info: str = "") -> None:
        """There is no queue to read: the prompt and the event register say what kind of error it was."""
        super().report(number, info)
        self.errors.clear()
        self.outcome = "command" if -200 < number <= -100 else "execution"

    def choose(self, name: str) -> Answer:
        self.function = FUNCTIONS[name]
        self.last = ""
        self.input.drive(self.function, self.places[name])
        return None

    def set_auto(self, auto: bool) -> Answer:
        self.auto = auto
        return None

    def set_range(self, text: str) -> Answer:
        if not text.strip().isdigit() or not 1 <= int(text) <= len(self.function.ranges):
            raise ScpiError(-222, text[:20])
        self.places[self.function.name], self.auto = int(text) - 1, False
        self.input.drive(self.function, int(text) - 1)
        return None

    def set_rate(self, text: str) -> Answer:
        if text.strip().upper() not in RATES:
            raise ScpiError(-222, text[:20])
        self.rate = text.strip().upper()
        return None

    def set_format(self, text: str) -> Answer:
        if text.strip() not in ("1", "2"):
            raise ScpiError(-222, text[:20])
        self.units = text.strip() == "2"
        return None

    def set_trigger(self, text: str) -> Answer:
        if text.strip() not in ("1", "2", "3", "4", "5"):
            raise ScpiError(-222, text[:20])
        self.internal = text.strip() == "1"
        return None

    def setup(self) -> Setup:
        """How the next reading is made."""
        return Setup(self.function, self.places[self.function.name], self.auto, CYCLES[self.rate], True, False)

    def read(self) -> Answer:
        """The next complete reading."""
        if not self.internal:
            raise ScpiError(-214)
        setup, seconds = self.input.ranged(self.setup())
        seconds += setup.function.settles[setup.place] + RATES[self.rate]

        def finish() -> str:
            ranged, _ = self.input.ranged(setup)
            if self.auto:
                self.places[ranged.function.name] = ranged.place
            self.last = self.worded(self.input.reading(ranged), ranged)
            return self.last

        return Later(seconds, finish)

    def shown(self) -> Answer:
        """The value on the display now, or the next one where there is none yet."""
        return self.last or self.read()

    def worded(self, value: float, setup: Setup) -> str:
        """A reading in the counts of its range, as this meter answers it."""
        span = setup.function.ranges[setup.place]
        if abs(value) >= OVERLOAD or abs(value) > 1.1 * span:
            text = OVER if value > 0 else OVER.replace("+1", "-1")
        else:
            step = span / COUNTS[self.rate]
            mantissa, _, exponent = f"{round(value / step) * step + 0.0:+.5E}".partition("E")
            text = f"{mantissa}E{int(exponent):+d}"
        return f"{text} {UNITS[setup.function.name]}" if self.units else text

    def go(self, remote: bool, locked: bool = False) -> Answer:
        self.remote, self.locked = remote, locked
        return None

    def trigger(self) -> Answer:
        return None

    tree: ClassVar[CommandTree]


def function_command(name: str) -> Callable[[ShortWordsMeter], Answer]:
    """The handler of a function's word."""
    return lambda meter: meter.choose(name)


ShortWordsMeter.tree = CommandTree(
    *(Command(name, function_command(name)) for name in FUNCTIONS),
    Command("FUNC1?", lambda meter: meter.function.name),
    Command("AUTO", lambda meter: meter.set_auto(True)),
    Command("AUTO?", lambda meter: str(int(meter.auto))),
    Command("FIXED", lambda meter: meter.set_auto(False)),
    Command("RANGE", ShortWordsMeter.set_range),
    Command("RANGE1?", lambda meter: str(meter.places[meter.function.name] + 1)),
    Command("RATE", ShortWordsMeter.set_rate),
    Command("RATE?", lambda meter: meter.rate),
    Command("FORMAT", ShortWordsMeter.set_format),
    Command("FORMAT?", lambda meter: "2" if meter.units else "1"),
    Command("TRIGGER", ShortWordsMeter.set_trigger),
    Command("*TRG", ShortWordsMeter.trigger),
    Command("MEAS1?", ShortWordsMeter.read),
    Command("MEAS?", ShortWordsMeter.read),
    Command("VAL1?", ShortWordsMeter.shown),
    Command("VAL?", ShortWordsMeter.shown),
    Command("REMS", lambda meter: meter.go(True)),
    Command("RWLS", lambda meter: meter.go(True, True)),
    Command("LOCS", lambda meter: meter.go(False)),
    *(
        Command(name, handler)
        for name, handler in (
            ("*IDN?", lambda meter: meter.identity),
            ("*RST", Device.reset_all),
            ("*CLS", Device.clear_status),
            ("*ESR?", Device.read_events),
            ("*ESE", Device.enable_events),
            ("*ESE?", lambda meter: str(meter.events_enabled)),
            ("*SRE", Device.enable_requests),
            ("*SRE?", lambda meter: str(meter.requests_enabled)),
            ("*STB?", Device.read_status),
            ("*OPC", Device.want_completion),
            ("*OPC?", Device.answer_completion),
            ("*TST?", lambda _: "0"),
        )
    ),
)
