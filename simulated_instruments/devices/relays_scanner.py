"""The simulated scanner inside a meter, which has one of ten channels closed or none: the dialect W-3.

Closing a channel opens the one before by itself. It answers with what it told its relays; whether a contact really
moved is for the world to decide. The meter round it speaks another dialect and is no business of this module, nor is
what is wired to the channels.
"""

from __future__ import annotations

import re
from typing import ClassVar

from autobench.clock import Clock
from autobench.protocols.parameters import character, integer
from autobench.protocols.scpi import ScpiError
from simulated_instruments.devices.command_tree import Answer, Command, CommandTree
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.terminals import RelayTerminals

CHANNELS = range(1, 11)
RUN = re.compile(r"\(\s*@\s*(\d{1,2})\s*(?::\s*(\d{1,2})\s*)?\)", re.ASCII)
OPERATE_TIME = 0.01  # s


class ScannerRelays(Device):
    """Ten channels, of which one at a time leads to the meter's input."""

    model = "W-3"

    def __init__(self, name: str, clock: Clock, terminals: RelayTerminals, seed: int = 0) -> None:
        super().__init__(name, clock, seed)
        self.terminals = terminals
        self.closed: int | None = None
        self.scanned = (CHANNELS[0], CHANNELS[-1])
        self.selected = "NONE"
        terminals.closed(frozenset())
        self.reset()

    def reset(self) -> None:
        self.scanned, self.selected = (CHANNELS[0], CHANNELS[-1]), "NONE"
        self._set(None)

    def _set(self, channel: int | None) -> None:
        if channel != self.closed:
            if self.closed is not None:
                self.terminals.closed(frozenset())  # break before make
            self.closed = channel
            self.terminals.closed(frozenset() if channel is None else frozenset({channel}))
            self.operations_end = max(self.operations_end, self.clock.now()) + OPERATE_TIME

    def close(self, channels: str) -> Answer:
        """The one before opens. A list of several cannot be closed at once."""
        first, last = run_of(channels)
        if first != last:
            raise ScpiError(-222, channels[:40])
        self._set(first)
        return None

    def open(self, channels: str) -> Answer:
        first, last = run_of(channels)
        if self.closed is not None and first <= self.closed <= last:
            self._set(None)
        return None

    def open_all(self) -> Answer:
        self._set(None)
        return None

    def which_is_closed(self) -> Answer:
        return "(@)" if self.closed is None else f"(@ {self.closed})"

    def set_scan(self, channels: str) -> Answer:
        self.scanned = run_of(channels)
        return None

    def which_are_scanned(self) -> Answer:
        return f"(@ {self.scanned[0]}:{self.scanned[1]})"

    def select(self, what: str) -> Answer:
        """`INT` scans the card, `NONE` does not."""
        self.selected = character(what, ("INTernal", "NONE"))
        return None

    def set_delay(self, seconds: str) -> Answer:
        integer(seconds, minimum=0, maximum=3600)
        return None

    tree: ClassVar[CommandTree] = CommandTree(
        Command("ROUTe:CLOSe", close),
        Command("ROUTe:CLOSe:STATe?", which_is_closed),
        Command("ROUTe:OPEN", open),
        Command("ROUTe:OPEN:ALL", open_all),
        Command("ROUTe:SCAN", set_scan),
        Command("ROUTe:SCAN?", which_are_scanned),
        Command("ROUTe:SCAN:LSELect", select),
        Command("ROUTe:SCAN:LSELect?", lambda device: device.selected),
        Command("TRIGger:DELay", set_delay),
        beneath=Device.tree,
    )


def run_of(text: str) -> tuple[int, int]:
    """First and last channel of `(@ 3)` or `(@1:4)`; raises -171 for another form, -222 for a channel there is not."""
    found = RUN.fullmatch(text.strip())
    if found is None:
        several = re.fullmatch(r"\(\s*@[\d\s,:]*\)", text.strip(), re.ASCII)
        raise ScpiError(-222 if several else -171, text[:40])
    first = int(found.group(1))
    last = int(found.group(2) or first)
    if not CHANNELS[0] <= first <= last <= CHANNELS[-1]:
        raise ScpiError(-222, text[:40])
    return first, last
