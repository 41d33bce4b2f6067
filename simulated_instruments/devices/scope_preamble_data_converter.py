"""The analogue side of a simulated oscilloscope: probe, coupling, errors of this specimen, noise, 8-bit converter.

Turns an acquisition's window into codes when they are asked for, and a trigger level into volts at the probe tip. It
chooses no window and speaks no SCPI. Aliases need no doing of their own: the terminals are sampled at the exact times.
"""

from __future__ import annotations

import functools
import math
from collections import Counter
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from simulated_instruments.devices.noise import generator, trait
from simulated_instruments.devices.scope_preamble_data_setup import CENTRE, CHANNELS, MOST_CODE, Input, Setup
from simulated_instruments.devices.terminals import ScopeTerminals

PROBE_DIVIDER = 10.0
INPUT_OHMS = 1e6  # at the connector
SPECIMEN = 0.8  # a specimen's own error, as a part of its class
GAIN_CLASS = 0.02  # of full scale
OFFSET_DIVISIONS, OFFSET_VOLTS = 0.1, 0.2e-3  # V at the connector: 2 mV at the tip of a ×10 probe
TIME_CLASS = 25e-6
LEAST_NOISE, MOST_NOISE = 0.5, 0.8  # codes, as a standard deviation
LIMIT_SECONDS = 1 / (2 * math.pi * 20e6)  # time constant of the 20 MHz limit
# The step response of the limit in eight equal steps, at the middle of each: a mean over these delays is the low-pass.
LIMIT_DELAYS = tuple(-LIMIT_SECONDS * math.log(1 - (step + 0.5) / 8) for step in range(8))
EXTREME_SCATTER = 0.3  # how much the extreme of many noise values scatters, as a part of their standard deviation
BLOCK = 1 << 15  # points worked on at a time, even: larger ones no longer stay in the processor's cache
NOISE_VALUES = 1 << 20  # values that noise is taken from, a stretch of them for each block of a record
MEAN_POINTS = 4096

Volts = NDArray[np.float64]
Codes = NDArray[np.uint8]


@dataclass(eq=False)
class Acquisition:
    """One completed acquisition: its window, and the codes of the channels that were read so far.

    `triggers` are absolute times, more than one when averaging; `keys` names what each channel was connected to.
    """

    setup: Setup
    triggers: tuple[float, ...]
    forced: bool
    keys: dict[int, str]
    codes: dict[int, Codes] = field(default_factory=dict)


class Converter:
    """`dividers` has what the probe on each channel really divides by; `centre` is the code in the middle of the
    screen, `least_code` where it clips below.
    """

    def __init__(self, terminals: ScopeTerminals, seed: int, name: str) -> None:
        self.terminals = terminals
        self.dividers = dict.fromkeys(CHANNELS, PROBE_DIVIDER)
        self.centre, self.least_code = CENTRE, 0
        self.time_error = trait(seed, SPECIMEN * TIME_CLASS, name, "time base")
        self._seed = seed
        self._name = name
        self._drawn: Counter[tuple[int, str]] = Counter()
        self._gains = {channel: 1 + trait(seed, SPECIMEN * GAIN_CLASS, name, channel, "gain") for channel in CHANNELS}
        self._shifts = {channel: trait(seed, SPECIMEN, name, channel, "offset") for channel in CHANNELS}
        self._noises = {
            channel: float(generator(seed, name, channel, "noise").uniform(LEAST_NOISE, MOST_NOISE))
            for channel in CHANNELS
        }

    @property
    def stretch(self) -> float:
        """True seconds that pass while this time base counts one."""
        return 1 / (1 + self.time_error)

    def _line(self, channel: int, settings: Input) -> tuple[float, float]:
        """Codes a volt at the tip, and the code of 0 V, with this specimen's errors.

        The gain is wrong from the middle of the screen outward: the offset is added before it.
        """
        gain = self._gains[channel]
        wrong = self._shifts[channel] * (OFFSET_DIVISIONS * settings.volts + OFFSET_VOLTS)
        per_volt = gain / settings.step / self.dividers[channel]
        return per_volt, gain * settings.offset_codes + wrong / settings.step + self.centre

    def at_tip(self, channel: int, settings: Input, level: float) -> float:
        """The volts at the tip that this specimen shows as `level`."""
        per_volt, zero = self._line(channel, settings)
        shown_as = level / settings.probe / settings.step + settings.offset_codes + self.centre
        return (shown_as - zero) / per_volt

    def input_ohms(self, channel: int) -> float:
        """What the probe puts across a node: a divider of 10 is 9 MΩ before the input's 1 MΩ."""
        return INPUT_OHMS * self.dividers[channel]

    def mean(self, channel: int, start: float, stop: float) -> float:
        """Mean volts at the tip, which AC coupling takes off."""
        times = np.linspace(start, stop, MEAN_POINTS, endpoint=False)
        return float(np.mean(self.terminals.samples(channel, times, self.input_ohms(channel))))

    def codes(self, acquisition: Acquisition, channel: int) -> Codes:
        """The record of a channel; made when first asked for, then it stays the same."""
        if channel not in acquisition.codes:
            acquisition.codes[channel] = self._convert(acquisition, channel)
        return acquisition.codes[channel]

    def _convert(self, acquisition: Acquisition, channel: int) -> Codes:
        setup, settings = acquisition.setup, acquisition.setup.input(channel)
        per_volt, zero = self._line(channel, settings)
        if settings.coupling == "GND":
            per_volt = 0.0
        elif settings.coupling == "AC":
            start = acquisition.triggers[-1] + setup.origin * self.stretch
            zero -= per_volt * self.mean(channel, start, start + setup.span * self.stretch)
        random = self._random(acquisition, channel)
        noise = np.float32(self._noises[channel] / math.sqrt(len(acquisition.triggers)))
        found = np.empty(setup.points, np.uint8)
        for first in range(0, setup.points, BLOCK):
            part = found[first : first + BLOCK]
            exact = normal_values(random, len(part))
            if setup.kind == "PEAK":
                exact *= np.float32(EXTREME_SCATTER) * noise
                reach = noise * np.float32(extreme_reach(2 * setup.interval * setup.most_rate))
                exact[0::2] -= reach
                exact[1::2] += reach
            else:
                exact *= noise
            if per_volt:
                exact += (self._volts(acquisition, channel, first, len(part)) * per_volt).astype(np.float32)
            exact += np.float32(zero)
            np.clip(np.rint(exact, out=exact), self.least_code, MOST_CODE, out=exact)
            part[:] = exact
        return found

    def _random(self, acquisition: Acquisition, channel: int) -> np.random.Generator:
        """The n-th acquisition of what is connected has its own noise, whatever was captured elsewhere before."""
        key = (channel, acquisition.keys.get(channel, ""))
        self._drawn[key] += 1
        return generator(self._seed, "scope noise", self._name, *key, self._drawn[key])

    def _volts(self, acquisition: Acquisition, channel: int, first: int, count: int) -> Volts:
        """Volts at the tip of `count` points from place `first`; with peak detection, lows and highs take turns."""
        setup, ohms = acquisition.setup, self.input_ohms(channel)
        if setup.kind == "PEAK":
            places = np.arange(first, first + count + 1, 2, dtype=np.float64)
            edges = acquisition.triggers[0] + (setup.origin + places * setup.interval) * self.stretch
            volts = np.empty(count)
            volts[0::2], volts[1::2] = self.terminals.extremes(channel, edges, ohms)
            return volts
        places = np.arange(first, first + count, dtype=np.float64)
        after = (setup.origin + places * setup.interval) * self.stretch
        delays = LIMIT_DELAYS if setup.input(channel).limited else (0.0,)
        parts = [
            self.terminals.samples(channel, after + (trigger - delay), ohms)
            for trigger in acquisition.triggers
            for delay in delays
        ]
        return parts[0] if len(parts) == 1 else np.mean(parts, axis=0)


def extreme_reach(samples: float) -> float:
    """How far the extreme of so many normal values lies from their mean, in standard deviations (asymptotically)."""
    return math.sqrt(2 * math.log(max(samples, 1.0)))


@functools.cache
def noise_values() -> NDArray[np.float32]:
    """Normal values of mean 0 and standard deviation 1, whose first block follows again at the end."""
    values = generator(0, "scope noise values").standard_normal(NOISE_VALUES)
    scaled: NDArray[np.float32] = ((values - values.mean()) / values.std()).astype(np.float32)
    return np.concatenate((scaled, scaled[:BLOCK]))


def normal_values(random: np.random.Generator, count: int) -> NDArray[np.float32]:
    """A stretch of normal values from a place drawn at random: a record cannot tell them from independent draws, which
    take twenty times as long. At most `BLOCK` of them."""
    start = int(random.integers(NOISE_VALUES))
    return noise_values()[start : start + count].copy()
