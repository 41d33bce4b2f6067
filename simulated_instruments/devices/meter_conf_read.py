"""A simulated 6½-digit multimeter that is configured, then read: the dialect M-1.

Command set and its parameters; how readings come about is `ReadingMeter`. It must not know what is connected.
Direct volts, ohms (two and four wire), continuity and diodes are measured; the current jack is not wired, and the
functions that need a waveform are not fitted.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

from autobench.clock import Clock
from autobench.protocols.parameters import boolean, character, integer, kind, number, string
from autobench.protocols.scpi import ScpiError
from autobench.protocols.status import QueuedError
from simulated_instruments.devices.command_tree import Answer, Command, CommandTree
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.meter_input import FUNCTIONS, LINE, RESOLUTIONS, Function
from simulated_instruments.devices.meter_readings import ReadingMeter, range_for, written
from simulated_instruments.devices.terminals import MeterTerminals

INTEGRATIONS = tuple(RESOLUTIONS)  # line cycles
MOST_SAMPLES = 50_000
LONGEST_DELAY = 3600.0  # s
DISPLAY_WIDTH = 12  # characters; what does not fit is not shown
NAMES = {"VOLT": "VOLT", "VOLT:DC": "VOLT", "CURR": "CURR", "CURR:DC": "CURR"} | {
    name: name for name in ("RES", "FRES", "CONT", "DIOD")
}
LONG_NAMES = {"VOLTAGE": "VOLT", "CURRENT": "CURR", "RESISTANCE": "RES", "FRESISTANCE": "FRES"} | {
    "CONTINUITY": "CONT",
    "DIODE": "DIOD",
}
HEADERS = {"VOLT": "VOLTage[:DC]", "CURR": "CURRent[:DC]", "RES": "RESistance", "FRES": "FRESistance"}
FIXED_HEADERS = {"CONT": "CONTinuity", "DIOD": "DIODe"}


class ConfReadMeter(ReadingMeter):
    """The meter as its commands show it; `display` is the text on it."""

    model = "M-1"
    latency = 0.005

    def __init__(self, name: str, clock: Clock, terminals: MeterTerminals, seed: int = 0) -> None:
        self.display = ""
        self.display_on = True
        self.remote = False
        super().__init__(name, clock, terminals, seed)

    def reset(self) -> None:
        super().reset()
        self.display, self.display_on = "", True

    def written(self, error: QueuedError) -> str:
        return f"{'+' if error.number >= 0 else ''}{error}"

    def configure(self, function: Function, span: str | None = None, resolution: str | None = None) -> Answer:
        """`CONFigure`: everything back to its preset, then range and resolution."""
        place = None if span is None else read_range(function, span)
        cycles = None if resolution is None else read_resolution(function, place, resolution)
        self.preset(function)
        ranging = self.settings[function.name]
        if place is not None:
            ranging.place, ranging.auto = place, False
            self.input.drive(function, place)
        if cycles is not None:
            ranging.cycles = cycles
        return None

    def measure(self, function: Function, span: str | None = None, resolution: str | None = None) -> Answer:
        self.configure(function, span, resolution)
        return self.read()

    def configuration(self) -> Answer:
        setup = self.setup()
        span = setup.function.ranges[setup.place]
        return f'"{setup.function.name} {written(span)},{written(span * RESOLUTIONS[setup.cycles])}"'

    def choose(self, text: str) -> Answer:
        name = string(text).upper()
        for long, short in LONG_NAMES.items():
            name = name.replace(long, short)
        if name not in NAMES:
            raise ScpiError(-224, text[:40])
        self.select(FUNCTIONS[NAMES[name]])
        return None

    def set_range(self, function: Function, span: str) -> Answer:
        largest = function.ranges[-1]
        size = number(span, function.unit, minimum=function.ranges[0] if kind(span) == "word" else 0.0, maximum=largest)
        ranging = self.settings[function.name]
        ranging.place, ranging.auto = range_for(function, size), False
        self._changed(function)
        return None

    def set_auto(self, function: Function, state: str) -> Answer:
        ranging = self.settings[function.name]
        if kind(state) == "word" and character(state, ("ON", "OFF", "ONCE")) == "ONCE":
            ranging.auto = True
            if function is self.function:
                self.keep_range(self.input.ranged(self.setup())[0])
            ranging.auto = False
        else:
            ranging.auto = boolean(state)
        self._changed(function)
        return None

    def set_cycles(self, function: Function, cycles: str) -> Answer:
        """A value between two integration times takes the longer one."""
        wanted = number(cycles, minimum=INTEGRATIONS[0], maximum=INTEGRATIONS[-1])
        self.settings[function.name].cycles = next(each for each in INTEGRATIONS if each >= wanted)
        self._changed(function)
        return None

    def _changed(self, function: Function) -> None:
        self.idle()
        if function is self.function:
            self.input.drive(function, self.settings[function.name].place)

    def set_autozero(self, state: str) -> Answer:
        """`ONCE` takes one zero reading now and then leaves the zero alone."""
        if kind(state) == "word" and character(state, ("ON", "OFF", "ONCE")) == "ONCE":
            self.autozero = False
            self.free_at += self.setup().cycles / LINE
        else:
            self.autozero = boolean(state)
        self.idle()
        return None

    def set_impedance(self, state: str) -> Answer:
        self.high_impedance = boolean(state)
        self.idle()
        return None

    def set_source(self, source: str) -> Answer:
        self.on_bus = character(source, ("IMMediate", "BUS")) == "BUS"
        self.idle()
        return None

    def set_delay(self, seconds: str) -> Answer:
        self.delay = number(seconds, "S", minimum=0.0, maximum=LONGEST_DELAY)
        self.idle()
        return None

    def set_auto_delay(self, state: str) -> Answer:
        self.delay = None if boolean(state) else (self.delay or 0.0)
        self.idle()
        return None

    def set_samples(self, count: str) -> Answer:
        self.samples = integer(count, minimum=1, maximum=MOST_SAMPLES)
        self.idle()
        return None

    def show(self, text: str) -> Answer:
        self.display = string(text)[:DISPLAY_WIDTH]
        return None

    def clear_display(self) -> Answer:
        self.display = ""
        return None

    def switch_display(self, state: str) -> Answer:
        self.display_on = boolean(state)
        return None

    def go_remote(self) -> Answer:
        self.remote = True
        return None

    def go_local(self) -> Answer:
        self.remote = False
        return None

    tree: ClassVar[CommandTree]


def read_range(function: Function, text: str) -> int | None:
    """The place of a range as `CONFigure` takes it; None for `DEFault`, which is autoranging."""
    if kind(text) == "word" and character(text, ("MINimum", "MAXimum", "DEFault")) == "DEF":
        return None
    least = function.ranges[0] if kind(text) == "word" else 0.0
    return range_for(function, number(text, function.unit, minimum=least, maximum=function.ranges[-1]))


def read_resolution(function: Function, place: int | None, text: str) -> float | None:
    """The integration time (line cycles) for a resolution in the function's unit; None for `DEFault`."""
    if kind(text) == "word":
        wanted = character(text, ("MINimum", "MAXimum", "DEFault"))
        return {"MIN": INTEGRATIONS[-1], "MAX": INTEGRATIONS[0], "DEF": None}[wanted]
    if place is None:
        raise ScpiError(-221, "a resolution needs a range")
    part = number(text, function.unit, minimum=0.0) / function.ranges[place]
    for cycles, resolution in RESOLUTIONS.items():
        if resolution <= part * (1 + 1e-9):
            return cycles
    raise ScpiError(-221, "finer than this range can show")


def function_commands(name: str, header: str) -> Iterator[Command]:
    """The commands of one function that has ranges."""
    function = FUNCTIONS[name]

    def configure(meter: ConfReadMeter, span: str | None = None, resolution: str | None = None) -> Answer:
        return meter.configure(function, span, resolution)

    def measure(meter: ConfReadMeter, span: str | None = None, resolution: str | None = None) -> Answer:
        return meter.measure(function, span, resolution)

    yield Command(f"CONFigure[:SCALar]:{header}", configure)
    yield Command(f"MEASure[:SCALar]:{header}?", measure)
    sense = f"[SENSe]:{header}"
    yield Command(f"{sense}:RANGe[:UPPer]", lambda meter, span: meter.set_range(function, span))
    yield Command(f"{sense}:RANGe[:UPPer]?", lambda meter: written(function.ranges[meter.settings[name].place]))
    yield Command(f"{sense}:RANGe:AUTO", lambda meter, state: meter.set_auto(function, state))
    yield Command(f"{sense}:RANGe:AUTO?", lambda meter: str(int(meter.settings[name].auto)))
    yield Command(f"{sense}:NPLCycles", lambda meter, cycles: meter.set_cycles(function, cycles))
    yield Command(f"{sense}:NPLCycles?", lambda meter: written(meter.cycles_of(name)))


def fixed_commands(name: str, header: str) -> Iterator[Command]:
    """The commands of one function without ranges."""
    function = FUNCTIONS[name]
    yield Command(f"CONFigure[:SCALar]:{header}", lambda meter: meter.configure(function))
    yield Command(f"MEASure[:SCALar]:{header}?", lambda meter: meter.measure(function))


ConfReadMeter.tree = CommandTree(
    *(command for name, header in HEADERS.items() for command in function_commands(name, header)),
    *(command for name, header in FIXED_HEADERS.items() for command in fixed_commands(name, header)),
    Command("CONFigure?", ConfReadMeter.configuration),
    Command("[SENSe]:FUNCtion[:ON]", ConfReadMeter.choose),
    Command("[SENSe]:FUNCtion[:ON]?", lambda meter: f'"{meter.function.name}"'),
    Command("[SENSe]:ZERO:AUTO", ConfReadMeter.set_autozero),
    Command("[SENSe]:ZERO:AUTO?", lambda meter: str(int(meter.autozero))),
    Command("INPut:IMPedance:AUTO", ConfReadMeter.set_impedance),
    Command("INPut:IMPedance:AUTO?", lambda meter: str(int(meter.high_impedance))),
    Command("TRIGger:SOURce", ConfReadMeter.set_source),
    Command("TRIGger:SOURce?", lambda meter: "BUS" if meter.on_bus else "IMM"),
    Command("TRIGger:DELay", ConfReadMeter.set_delay),
    Command("TRIGger:DELay?", lambda meter: written(meter.delay or 0.0)),
    Command("TRIGger:DELay:AUTO", ConfReadMeter.set_auto_delay),
    Command("TRIGger:DELay:AUTO?", lambda meter: str(int(meter.delay is None))),
    Command("SAMPle:COUNt", ConfReadMeter.set_samples),
    Command("SAMPle:COUNt?", lambda meter: f"{meter.samples:+d}"),
    Command("READ?", ConfReadMeter.read),
    Command("INITiate[:IMMediate]", ConfReadMeter.initiate),
    Command("FETCh?", ConfReadMeter.fetch),
    Command("ABORt", ConfReadMeter.abort),
    Command("*TRG", ConfReadMeter.trigger),
    Command("DISPlay", ConfReadMeter.switch_display),
    Command("DISPlay?", lambda meter: str(int(meter.display_on))),
    Command("DISPlay:TEXT[:DATA]", ConfReadMeter.show),
    Command("DISPlay:TEXT[:DATA]?", lambda meter: '"{}"'.format(meter.display.replace('"', '""'))),
    Command("DISPlay:TEXT:CLEar", ConfReadMeter.clear_display),
    Command("SYSTem:REMote", ConfReadMeter.go_remote),
    Command("SYSTem:LOCal", ConfReadMeter.go_local),
    beneath=Device.tree,
)
