"""What a simulated instrument sees at its terminals: narrow ports that the world puts behind each device.

A device knows only these ports, never a circuit; the world (`simulated_instruments.world`) implements them over the
circuit and the bench wiring. All values are the true ones, without the instrument's own errors; "now" is the shared
clock's now.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class OutputSetting:
    """What one supply output has been told to do. `volts` is signed for a negative output."""

    on: bool
    volts: float
    amps: float


@dataclass(frozen=True)
class OutputPoint:
    """True operating point at one output's terminals; `limiting` while the output is in constant current."""

    volts: float
    amps: float
    limiting: bool


class SupplyTerminals(Protocol):
    """The output terminals of one supply."""

    def apply(self, output: int, setting: OutputSetting) -> None:
        """The output's setting changes now."""

    def point(self, output: int) -> OutputPoint:
        """The operating point at this moment."""


class MeterTerminals(Protocol):
    """The HI and LO terminals of one multimeter."""

    def drive(self, amps: float, compliance_volts: float) -> None:
        """The meter's ohms source forces `amps` from HI to LO from now on (0: none), at most `compliance_volts`."""

    def volts(self, input_ohms: float, aperture: float) -> float:
        """Volts HI to LO averaged over `aperture` seconds that end now, with `input_ohms` across the terminals."""

    def key(self) -> str:
        """Names what is connected (route and node), for noise that does not depend on the order of readings."""


class RelayTerminals(Protocol):
    """The contacts of one relay multiplexer."""

    def closed(self, channels: frozenset[int]) -> None:
        """From now on exactly these channels are told to be closed."""


@dataclass(frozen=True)
class Edges:
    """Edges within a stretch of time: how many, and when (absolute clock seconds) the first and the last one was."""

    count: int
    first: float = 0.0
    last: float = 0.0


class CounterTerminals(Protocol):
    """The input connectors of one counter."""

    def edges(self, channel: int, level: float, start: float, stop: float) -> Edges:
        """Rising edges through `level` volts at the probe tip of `channel` (1-based) in [start, stop], none of it in
        the future of the shared clock."""

    def swing(self, channel: int, start: float, stop: float) -> tuple[float, float, float]:
        """Lowest, highest and mean volts at the tip of `channel` in [start, stop]."""

    def key(self, channel: int) -> str:
        """Names what is connected to `channel`, for noise that does not depend on the order of readings."""


class ScopeTerminals(Protocol):
    """The input connectors of one oscilloscope."""

    def samples(self, channel: int, times: NDArray[np.float64], input_ohms: float) -> NDArray[np.float64]:
        """Volts at the probe tip of `channel` (1-based) at absolute clock `times` (s), any order of magnitude apart.

        `times` may lie in the past or up to the end of a record that has been waited for; never in the future of the
        shared clock.
        """

    def extremes(
        self, channel: int, edges: NDArray[np.float64], input_ohms: float
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Lowest and highest volts of `channel` between neighbouring absolute times `edges` (n + 1 of them, s).

        Exact, however short a pulse is beside the interval: this is what a peak-detecting converter sees.
        """

    def crossing(self, channel: int, level: float, rising: bool, start: float, stop: float) -> float | None:
        """Absolute time of the first crossing of `level` volts at the tip in [start, stop], or None."""

    def key(self, channel: int) -> str:
        """Names what is connected to `channel`, for noise that does not depend on the order of captures."""
