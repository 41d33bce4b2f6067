"""Waveforms given by formula, and an oscilloscope that looks at them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest
from numpy.typing import NDArray

from autobench.protocols.blocks import BlockReader
from autobench.protocols.replies import parse_error, parse_number
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.devices.scope_preamble_data import PreambleDataScope

Values = NDArray[np.float64]


@dataclass(frozen=True)
class Sine:
    """`middle + size · sin(2π·hertz·t)` volts."""

    middle: float
    size: float
    hertz: float
    phase: float = 0.0

    def samples(self, times: Values) -> Values:
        # The whole periods go first: a phase of many radians would lose its last digits.
        return self.middle + self.size * np.sin(2 * math.pi * np.remainder(times * self.hertz, 1.0) + self.phase)

    def extremes(self, edges: Values) -> tuple[Values, Values]:
        """Inside an interval there is a peak if a whole count of periods passes at the peak's phase."""
        ends = self.samples(edges)
        turn = edges * self.hertz + self.phase / (2 * math.pi)
        peaks, troughs = np.floor(turn - 0.25), np.floor(turn - 0.75)
        highs = np.where(np.diff(peaks) > 0, self.middle + self.size, np.maximum(ends[1:], ends[:-1]))
        lows = np.where(np.diff(troughs) > 0, self.middle - self.size, np.minimum(ends[1:], ends[:-1]))
        return lows, highs

    def crossing(self, level: float, rising: bool, start: float, stop: float) -> float | None:
        if abs(level - self.middle) >= self.size:
            return None
        angle = math.asin((level - self.middle) / self.size)
        turn = (angle if rising else math.pi - angle) - self.phase
        count = math.ceil(start * self.hertz - turn / (2 * math.pi))
        time = (count + turn / (2 * math.pi)) / self.hertz
        return time if time <= stop else None


@dataclass(frozen=True)
class Pulse:
    """`low` volts, and `high` from `start` for `width` seconds, then again each `period`."""

    low: float = 0.0
    high: float = 5.0
    start: float = 0.0
    width: float = 1e-3
    period: float = math.inf

    def _since(self, times: Values) -> Values:
        after = times - self.start
        return after if math.isinf(self.period) else np.remainder(after, self.period)

    def samples(self, times: Values) -> Values:
        since = self._since(times)
        return np.where((since >= 0) & (since < self.width), self.high, self.low)

    def extremes(self, edges: Values) -> tuple[Values, Values]:
        """For pulses that do not repeat, and for intervals longer than the pulse or at rest."""
        ends = self.samples(edges)
        inside = (edges[:-1] < self.start + self.width) & (edges[1:] > self.start)
        highs = np.where(inside, self.high, np.maximum(ends[1:], ends[:-1]))
        return np.minimum(ends[1:], ends[:-1]), highs

    def crossing(self, level: float, rising: bool, start: float, stop: float) -> float | None:
        if not self.low < level < self.high:
            return None
        edge = self.start if rising else self.start + self.width
        if not math.isinf(self.period):
            edge += math.ceil((start - edge) / self.period) * self.period
        return edge if start <= edge <= stop else None


Signal = Sine | Pulse
STILL = Sine(0.0, 0.0, 1.0)


@dataclass
class Terminals:
    """One signal a channel; nothing later than now may be asked for, and never the waveform when it is not needed."""

    clock: SimulatedClock
    signals: dict[int, Signal] = field(default_factory=dict)
    input_ohms: float = 0.0
    sampled: int = 0

    def samples(self, channel: int, times: Values, input_ohms: float) -> Values:
        assert times.max() <= self.clock.now(), "the future was sampled"
        self.input_ohms, self.sampled = input_ohms, self.sampled + 1
        return self.signals.get(channel, STILL).samples(times)

    def extremes(self, channel: int, edges: Values, input_ohms: float) -> tuple[Values, Values]:
        assert edges.max() <= self.clock.now(), "the future was sampled"
        return self.signals.get(channel, STILL).extremes(edges)

    def crossing(self, channel: int, level: float, rising: bool, start: float, stop: float) -> float | None:
        assert stop <= self.clock.now(), "the future was searched"
        return self.signals.get(channel, STILL).crossing(level, rising, start, stop)

    def key(self, channel: int) -> str:
        return f"point {channel}"


@dataclass(frozen=True)
class Preamble:
    """The ten fields (common practice)."""

    format: int
    type: int
    points: int
    count: int
    x_step: float
    x_origin: float
    x_reference: float
    y_step: float
    y_origin: float
    y_reference: float

    def volts(self, codes: NDArray[np.uint8]) -> Values:
        return (
            codes.astype(np.float64) - self.y_origin - self.y_reference
        ) * self.y_step  # common practice: origin in codes

    def times(self) -> Values:
        return (np.arange(self.points, dtype=np.float64) - self.x_reference) * self.x_step + self.x_origin


class Bench:
    """An oscilloscope with ×10 probes, its clock, and one signal a channel."""

    def __init__(self, *signals: Signal, seed: int = 1) -> None:
        self.clock = SimulatedClock(10.0)
        self.terminals = Terminals(self.clock, dict(enumerate(signals, 1)))
        self.scope = PreambleDataScope("scope", self.clock, self.terminals, seed)
        self.say("*CLS")

    def say(self, *messages: str) -> None:
        for message in messages:
            self.scope.receive(message.encode("ascii"), True)
            assert self.scope.reply() is None

    def ask_bytes(self, message: str) -> bytes:
        self.scope.receive(message.encode("ascii"), True)
        pending = self.scope.reply()
        assert pending is not None, f"no reply to {message!r}"
        self.clock.sleep(pending.ready_at - self.clock.now())
        self.scope.take()
        return pending.data

    def ask(self, message: str) -> str:
        return self.ask_bytes(message).decode("ascii").removesuffix("\n")

    def number(self, message: str) -> float:
        return parse_number(self.ask(message)).value

    def error(self) -> int:
        return parse_error(self.ask("SYST:ERR?"))[0]

    def state(self) -> str:
        return self.ask(":TRIG:STAT?")

    def block(self, start: int, stop: int) -> bytes:
        self.say(f":WAV:STAR {start};:WAV:STOP {stop}")
        raw = self.ask_bytes(":WAV:DATA?")
        reader = BlockReader()
        assert reader.feed(raw)
        assert reader.rest == b"\n"
        return reader.data

    def preamble(self) -> Preamble:
        fields = self.ask(":WAV:PRE?").split(",")
        assert len(fields) == 10
        whole, rest = fields[:4], fields[4:]
        return Preamble(*map(int, whole), *map(float, rest))

    def set(self, channel: int, scale: float = 1.0, offset: float = 0.0) -> None:
        name = f":CHAN{channel}"
        self.say(f"{name}:DISP ON;{name}:COUP DC;{name}:PROB 10;{name}:SCAL {scale};{name}:OFFS {offset}")

    def single(self, seconds: float = 0.05) -> None:
        """Arm a single acquisition, and let time pass."""
        self.say(":SING")
        self.clock.sleep(seconds)

    def record(self, channel: int = 1, chunk: int = 250_000) -> tuple[Preamble, NDArray[np.uint8]]:
        self.say(f":WAV:SOUR CHAN{channel};:WAV:MODE RAW;:WAV:FORM BYTE")
        preamble = self.preamble()
        parts = [
            self.block(start, min(start + chunk - 1, preamble.points)) for start in range(1, preamble.points + 1, chunk)
        ]
        return preamble, np.frombuffer(b"".join(parts), np.uint8)


@pytest.fixture
def sine() -> type[Sine]:
    return Sine


@pytest.fixture
def pulse() -> type[Pulse]:
    return Pulse


@pytest.fixture
def scope_bench() -> type[Bench]:
    return Bench


@pytest.fixture
def captured() -> Callable[..., Bench]:
    """Builds a bench that has a single acquisition of a signal in its memory: 1 V a division unless set otherwise."""

    def build(signal: Signal, *settings: str, seed: int = 1, seconds: float = 0.05) -> Bench:
        bench = Bench(signal, seed=seed)
        bench.set(1)
        bench.say(":ACQ:MDEP 10000", *settings)
        bench.single(seconds)
        return bench

    return build


@pytest.fixture
def volts_class() -> Callable[[float], float]:
    """The most that volts may be wrong at a scale: 2 % of full scale, 0.1 div, 2 mV, and four codes of noise."""
    return lambda scale: 0.02 * 8 * scale + 0.1 * scale + 2e-3 + 4 * scale / 25
