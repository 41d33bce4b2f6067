"""What a capture is asked for, what it gives, and which scale, time base and memory fit: values and pure arithmetic.

No instrument is known here beyond the ratings of its driver file, so a planner can ask before anything is opened.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from autobench.documents.driver_samples import Samples
from autobench.judgement.uncertainty import Component
from autobench.quantity import show
from autobench.signals.trace import Trace

SPARE = 1.10  # of what is expected, so that overshoot stays on the screen
EXACT = 1e-9  # relative; what binary arithmetic leaves behind


@dataclass(frozen=True)
class ScopeInput:
    """One channel of a capture and the volts expected at the probe's tip, signed; they decide scale and offset."""

    channel: int
    low: float
    high: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.low) and math.isfinite(self.high) and self.low < self.high):
            raise ValueError(f"channel {self.channel}: {self.low} V to {self.high} V is no span of expected volts")


@dataclass(frozen=True)
class Trigger:
    """The edge a record starts from: `channel` crosses `level` volts."""

    channel: int
    level: float
    rising: bool = True

    def __str__(self) -> str:
        way = "rising" if self.rising else "falling"
        return f"channel {self.channel} {way} through {show(self.level, 'V')}"


@dataclass(frozen=True)
class Setup:
    """One capture. `seconds` is the least length of the record, `points` the fewest it may have in each channel.

    Without a `trigger` the scope starts by itself. `before` is the share of the record that lies before the trigger;
    with `peak` the points are the extremes of each interval. Raises `ValueError` for what makes no sense.
    """

    inputs: tuple[ScopeInput, ...]
    seconds: float
    points: int
    trigger: Trigger | None = None
    before: float = 0.0
    peak: bool = False
    bandwidth_limit: bool = False

    def __post_init__(self) -> None:
        used = self.channels
        if not used or len(set(used)) < len(used):
            raise ValueError("a capture needs at least one channel, and each of them once")
        if not (self.seconds > 0.0 and math.isfinite(self.seconds)) or self.points < 1:
            raise ValueError(f"a record of {self.points} points in {self.seconds} s makes no sense")
        if not 0.0 <= self.before <= 1.0:
            raise ValueError(f"{self.before} is no share of a record")
        if self.trigger is not None and self.trigger.channel not in used:
            raise ValueError(f"the trigger is on channel {self.trigger.channel}, which is not captured")

    @property
    def channels(self) -> tuple[int, ...]:
        """The channels in use."""
        return tuple(entry.channel for entry in self.inputs)


@dataclass(frozen=True)
class Capture:
    """What one capture gave: a trace for each channel, all from one acquisition.

    `triggered` says that the record starts as the setup asked: from its trigger, or by itself where none was wanted.
    `interval` is the time from point to point, s, as read back. `reason` says in words what was wrong, a setting that
    the scope did not take included; `None` where nothing was. Where the acquisition never completed there is no record
    of it, only an older one: the capture is stale, and its traces have no samples.
    """

    traces: Mapping[int, Trace]
    triggered: bool
    interval: float
    reason: str | None = None

    @property
    def stale(self) -> bool:
        """Whether there is no record of this acquisition."""
        return not any(trace.samples.size for trace in self.traces.values())


def one_two_five(least: float) -> float:
    """The smallest of 1, 2 and 5 times a power of ten that is not below `least` (above zero)."""
    exponent = math.floor(math.log10(least))
    steps = (float(f"{step}e{exponent + decade}") for decade in (0, 1) for step in (1, 2, 5))
    return next(step for step in steps if step >= least * (1.0 - EXACT))


def vertical(samples: Samples, low: float, high: float, probe: float) -> tuple[float, float]:
    """Volts per division at the tip, and the volts of the screen's middle, for what is expected at the tip.

    The smallest scale of 1, 2 and 5 on which `low` to `high` fits the screen with a tenth to spare. Raises `ValueError`
    where the largest is too small.
    """
    least, most = samples.scale.low or 0.0, samples.scale.high or 0.0
    wanted = (high - low) * SPARE / samples.divisions.vertical / probe
    middle = (low + high) / 2.0
    if samples.position is not None:  # moved by divisions alone, the middle must lie within their reach
        wanted = max(wanted, abs(middle) / samples.position / probe)
    scale = one_two_five(max(wanted, least))
    if scale > most * (1.0 + EXACT):
        reach = most * probe * samples.divisions.vertical / SPARE
        raise ValueError(f"{show(high - low, 'V')} do not fit the screen, which takes {show(reach, 'V')} at the most")
    return scale * probe, middle


def time_scale(samples: Samples, seconds: float) -> float:
    """Seconds per division: the smallest of 1, 2 and 5 whose screen lasts `seconds`; `ValueError` if none does."""
    least, most = samples.time_scale.low or 0.0, samples.time_scale.high or 0.0
    scale = one_two_five(max(seconds / samples.divisions.horizontal, least))
    if scale > most * (1.0 + EXACT):
        reach = most * samples.divisions.horizontal
        raise ValueError(f"a record of {show(seconds, 's')} is too long; {show(reach, 's')} at the most")
    return scale


def depth(samples: Samples, points: int, in_use: int) -> int:
    """The smallest memory of at least `points` with `in_use` channels on; `ValueError` where there is none."""
    depths = samples.depths(in_use)
    for found in depths:
        if found >= points:
            return found
    raise ValueError(f"{points} points a channel are too many for {in_use} channels; {depths[-1]} at the most")


def foreseen_interval(samples: Samples, setup: Setup) -> float:
    """Time from point to point, s, that the ratings promise for a setup; the read-back is what counts afterwards."""
    in_use = len(setup.inputs)
    screen = time_scale(samples, setup.seconds) * samples.divisions.horizontal
    return max(screen / depth(samples, setup.points, in_use), 1.0 / samples.fastest(in_use))


def volts_components(
    samples: Samples, scale: float, probe: float, reading: float, difference: bool
) -> tuple[Component, ...]:
    """Type B components of volts read on `scale` V per division: gain, offset and the step of the converter.

    Limits of a data sheet are half-widths of rectangles (GUM 4.3.7). In a `difference` of two levels of one trace the
    offset drops out, and there are two steps.
    """
    trust = samples.trust
    gain = trust.of_reading * abs(reading) + trust.of_full_scale * samples.divisions.vertical * scale
    offset = trust.of_division * scale + (trust.plus.value if trust.plus else 0.0) * probe
    step = scale / samples.codes
    found = [Component("gain", gain, "rectangular")]
    if difference:
        found.append(Component("resolution", step * math.sqrt(2.0), "resolution"))
    else:
        found += [Component("offset", offset, "rectangular"), Component("resolution", step, "resolution")]
    return tuple(found)


def time_component(samples: Samples, value: float) -> Component:
    """Type B component of a time or frequency of `value` from the time base, whose limit of error is relative."""
    return Component("time base", samples.trust.time_base, "rectangular", sensitivity=value)
