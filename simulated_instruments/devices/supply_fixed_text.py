"""A simulated one-output supply on a serial line without line ends, told as in `VSET1:05.00`: the dialect PS-5.

Its messages end with a silence and its replies have fixed lengths; there is no error queue: what it does not understand
it ignores. It must not know what is connected.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import ClassVar

from autobench.clock import Clock
from simulated_instruments.devices.command_tree import CommandTree
from simulated_instruments.devices.instrument import Device, Pending
from simulated_instruments.devices.supply_output import Ratings, SupplyOutput
from simulated_instruments.devices.terminals import SupplyTerminals

RATINGS = Ratings(
    volts=31.0,
    amps=5.1,
    trip_volts=33.0,
    volts_class=(0.002, 0.02),
    amps_class=(0.003, 0.006),
    volts_step=0.01,
    amps_step=0.001,
)
OVER = 1.05  # the over-voltage protection, once on, trips at this part of the set voltage …
OVER_LEAST = 0.5  # … or so many volts above it
# Status byte, raw: bit 0 is set in constant voltage, 6 while the output is on, 7 after the protection tripped.
CONSTANT_VOLTAGE, BEEPS, LOCKED, ON, TRIPPED = 1 << 0, 1 << 4, 1 << 5, 1 << 6, 1 << 7
PACE = 0.05  # s; what comes sooner after the message before is lost (common practice)
GAP = 0.01  # s of silence that end a message


class FixedTextSupply(Device):
    """One output of 30 V and 5 A. `junk`: some revisions send a character too many behind the set current.
    `ignores_off`: a fault; switching off is not done.
    """

    model = "PS-5"
    latency = 0.02
    silence = GAP

    def __init__(self, name: str, clock: Clock, terminals: SupplyTerminals, seed: int = 0) -> None:
        super().__init__(name, clock, seed)
        serial = self.identity.split(",")[2]
        self.identity = f"ALDER STREET PS-5 V1.0 SN:{serial}"
        self.terminator = b""
        self.pace = PACE
        self.junk = False
        self.ignores_off = False
        self.locked = False
        self.output = SupplyOutput(1, clock, terminals, seed, name, RATINGS)
        self.reset()

    def reset(self) -> None:
        self.output.reset()
        self.output.settings.trip_on_volts = False

    def progress(self) -> None:
        self.output.refresh()

    def receive(self, data: bytes, end: bool) -> None:
        """Line ends mean nothing here: only a silence (or END) ends a message."""
        if self.silent:
            return
        self._input += data
        if end:
            message, self._input = bytes(self._input), bytearray()
            self._take_in(message)

    def _execute(self, message: str) -> None:
        self.free_at += self.latency
        for pattern, perform in COMMANDS:
            if found := re.fullmatch(pattern, message):
                reply = perform(self, *found.groups())
                if reply is not None:
                    self._replies.append(Pending([reply], self.free_at + self.late, self.terminator))
                return

    def set_volts(self, text: str) -> None:
        """More than it can give is not taken, and nobody is told."""
        if float(text) <= RATINGS.volts:
            self.output.settings.volts = float(text)
            self.move_trip()

    def set_amps(self, text: str) -> None:
        if float(text) <= RATINGS.amps:
            self.output.settings.amps = float(text)
            self.output.refresh()

    def move_trip(self) -> None:
        """The level of the protection follows the set voltage."""
        settings = self.output.settings
        settings.trip_volts = max(OVER * settings.volts, settings.volts + OVER_LEAST)
        self.output.refresh()

    def switch(self, state: str) -> None:
        """Switching on also unlatches the protection."""
        if state == "0" and self.ignores_off:
            return
        if state == "1":
            self.output.clear_trip()
        self.output.switch(state == "1")

    def protect(self, state: str) -> None:
        self.output.settings.trip_on_volts = state == "1"
        self.move_trip()

    def protect_amps(self, state: str) -> None:
        self.output.settings.trip_on_amps = state == "1"
        self.output.refresh()

    def shown_amps(self) -> str:
        return f"{self.output.settings.amps:05.3f}" + ("K" if self.junk else "")

    def state(self) -> str:
        self.output.refresh()
        limiting = self.output.limiting
        value = 0 if limiting else CONSTANT_VOLTAGE
        value |= ON * self.output.live | TRIPPED * self.output.tripped_on_volts | BEEPS | LOCKED * self.locked
        return chr(value)

    def status_byte(self) -> int:
        return 0  # no serial poll

    def _watch_summary(self) -> None:
        """It requests no service."""

    tree: ClassVar[CommandTree] = CommandTree()


def measured(what: str, form: str) -> Callable[[FixedTextSupply], str]:
    """The handler that answers a measurement."""
    return lambda supply: format(max(0.0, supply.output.measured(what)), form)


COMMANDS: tuple[tuple[str, Callable[..., str | None]], ...] = (
    (r"\*IDN\?", lambda supply: supply.identity),
    (r"VSET1:(\d\d\.\d\d)", FixedTextSupply.set_volts),
    (r"VSET1\?", lambda supply: f"{supply.output.settings.volts:05.2f}"),
    (r"ISET1:(\d\.\d\d\d)", FixedTextSupply.set_amps),
    (r"ISET1\?", FixedTextSupply.shown_amps),
    (r"VOUT1\?", measured("volts", "05.2f")),
    (r"IOUT1\?", measured("amps", "05.3f")),
    (r"OUT([01])", FixedTextSupply.switch),
    (r"OVP([01])", FixedTextSupply.protect),
    (r"OCP([01])", FixedTextSupply.protect_amps),
    (r"STATUS\?", FixedTextSupply.state),
)
