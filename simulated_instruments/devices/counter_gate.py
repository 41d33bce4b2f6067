"""What simulated counters share: inputs with a comparator, a gate, a time base that is off, the count of one gate.

The headers are those of each dialect and stand in modules of their own. It must not know what is connected.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from autobench.clock import Clock
from simulated_instruments.devices.command_tree import Answer, Command
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.noise import generator, trait
from simulated_instruments.devices.terminals import CounterTerminals

INPUTS = (1, 2)
PROBE_DIVIDER = 10.0
SPECIMEN = 0.8  # a specimen's own error, as a part of its class
TIME_CLASS = 1e-6
END_NOISE = 0.3e-9  # s rms, with which either end of a gate is timed
SENSITIVITY = 0.02  # V at the connector, from lowest to highest
LEVEL_STEP = 2.5e-3  # V at the connector
FILTER_HERTZ = 100e3  # what is faster does not get through the filter
LOOK_BACK = 0.02  # s; an input without an edge for so long is not being triggered
LEAST_DUTY = 0.1  # the level that is chosen by itself misses what is up, or down, for less than this
HIGH_OHMS = 1e6


@dataclass
class CounterInput:
    """One input as it is set. `level` is in V at the connector; None where the instrument chooses it by itself."""

    coupling: str = "AC"
    ohms: float = HIGH_OHMS
    level: float | None = None
    slope: str = "POS"
    filtered: bool = False


class GateCounter(Device):
    """A reciprocal counter: it times the whole periods within its gate.

    `divider` is what the probes on its inputs really divide by.
    """

    def __init__(self, name: str, clock: Clock, terminals: CounterTerminals, seed: int = 0) -> None:
        super().__init__(name, clock, seed)
        self.terminals = terminals
        self.divider = PROBE_DIVIDER
        self.time_error = trait(seed, SPECIMEN * TIME_CLASS, name, "time base")
        self.drawn: Counter[str] = Counter()
        self.reset()

    def reset(self) -> None:
        """Input 1, levels chosen by the instrument, coupled so that they lose their mean."""
        self.inputs = {number: CounterInput() for number in INPUTS}
        self.channel = 1
        self.gate = 0.1

    def level_at_tip(self, channel: int, start: float, stop: float) -> float | None:
        """The level in V at the tip that counts, or None where the input never crosses one."""
        settings = self.inputs[channel]
        low, high, mean = self.terminals.swing(channel, start, stop)
        if settings.ohms < HIGH_OHMS and self.divider > 1.0:
            return None  # nothing is left of the signal behind the probe's resistance
        if (high - low) / self.divider < SENSITIVITY:
            return None
        if settings.level is None:
            duty = (mean - low) / (high - low)
            return (low + high) / 2.0 if LEAST_DUTY <= duty <= 1.0 - LEAST_DUTY else None
        level = settings.level * self.divider
        return level + mean if settings.coupling == "AC" else level

    def triggered(self) -> bool:
        """Whether the chosen input has been crossing its level just now."""
        now = self.clock.now()
        level = self.level_at_tip(self.channel, now - LOOK_BACK, now)
        return level is not None and self.terminals.edges(self.channel, level, now - LOOK_BACK, now).count > 1

    def counted(self) -> float | None:
        """The rate (Hz) over the gate that ends now, or None where there was not a whole period in it."""
        stop = self.clock.now()
        start = stop - self.gate
        level = self.level_at_tip(self.channel, start, stop)
        found = None if level is None else self.terminals.edges(self.channel, level, start, stop)
        if found is None or found.count < 2:
            return None
        key = self.terminals.key(self.channel)
        self.drawn[key] += 1
        noise = generator(self.seed, "counter noise", self.name, key, self.drawn[key]).normal(0.0, END_NOISE, 2)
        rate = (found.count - 1) / (found.last - found.first + float(noise[1] - noise[0])) / (1 + self.time_error)
        if self.inputs[self.channel].filtered and rate > FILTER_HERTZ:
            return None
        return rate


def in_steps(volts: float) -> float:
    """A level as the instrument makes it."""
    return round(volts / LEVEL_STEP) * LEVEL_STEP


def input_commands(
    header: str, write: Callable[[Any, int, str], Answer], read: Callable[[Any, int], str]
) -> Iterator[Command]:
    """The pair of commands for a setting of one input."""
    yield Command(header, write)
    yield Command(f"{header}?", read)
