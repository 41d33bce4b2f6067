"""Steps that look with a scope, resolved: which points together, on which channels, and what each is held to.

Plain frozen data, like `steps`. Nothing here reads files or talks to instruments.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from autobench.plan.limits import Limits
from autobench.plan.target import Target


@dataclass(frozen=True)
class ScopePoint:
    """One point on one scope channel, through a relay or (`relay` 0) with a probe that a hand holds there.

    `low` and `high` are the volts it is expected between; `beside` is where the meter sees the same point, which tells
    a line at 0 V from a probe that touches nothing.
    """

    net: str
    point: str
    channel: int
    relay: int
    low: float
    high: float
    beside: Target | None = None

    @property
    def by_hand(self) -> bool:
        """Whether a hand holds the probe."""
        return self.relay == 0


@dataclass(frozen=True)
class Sight:
    """Points that are captured together: ratios between them are exact whatever the time base.

    `seconds` is the record's length, `rate` the sample rate wanted (Sa/s); `peak` asks for peak detection, which sees
    every pulse but not when; `bandwidth_limit` for the scope's 20 MHz filter.
    """

    points: tuple[ScopePoint, ...]
    seconds: float
    rate: float
    peak: bool = False
    bandwidth_limit: bool = False

    def channel(self, net: str) -> int:
        """The scope channel that shows `net`; raises `KeyError` if none does."""
        for point in self.points:
            if point.net == net:
                return point.channel
        raise KeyError(net)

    def shows(self, net: str) -> bool:
        """Whether `net` is one of the points."""
        return any(point.net == net for point in self.points)

    @property
    def by_hand(self) -> tuple[ScopePoint, ...]:
        """The points that a hand must hold a probe to."""
        return tuple(point for point in self.points if point.by_hand)


@dataclass(frozen=True)
class StartSight:
    """What is captured from before power-on: the rail that triggers, the reset line, lines that matter at the start.

    Volts and seconds: the trigger is `rail` rising through `level`; the record holds `before` of `seconds` before it.
    """

    sight: Sight
    rail: str
    level: float
    before: float


@dataclass(frozen=True)
class RippleJob:
    """Ripple of a rail at one place, peak to peak in 20 MHz."""

    rail: str
    sight: Sight
    point: str
    limits: Limits


@dataclass(frozen=True)
class CountedPoint:
    """One point at an input of a counter, through a relay: what rises through `level` volts is counted for `gate`
    seconds."""

    net: str
    point: str
    instrument: str
    channel: int
    relay: int
    level: float
    gate: float


@dataclass(frozen=True)
class ClockJob:
    """One clock: frequency, exact ratio to another clock, duty and levels. `nominal` in Hz.

    Where a counter gets to it the frequency is `counted`; without a scope, nothing but that is.
    """

    clock: str
    point: str
    sight: Sight
    nominal: float
    family: str
    frequency: Limits
    counted: CountedPoint | None = None
    other: str | None = None
    ratio: Fraction | None = None
    ratio_limits: Limits | None = None
    duty: Limits | None = None
    high: Limits | None = None
    low: Limits | None = None


@dataclass(frozen=True)
class HeldLine:
    """A line of the start capture that stands still as long as the reset holds what drives it."""

    net: str
    point: str
    family: str
    limits: Limits


@dataclass(frozen=True)
class ResetJob:
    """The reset line of the start capture: from the rail's `rail_up` volts to the release. `holds`: the line that tells
    whether the reset arrives, where the scope has an input left for it."""

    net: str
    point: str
    rail: str
    rail_up: float
    active_low: bool
    family: str
    limits: Limits
    holds: HeldLine | None = None


@dataclass(frozen=True)
class SyncJob:
    """Sync at its source: line rate, field rate, pulse width; `field_net` where field sync has its own line."""

    net: str
    point: str
    sight: Sight
    line_rate: Limits
    field_rate: Limits
    pulse: Limits
    separate: bool = False
    field_net: str | None = None
    field_point: str | None = None


@dataclass(frozen=True)
class PictureJob:
    """The composite output: sync amplitude, whole amplitude, line rate."""

    net: str
    point: str
    sight: Sight
    line_rate: Limits
    sync_amplitude: Limits
    amplitude: Limits


@dataclass(frozen=True)
class LineJob:
    """One logic line. `expected` is `moving`, `high`, `low` or `any`; `shortest` its shortest pulse in seconds.

    `stay` is the longest stay between the levels (s) and `low` the low level (V) of one that moves, where its levels
    are judged. With `within` (seconds) it is judged from the start capture: that many `pulses` after the reset release
    on `reset`.
    """

    line: str
    point: str
    sight: Sight
    expected: str
    family: str
    rate: Limits
    side: str
    shortest: float | None = None
    within: float | None = None
    pulses: Limits | None = None
    stay: Limits | None = None
    low: Limits | None = None


@dataclass(frozen=True)
class RatioJob:
    """Pulses of one line for each pulse of another, counted in one capture."""

    of: str
    to: str
    point: str
    sight: Sight
    families: tuple[str, str]
    limits: Limits


@dataclass(frozen=True)
class LikenessJob:
    """Two neighbouring lines of a bus, captured together: the share of the time in which they agree."""

    of: str
    to: str
    point: str
    sight: Sight
    families: tuple[str, str]
    limits: Limits


@dataclass(frozen=True)
class DrivingJob:
    """Whether `part` drives `line` while `select` is low and `gate` (a line and its level) says that it is meant.

    `limits` hold for the share (%) of those times in which the line is at a level, `families` for every line by name.
    """

    part: str
    line: str
    point: str
    select: str
    gate: tuple[str, str] | None
    sight: Sight
    families: dict[str, str]
    limits: Limits


@dataclass(frozen=True)
class DelayJob:
    """Time from each fall of the line `net` to the next fall of `end`."""

    net: str
    end: str
    point: str
    sight: Sight
    families: tuple[str, str]
    limits: Limits


@dataclass(frozen=True)
class RefreshJob:
    """Falls of the strobe `net` a second while the line `tells` has `level`: the rows somebody refreshes."""

    net: str
    tells: str
    level: str
    point: str
    sight: Sight
    families: tuple[str, str]
    limits: Limits


BusJob = LikenessJob | DrivingJob | DelayJob | RefreshJob
ScopeJob = RippleJob | ClockJob | ResetJob | SyncJob | PictureJob | LineJob | RatioJob | BusJob
