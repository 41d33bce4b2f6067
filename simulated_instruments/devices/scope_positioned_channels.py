"""The channels of the oscilloscope O-2: probe gain, scale, position in divisions, offset in volts, bandwidth.

It reads the parameters of these commands and nothing else, and must not know what is connected.
"""

from __future__ import annotations

from dataclasses import replace

from autobench.protocols.parameters import boolean, character, number
from autobench.protocols.scpi import ScpiError
from simulated_instruments.devices.command_tree import Answer
from simulated_instruments.devices.scope_positioned_setup import PositionedInput
from simulated_instruments.devices.scope_preamble_data_running import RunningScope
from simulated_instruments.devices.scope_preamble_data_setup import CHANNELS, LEAST_VOLTS, MOST_VOLTS

LEAST_GAIN, MOST_GAIN = 1e-3, 10.0
MOST_DIVISIONS = 5.0  # what lies beyond is set to this without a word


class PositionedChannels(RunningScope):
    """A running oscilloscope with the vertical commands of the dialect."""

    def input(self, channel: int) -> PositionedInput:
        """The setting of a channel; raises -113 if there is none with this number, since its name is a header."""
        if channel not in CHANNELS:
            raise ScpiError(-113, f"CH{channel}")
        settings = self.setup.input(channel)
        assert isinstance(settings, PositionedInput)
        return settings

    def change_input(self, channel: int, changed: PositionedInput) -> Answer:
        return self.change(self.setup.with_input(channel, changed))

    def set_displayed(self, channel: int, state: str) -> Answer:
        return self.change_input(channel, replace(self.input(channel), displayed=boolean(state)))

    def set_coupling(self, channel: int, text: str) -> Answer:
        return self.change_input(channel, replace(self.input(channel), coupling=character(text, ("AC", "DC", "GND"))))

    def set_gain(self, channel: int, text: str) -> Answer:
        """The probe's gain: 0.1 for one that divides by ten."""
        gain = number(text, minimum=LEAST_GAIN, maximum=MOST_GAIN)
        return self.change_input(channel, replace(self.input(channel), probe=1.0 / gain))

    def set_scale(self, channel: int, text: str) -> Answer:
        settings = self.input(channel)
        least, most = LEAST_VOLTS * settings.probe, MOST_VOLTS * settings.probe
        wanted = number(text, "V", minimum=least, maximum=most)
        return self.change_input(channel, settings.scaled(wanted / settings.probe))  # type: ignore[arg-type]

    def set_position(self, channel: int, text: str) -> Answer:
        """Divisions from the middle of the screen, up; what is too much is made the most, and nothing is said."""
        wanted = max(-MOST_DIVISIONS, min(number(text), MOST_DIVISIONS))
        return self.change_input(channel, replace(self.input(channel), position=wanted))

    def set_offset(self, channel: int, text: str) -> Answer:
        """Volts that are taken off before the trace is drawn: more of them, and it goes down."""
        settings = self.input(channel)
        most = settings.most_offset * settings.probe
        wanted = number(text, "V", minimum=-most, maximum=most, default=0.0)
        return self.change_input(channel, replace(settings, offset=-wanted / settings.probe))

    def set_bandwidth(self, channel: int, text: str) -> Answer:
        limited = character(text, ("TWEnty", "FULl")) == "TWE"
        return self.change_input(channel, replace(self.input(channel), limited=limited))
