"""What the conformance tests share: known loads and sources, and a driver and a device brought together.

The truth behind each terminal is one number and Ohm's law. Nothing here is checked.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from autobench.clock import Clock, RealClock
from autobench.documents.driver import Driver
from autobench.documents.places import list_drivers
from autobench.documents.reading import read
from autobench.instruments.connection import connect
from autobench.instruments.dialect import Dialect
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.connections.hislip import HislipServer
from simulated_instruments.connections.in_process import InProcessLibrary
from simulated_instruments.connections.misbehaviour import Misbehaviour
from simulated_instruments.connections.pseudo_terminal import PseudoTerminalServer
from simulated_instruments.connections.raw_socket import SocketServer
from simulated_instruments.connections.vxi11 import Vxi11Server
from simulated_instruments.devices.counter_arming import ArmingCounter
from simulated_instruments.devices.counter_configured import ConfiguredCounter
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.meter_conf_read import ConfReadMeter
from simulated_instruments.devices.meter_short_words import ShortWordsMeter
from simulated_instruments.devices.relays_card_channel import CardChannelRelays
from simulated_instruments.devices.relays_console import ConsoleRelays
from simulated_instruments.devices.relays_scanner import ScannerRelays
from simulated_instruments.devices.relays_slot_channel import SlotChannelRelays
from simulated_instruments.devices.scope_out_preamble import OutPreambleScope
from simulated_instruments.devices.scope_preamble_data import PreambleDataScope
from simulated_instruments.devices.scope_preamble_points import PreamblePointsScope
from simulated_instruments.devices.scope_screen_scaled import ScreenScaledScope
from simulated_instruments.devices.scope_template import TemplateScope
from simulated_instruments.devices.supply_channel_list import ChannelListSupply
from simulated_instruments.devices.supply_channel_word import ChannelWordSupply
from simulated_instruments.devices.supply_fixed_digits import FixedDigitsSupply
from simulated_instruments.devices.supply_fixed_text import FixedTextSupply
from simulated_instruments.devices.supply_letter_number import LetterNumberSupply
from simulated_instruments.devices.supply_selected import SelectedSupply
from simulated_instruments.devices.supply_single import SingleSupply
from simulated_instruments.devices.terminals import OutputPoint, OutputSetting

ADDRESS = "GPIB0::7::INSTR"
DEVICES: dict[str, type] = {
    "k-1": ArmingCounter,
    "k-2": ConfiguredCounter,
    "ps-1": SingleSupply,
    "ps-2": SelectedSupply,
    "ps-3": ChannelListSupply,
    "ps-4": ChannelWordSupply,
    "ps-5": FixedTextSupply,
    "ps-6": FixedDigitsSupply,
    "ps-7": LetterNumberSupply,
    "m-1": ConfReadMeter,
    "m-2": ShortWordsMeter,
    "o-1a": PreamblePointsScope,
    "o-1b": PreambleDataScope,
    "o-2": OutPreambleScope,
    "o-3a": TemplateScope,
    "o-3b": ScreenScaledScope,
    "w-1": SlotChannelRelays,
    "w-2": CardChannelRelays,
    "w-3": ScannerRelays,
    "w-4": ConsoleRelays,
}
# In process, over HiSLIP and VXI-11 there is an END flag; a raw socket and a serial line have line ends, silences and
# prompts.
TRANSPORTS = ("in process", "raw socket", "hislip", "vxi-11", "serial")
SERVERS: dict[str, Any] = {
    "raw socket": SocketServer,
    "hislip": HislipServer,
    "vxi-11": Vxi11Server,
    "serial": PseudoTerminalServer,
}


@dataclass
class Loads:
    """A resistor at every output of a supply. Volts keep their sign, amps do not: a supply shows what it gives."""

    ohms: dict[int, float]
    settings: dict[int, OutputSetting] = field(default_factory=dict)

    def apply(self, output: int, setting: OutputSetting) -> None:
        self.settings[output] = setting

    def point(self, output: int) -> OutputPoint:
        setting = self.settings.get(output, OutputSetting(False, 0.0, 0.0))
        if not setting.on:
            return OutputPoint(0.0, 0.0, False)
        amps = abs(setting.volts) / self.ohms[output]
        if amps <= setting.amps:
            return OutputPoint(setting.volts, amps, False)
        sign = -1.0 if setting.volts < 0 else 1.0
        return OutputPoint(sign * setting.amps * self.ohms[output], setting.amps, True)


@dataclass
class Source:
    """A voltage behind a resistance at a meter's terminals; with the meter's own source it is just the resistance."""

    emf: float
    ohms: float
    driven: float = 0.0
    compliance: float = 0.0

    def drive(self, amps: float, compliance_volts: float) -> None:
        self.driven, self.compliance = amps, compliance_volts

    def volts(self, input_ohms: float, aperture: float) -> float:
        if self.driven:
            return min(self.driven * self.ohms, self.compliance)
        return self.emf * input_ohms / (input_ohms + self.ohms)

    def key(self) -> str:
        return "source"


@dataclass
class Contacts:
    """What the relays were told, in order."""

    moves: list[frozenset[int]] = field(default_factory=list)

    def closed(self, channels: frozenset[int]) -> None:
        self.moves.append(channels)


@dataclass
class Spoken:
    """A dialect on its simulated instrument, with everything that was said."""

    dialect: Dialect
    device: Device
    clock: Clock
    said: list[str]
    misbehave: Callable[[Misbehaviour], None] = lambda _: None

    def performed(self) -> set[str]:
        """The actions whose lines were all sent at least once."""
        driver = self.dialect.driver
        return {name for name, action in driver.actions.items() if all(self.heard(line) for line in action.lines)}

    def heard(self, line: str) -> bool:
        """Whether `line` was sent with something filled in, by itself or as one of several questions in one message."""
        head, _, _ = line.partition("{")
        return any(part.startswith((head, f":{head}")) for text in self.said for part in (text, *text.split(";")))


def driver_named(name: str) -> Driver:
    """The shipped driver."""
    return read(dict(list_drivers())[name], Driver)


def spoken(driver: Driver, device: Device, address: str, library: InProcessLibrary | None = None) -> Spoken:
    """The driver on an address behind which the device is."""
    said: list[str] = []
    link = connect(
        driver,
        address,
        driver.driver,
        device.clock,
        library,
        on_exchange=lambda exchange: said.append(exchange.sent.decode("ascii")),
    )
    return Spoken(Dialect(driver, link), device, device.clock, said)


def meet(name: str, device: Device) -> Spoken:
    """The shipped driver `name` on `device`, over the in-process library."""
    return in_process(driver_named(name), device)


def in_process(driver: Driver, device: Device) -> Spoken:
    """A driver on `device`, over the in-process library."""
    library = InProcessLibrary({ADDRESS: device}, device.clock)
    met = spoken(driver, device, ADDRESS, library)
    met.misbehave = lambda what: library.misbehave(ADDRESS, what)
    return met


@contextlib.contextmanager
def over(transport: str, name: str, make: Callable[[Clock], Device], driver: Driver | None = None) -> Iterator[Spoken]:
    """The shipped driver `name` on the device that `make` gives for a clock, over one of the transports."""
    driver = driver or driver_named(name)
    if transport == "in process":
        yield in_process(driver, make(SimulatedClock()))
        return
    device = make(RealClock())
    with SERVERS[transport](device) as server:
        met = spoken(driver, device, server.address)
        met.misbehave = lambda what: setattr(server, "misbehaviour", what)
        try:
            yield met
        finally:
            met.dialect.link.close()
