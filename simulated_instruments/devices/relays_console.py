"""A simulated board of sixteen relays that talks as a text console, as in `relay on 3`: the dialect W-4.

On a serial line it echoes each line and ends every exchange with a `>` that no line end follows. It knows no identity
and no errors: what it does not understand it passes over. It tells what it told its relays. It must not know what is
wired to them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import ClassVar

from autobench.clock import Clock
from simulated_instruments.devices.command_tree import CommandTree
from simulated_instruments.devices.instrument import Device, Pending
from simulated_instruments.devices.terminals import RelayTerminals

RELAYS = 16
DIGITS = RELAYS // 4  # hexadecimal ones of all relays
PACE = 0.05  # s; a line that comes sooner after the one before is lost


class ConsoleRelays(Device):
    """Sixteen relays, numbered from 0, all open when it gets its power.

    `places` are the numbers that the world knows them by, in their order.
    """

    model = "W-4"
    latency = 0.01
    prompted = True

    def __init__(
        self,
        name: str,
        clock: Clock,
        terminals: RelayTerminals,
        seed: int = 0,
        places: Sequence[int] = tuple(range(RELAYS)),
    ) -> None:
        super().__init__(name, clock, seed)
        self.identity = ""
        self.terminator = b"\n\r"
        self.pace = PACE
        self.terminals = terminals
        self.places = tuple(places)
        self.mask = 0
        self.reset()

    def reset(self) -> None:
        """The power comes back."""
        self.set_all(0)

    def receive(self, data: bytes, end: bool) -> None:
        """A carriage return ends a line; a line feed means nothing."""
        super().receive(data.replace(b"\n", b"").replace(b"\r", b"\n"), end)

    def prompt(self) -> bytes:
        return b">"

    def _execute(self, message: str) -> None:
        self.free_at += self.latency
        for pattern, perform in COMMANDS:
            if found := re.fullmatch(pattern, message.strip()):
                reply = perform(self, *found.groups())
                if reply is not None:
                    self._replies.append(Pending([reply], self.free_at + self.late, self.terminator))
                return

    def set_all(self, mask: int) -> None:
        """Every relay as its bit says, the lowest that of relay 0."""
        self.mask = mask
        self.terminals.closed(frozenset(place for bit, place in enumerate(self.places) if mask >> bit & 1))

    def switch(self, word: str, number: str) -> None:
        """One relay; a number there is none of is passed over."""
        if int(number) < RELAYS:
            bit = 1 << int(number)
            self.set_all(self.mask | bit if word == "on" else self.mask & ~bit)

    def write_all(self, digits: str) -> None:
        self.set_all(int(digits, 16))

    def read_all(self) -> str:
        return f"{self.mask:0{DIGITS}x}"

    def read(self, number: str) -> str | None:
        return None if int(number) >= RELAYS else "on" if self.mask >> int(number) & 1 else "off"

    def status_byte(self) -> int:
        return 0  # no serial poll

    def _watch_summary(self) -> None:
        """It requests no service."""

    tree: ClassVar[CommandTree] = CommandTree()


COMMANDS: tuple[tuple[str, Callable[..., str | None]], ...] = (
    (r"relay (on|off) (\d{1,2})", ConsoleRelays.switch),
    (rf"relay writeall ([0-9A-Fa-f]{{{DIGITS}}})", ConsoleRelays.write_all),
    (r"relay readall", ConsoleRelays.read_all),
    (r"relay read (\d{1,2})", ConsoleRelays.read),
)
