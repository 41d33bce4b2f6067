"""The settings of an oscilloscope with a converter of its own behind each channel, and a position in divisions.

Values only: what follows from a setting is computed here, nothing is measured and no command is read.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from simulated_instruments.devices.scope_preamble_data_setup import TRIGGER_DIVISIONS, Input, Setup

CENTRE = 128  # the converter's code in the middle of the screen; what is sent has this taken off
LEAST_CODE = 1  # where it clips below: -127 as sent
DEPTHS = tuple(sorted(step * 10**power for power in (3, 4, 5, 6) for step in (1, 2, 5)))


@dataclass(frozen=True)
class PositionedInput(Input):
    """`position` moves the trace up by so many divisions, whatever the sensitivity; `offset` is in volts as before."""

    position: float = 0.0

    @property
    def offset_codes(self) -> int:
        return round((self.offset + self.position * self.volts) / self.step)


@dataclass(frozen=True)
class PositionedSetup(Setup):
    """Ten divisions across, and no channel takes rate or memory from another."""

    across: ClassVar[int] = 10
    rate: ClassVar[float] = 1e9
    memory: ClassVar[int] = DEPTHS[-1]
    depths: ClassVar[tuple[int, ...]] = DEPTHS
    inputs: tuple[Input, ...] = (
        PositionedInput(displayed=True),
        PositionedInput(),
        PositionedInput(),
        PositionedInput(),
    )
    depth: int | None = 10_000

    @property
    def share(self) -> int:
        return 1

    @property
    def level_span(self) -> tuple[float, float]:
        source = self.input(self.trigger.source)
        reach, middle = TRIGGER_DIVISIONS * source.scale, -source.offset_codes * source.step * source.probe
        return middle - reach, middle + reach
