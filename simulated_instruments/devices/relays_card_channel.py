"""A simulated switch system whose channels are named by card and position (`1!3`): the dialect W-2.

It answers with the list of what it told its relays to be; whether a contact really moved is for the world to decide. It
must not know what is wired to its channels.
"""

from __future__ import annotations

from typing import ClassVar

from autobench.clock import Clock
from autobench.protocols.parameters import character, kind
from autobench.protocols.scpi import ScpiError
from simulated_instruments.devices.card_channels import CARD, read_channels, written_channels
from simulated_instruments.devices.command_tree import Answer, Command, CommandTree
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.terminals import RelayTerminals

CARDS = range(1, 7)
POSITIONS = range(1, 81)
CHANNELS = [CARD * card + position for card in CARDS for position in POSITIONS]
KNOWN = frozenset(CHANNELS)
OPERATE_TIME = 0.01  # s


class CardChannelRelays(Device):
    """Six cards of eighty relays. A channel in the scan list is closed by a scan only."""

    model = "W-2"

    def __init__(self, name: str, clock: Clock, terminals: RelayTerminals, seed: int = 0) -> None:
        super().__init__(name, clock, seed)
        self.terminals = terminals
        self.closed: frozenset[int] = frozenset()
        self.scanned: frozenset[int] = frozenset()
        terminals.closed(self.closed)
        self.reset()

    def reset(self) -> None:
        """`*RST` opens everything, and forgets the scan list."""
        self.scanned = frozenset()
        self._set(frozenset())

    def preset(self) -> Answer:
        """`SYSTem:PRESet` forgets the scan list and leaves relays as they are."""
        self.scanned = frozenset()
        return None

    def _set(self, wanted: frozenset[int]) -> None:
        if wanted != self.closed:
            self.closed = wanted
            self.terminals.closed(wanted)
            self.operations_end = max(self.operations_end, self.clock.now()) + OPERATE_TIME

    def close(self, channels: str) -> Answer:
        """These as well: what is closed stays so."""
        wanted = frozenset(read_channels(channels, KNOWN))
        if wanted & self.scanned:
            raise ScpiError(-221, channels[:40])  # SCPI-1999 vol. 2, 21.8.9: settings conflict
        self._set(self.closed | wanted)
        return None

    def open(self, channels: str) -> Answer:
        if kind(channels) == "word":
            character(channels, ("ALL",))
            self._set(frozenset())
        else:
            self._set(self.closed - frozenset(read_channels(channels, KNOWN)))
        return None

    def which_are_closed(self) -> Answer:
        return written_channels(self.closed)

    def set_scan(self, channels: str) -> Answer:
        self.scanned = frozenset(read_channels(channels, KNOWN))
        return None

    def which_are_scanned(self) -> Answer:
        return written_channels(self.scanned)

    tree: ClassVar[CommandTree] = CommandTree(
        Command("ROUTe[:MULTiple]:CLOSe", close),
        Command("ROUTe[:MULTiple]:OPEN", open),
        Command("ROUTe[:MULTiple]:CLOSe:STATe?", which_are_closed),
        Command("ROUTe:SCAN", set_scan),
        Command("ROUTe:SCAN?", which_are_scanned),
        Command("SYSTem:PRESet", preset),
        beneath=Device.tree,
    )
