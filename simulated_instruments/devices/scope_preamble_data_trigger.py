"""The trigger of a simulated oscilloscope: the first time at which its source crosses the level.

It decides no mode and no waiting: those are the acquisition's. `never` is a switch for a bench fault: no edge is seen.
"""

from __future__ import annotations

from simulated_instruments.devices.scope_preamble_data_converter import Converter
from simulated_instruments.devices.scope_preamble_data_setup import Setup

DIRECTIONS = {"POS": (True,), "NEG": (False,), "RFAL": (True, False)}  # rising edges, falling edges
FREE_OF_MEAN = ("AC", "LFR")  # couplings of the trigger that take the mean off


class EdgeTrigger:
    """The comparator behind the vertical amplifier: it shares that one's errors and coupling."""

    def __init__(self, converter: Converter) -> None:
        self.converter = converter
        self.never = False

    def first(self, setup: Setup, start: float, stop: float) -> float | None:
        """Absolute time of the first trigger in [start, stop], or None."""
        trigger = setup.trigger
        source = setup.input(trigger.source)
        if self.never or source.coupling == "GND" or stop <= start:
            return None
        level = self.converter.at_tip(trigger.source, source, trigger.level)
        if source.coupling == "AC" or trigger.coupling in FREE_OF_MEAN:
            level += self.converter.mean(trigger.source, start, stop)
        crossing = self.converter.terminals.crossing
        found = [crossing(trigger.source, level, rising, start, stop) for rising in DIRECTIONS[trigger.slope]]
        return min((time for time in found if time is not None), default=None)
