"""A simulated relay multiplexer whose channels are named by slot and position (`101`): the dialect W-1.

It answers what it told its relays, as real ones do: whether a contact really moved is for the world to decide. It must
not know what is wired to its channels.
"""

from __future__ import annotations

from collections import Counter
from typing import ClassVar

from autobench.clock import Clock
from autobench.protocols.parameters import channel_list, character, integer, kind, number
from simulated_instruments.devices.command_tree import Answer, Command, CommandTree
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.noise import generator
from simulated_instruments.devices.terminals import RelayTerminals

SLOTS = range(1, 7)
POSITIONS = range(1, 81)
CHANNELS = [100 * slot + position for slot in SLOTS for position in POSITIONS]
KNOWN = frozenset(CHANNELS)
OPERATE_TIME = 0.01  # s
LONGEST_DELAY = 60.0  # s


class SlotChannelRelays(Device):
    """Six cards of eighty relays."""

    model = "W-1"

    def __init__(self, name: str, clock: Clock, terminals: RelayTerminals, seed: int = 0) -> None:
        super().__init__(name, clock, seed)
        self.terminals = terminals
        self.closed: frozenset[int] = frozenset()
        self.delays: dict[int, float] = {}
        self.cycles: Counter[int] = Counter()
        terminals.closed(self.closed)
        self.reset()

    def reset(self) -> None:
        self.delays = {}
        self._set(frozenset())

    def _set(self, wanted: frozenset[int]) -> None:
        """Tell the relays; a relay counts a cycle each time it closes."""
        if wanted != self.closed:
            self.cycles.update(wanted - self.closed)
            self.closed = wanted
            self.terminals.closed(wanted)
            self.operations_end = max(self.operations_end, self.clock.now()) + OPERATE_TIME

    def close(self, channels: str) -> Answer:
        self._set(self.closed | frozenset(channel_list(channels, KNOWN)))
        return None

    def close_only(self, channels: str) -> Answer:
        """Opens all others first: break before make."""
        wanted = frozenset(channel_list(channels, KNOWN))
        self._set(self.closed & wanted)
        self._set(wanted)
        return None

    def open(self, channels: str) -> Answer:
        self._set(self.closed - frozenset(channel_list(channels, KNOWN)))
        return None

    def open_all(self) -> Answer:
        self._set(frozenset())
        return None

    def are_closed(self, channels: str) -> Answer:
        return ",".join(str(int(channel in self.closed)) for channel in channel_list(channels, KNOWN))

    def are_open(self, channels: str) -> Answer:
        return ",".join(str(int(channel not in self.closed)) for channel in channel_list(channels, KNOWN))

    def set_delay(self, seconds: str, channels: str) -> Answer:
        """The delay between closing and measuring in a scan; closing by hand does not use it."""
        delay = number(seconds, "S", minimum=0.0, maximum=LONGEST_DELAY, default=0.0)
        self.delays.update(dict.fromkeys(channel_list(channels, KNOWN), delay))
        return None

    def read_delay(self, channels: str) -> Answer:
        return ",".join(f"{self.delays.get(channel, 0.0):+.8E}" for channel in channel_list(channels, KNOWN))

    def read_cycles(self, channels: str) -> Answer:
        """How often each relay has closed in its life; a specimen does not come new."""
        return ",".join(
            str(int(generator(self.seed, self.name, "cycles", channel).integers(100, 50_000)) + self.cycles[channel])
            for channel in channel_list(channels, KNOWN)
        )

    def reset_card(self, slot: str) -> Answer:
        """`SYSTem:CPON`: one card, or all, as after power-on."""
        if kind(slot) == "word":
            character(slot, ("ALL",))
            self._set(frozenset())
        else:
            card = integer(slot, minimum=SLOTS[0], maximum=SLOTS[-1])
            self._set(frozenset(channel for channel in self.closed if channel // 100 != card))
        return None

    tree: ClassVar[CommandTree] = CommandTree(
        Command("ROUTe:CLOSe", close),
        Command("ROUTe:CLOSe?", are_closed),
        Command("ROUTe:CLOSe:EXCLusive", close_only),
        Command("ROUTe:OPEN", open),
        Command("ROUTe:OPEN?", are_open),
        Command("ROUTe:OPEN:ALL", open_all),
        Command("ROUTe:CHANnel:DELay", set_delay),
        Command("ROUTe:CHANnel:DELay?", read_delay),
        Command("DIAGnostic:RELay:CYCLes?", read_cycles),
        Command("SYSTem:CPON", reset_card),
        beneath=Device.tree,
    )
