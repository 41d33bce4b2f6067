"""A simulated four-channel budget oscilloscope whose record is scaled by what stands on its screen: the dialect O-3b.

It shares most of its words with O-3a. Its descriptor tells no volts of a code, its screen has fourteen divisions, and
its sample rate comes with a prefix and a unit whether replies have headers or not. It must not know what is connected.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from simulated_instruments.devices.command_tree import Answer, Command, CommandTree
from simulated_instruments.devices.scope_preamble_data_setup import Input, Setup
from simulated_instruments.devices.scope_template import SHARED, TemplateScope

DEPTHS = (7_000, 14_000, 70_000, 140_000, 700_000, 1_400_000, 7_000_000, 14_000_000)
STATES = {"RUN": "Armed", "WAIT": "Ready", "TD": "Trig'd", "AUTO": "Auto", "STOP": "Stop"}


@dataclass(frozen=True)
class FourteenDivisions(Setup):
    """Fourteen divisions across; the channels that are shown share rate and memory."""

    across: ClassVar[int] = 14
    rate: ClassVar[float] = 2e9
    memory: ClassVar[int] = 4 * DEPTHS[-2]
    inputs: tuple[Input, ...] = (Input(displayed=True), Input(), Input(), Input())
    depth: int | None = 14_000


class ScreenScaledScope(TemplateScope):
    """The oscilloscope as its commands show it."""

    model = "O-3b"
    delivered: ClassVar[Setup] = FourteenDivisions()
    steps: ClassVar[tuple[int, ...]] = DEPTHS
    own_gain: ClassVar[bool] = False

    def rate(self) -> Answer:
        """`1.00GSa/s`."""
        rate = 1.0 / self.setup.interval
        size, prefix = next(
            ((size, prefix) for size, prefix in ((1e9, "G"), (1e6, "M"), (1e3, "k")) if rate >= size), (1.0, "")
        )
        # Three digits, and its rates are whole numbers of them: 1, 2 and 5 seconds a division share 500 points.
        return f"{rate / size:.4g}{prefix}Sa/s"

    def told_state(self) -> Answer:
        """`SAST?`: as late as the display tells it."""
        return STATES[str(self.state())]

    tree: ClassVar[CommandTree] = CommandTree(
        Command("SAST?", lambda scope: scope.told_state()),
        beneath=SHARED,
    )
