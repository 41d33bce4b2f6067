"""What an oscilloscope of the dialect O-1b is set to, and what follows from it: sample rate, record, screen, limits.

Values only: nothing here measures, waits or reads a command. A `Setup` never changes; an acquisition keeps the one it
was armed with.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import ClassVar

CHANNELS = (1, 2, 3, 4)
DIVISIONS_ACROSS, DIVISIONS_UP = 12, 8
CODES_A_DIVISION = 25
CENTRE = 127  # the code at the middle of the screen
MOST_CODE = 255  # the converter covers 10.24 divisions
SCREEN_POINTS = 1200
MOST_RATE = 1e9  # samples a second of one converter, which the displayed channels share
MOST_MEMORY = 12_000_000  # points, shared likewise
DEPTHS = tuple(sorted({part * 10**power for power in (3, 4, 5, 6) for part in (1, 3, 6, 12)} | {10_000_000}))
AUTOMATIC_DEPTH = 1_000_000  # points; the most that the automatic choice takes
LEAST_VOLTS, MOST_VOLTS = 1e-3, 10.0  # V a division at the connector
WIDE_VOLTS = 0.5  # V a division at the connector; from here up the offset has its wide span
WIDE_OFFSET, NARROW_OFFSET = 100.0, 2.0  # V at the connector
TRIGGER_DIVISIONS = 5  # from the middle of the screen, as far as the comparator reaches
TIME_SCALES = tuple(float(f"{step}e{power}") for power in range(-9, 2) for step in (1, 2, 5))[2:]  # s a division
LATEST_OFFSET = 1.0  # s after the trigger, or a hundred divisions if that is more


@dataclass(frozen=True)
class Input:
    """One channel. `volts` (a division) and `offset` are those at the connector, before the probe factor."""

    displayed: bool = False
    coupling: str = "DC"
    probe: float = 1.0
    volts: float = 1.0
    offset: float = 0.0
    limited: bool = False

    @property
    def scale(self) -> float:
        """V a division as shown."""
        return self.volts * self.probe

    @property
    def step(self) -> float:
        """V a code at the connector."""
        return self.volts / CODES_A_DIVISION

    @property
    def offset_codes(self) -> int:
        """The offset as the converter makes it: in whole codes, positive moves the trace up."""
        return round(self.offset / self.step)

    @property
    def most_offset(self) -> float:
        """V at the connector."""
        return WIDE_OFFSET if self.volts >= WIDE_VOLTS else NARROW_OFFSET

    def scaled(self, volts: float) -> Input:
        """The same at another sensitivity; the offset is pulled inside its span."""
        moved = replace(self, volts=volts)
        return replace(moved, offset=max(-moved.most_offset, min(self.offset, moved.most_offset)))


@dataclass(frozen=True)
class Trigger:
    """Edge trigger. `level` is in V as shown by the source channel, `holdoff` in s."""

    source: int = 1
    level: float = 0.0
    slope: str = "POS"
    coupling: str = "DC"
    holdoff: float = 16e-9


@dataclass(frozen=True)
class Setup:
    """Everything an acquisition depends on. `depth` None is the automatic choice.

    `across` (divisions), `rate` (samples a second) and `memory` (points) are what the make has, all channels together.
    """

    across: ClassVar[int] = DIVISIONS_ACROSS
    rate: ClassVar[float] = MOST_RATE
    memory: ClassVar[int] = MOST_MEMORY
    inputs: tuple[Input, ...] = (Input(displayed=True), Input(), Input(), Input())
    time_scale: float = 1e-6
    time_offset: float = 0.0
    kind: str = "NORM"
    averages: int = 2
    depth: int | None = None
    sweep: str = "AUTO"
    trigger: Trigger = field(default_factory=Trigger)

    def input(self, channel: int) -> Input:
        return self.inputs[channel - 1]

    def with_input(self, channel: int, changed: Input) -> Setup:
        """The same with another setting of one channel."""
        return replace(self, inputs=tuple(changed if place == channel else self.input(place) for place in CHANNELS))

    def with_time_scale(self, scale: float) -> Setup:
        """The same at another time base; the offset is pulled inside its span."""
        moved = replace(self, time_scale=scale)
        return replace(moved, time_offset=max(moved.least_offset, min(self.time_offset, moved.most_offset)))

    @cached_property
    def displayed(self) -> tuple[int, ...]:
        return tuple(channel for channel in CHANNELS if self.input(channel).displayed)

    @cached_property
    def share(self) -> int:
        """Into how many parts converter and memory are divided: three channels take as much as four."""
        return {0: 1, 1: 1, 2: 2}.get(len(self.displayed), 4)

    @cached_property
    def most_rate(self) -> float:
        """Samples a second that each displayed channel can have."""
        return self.rate / self.share

    @property
    def most_depth(self) -> int:
        """Points that each displayed channel can have."""
        return self.memory // self.share

    @cached_property
    def span(self) -> float:
        """Seconds across the screen, which are those of the record."""
        return self.across * self.time_scale

    @cached_property
    def points(self) -> int:
        """Points of the record: the memory depth, or as many as the highest rate gives in that time."""
        possible = max(2, round(self.most_rate * self.span))
        depth = self.depth
        if depth is None:
            depth = next((each for each in DEPTHS if possible <= each <= AUTOMATIC_DEPTH), AUTOMATIC_DEPTH)
        points = min(depth, possible, self.most_depth)
        return points - points % 2 if self.kind == "PEAK" else points

    @cached_property
    def interval(self) -> float:
        """Seconds from one point to the next."""
        return self.span / self.points

    @cached_property
    def origin(self) -> float:
        """Seconds from the trigger to the first point."""
        return self.time_offset - self.span / 2

    @property
    def least_offset(self) -> float:
        """The trigger cannot be beyond the right edge of the screen (s)."""
        return -self.span / 2

    @property
    def most_offset(self) -> float:
        return max(LATEST_OFFSET, 100 * self.time_scale)

    @property
    def level_span(self) -> tuple[float, float]:
        """Least and most trigger level (V as shown by the source channel)."""
        source = self.input(self.trigger.source)
        reach, middle = TRIGGER_DIVISIONS * source.scale, -source.offset * source.probe
        return middle - reach, middle + reach


def time_scale_for(wanted: float) -> float:
    """The time base that is set when `wanted` s a division are asked for: the next longer one there is."""
    return next(scale for scale in TIME_SCALES if wanted <= scale * (1 + 1e-6))
