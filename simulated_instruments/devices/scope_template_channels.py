"""The channels of the oscilloscopes O-3: trace, coupling, attenuation, scale, offset, bandwidth.

It reads the parameters of these commands and nothing else, and must not know what is connected.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from autobench.protocols.parameters import character, number
from autobench.protocols.scpi import ScpiError
from simulated_instruments.devices.command_tree import Answer
from simulated_instruments.devices.scope_preamble_data_running import RunningScope
from simulated_instruments.devices.scope_preamble_data_setup import CHANNELS, LEAST_VOLTS, MOST_VOLTS, Input

SOURCES = tuple(f"C{channel}" for channel in CHANNELS)
COUPLINGS = {"D1M": "DC", "A1M": "AC", "GND": "GND"}


class TemplateChannels(RunningScope):
    """A running oscilloscope with the vertical commands of the dialect.

    `offset_at_connector`: in one family the offset does not take the probe's factor into account.
    """

    offset_at_connector = False

    def input(self, channel: int) -> Input:
        """The setting of a channel; raises -113 if there is none with this number, since its name is a header."""
        if channel not in CHANNELS:
            raise ScpiError(-113, f"C{channel}")
        return self.setup.input(channel)

    def change_input(self, channel: int, changed: Input) -> Answer:
        return self.change(self.setup.with_input(channel, changed))

    def set_trace(self, channel: int, text: str) -> Answer:
        shown = character(text, ("ON", "OFF")) == "ON"
        return self.change_input(channel, replace(self.input(channel), displayed=shown))

    def set_coupling(self, channel: int, text: str) -> Answer:
        if text.strip().upper() not in COUPLINGS:
            raise ScpiError(-224, text[:40])
        return self.change_input(channel, replace(self.input(channel), coupling=COUPLINGS[text.strip().upper()]))

    def coupling(self, channel: int) -> Answer:
        return next(word for word, kind in COUPLINGS.items() if kind == self.input(channel).coupling)

    def set_probe(self, channel: int, text: str) -> Answer:
        wanted = number(text, minimum=0.1, maximum=1000.0)
        return self.change_input(channel, replace(self.input(channel), probe=wanted))

    def set_scale(self, channel: int, text: str) -> Answer:
        settings = self.input(channel)
        least, most = LEAST_VOLTS * settings.probe, MOST_VOLTS * settings.probe
        wanted = number(text, "V", minimum=least, maximum=most)
        return self.change_input(channel, settings.scaled(wanted / settings.probe))

    def offset_factor(self, settings: Input) -> float:
        """Volts as told of one volt of offset at the connector."""
        return 1.0 if self.offset_at_connector else settings.probe

    def set_offset(self, channel: int, text: str) -> Answer:
        """Volts that are added before the trace is drawn: more of them, and it goes up."""
        settings = self.input(channel)
        factor = self.offset_factor(settings)
        most = settings.most_offset * factor
        wanted = number(text, "V", minimum=-most, maximum=most)
        return self.change_input(channel, replace(settings, offset=wanted / factor))

    def set_limits(self, *words: str) -> Answer:
        """Pairs of a channel and ON or OFF."""
        for name, state in paired(words):
            channel = int(character(name, SOURCES)[-1])
            limited = character(state, ("ON", "OFF")) == "ON"
            self.change_input(channel, replace(self.input(channel), limited=limited))
        return None

    def limits(self) -> Answer:
        return ",".join(f"C{channel},{'ON' if self.input(channel).limited else 'OFF'}" for channel in CHANNELS)


def paired(words: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    """Names and values that take turns; raises -109 where the last one lacks its value."""
    if len(words) % 2:
        raise ScpiError(-109, ",".join(words)[:40])
    return zip(words[0::2], words[1::2], strict=True)
