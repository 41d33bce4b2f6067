"""A scope's scaling against the meter: one level seen on two ranges at two offsets each, channel by channel.

A rule from code to volts that is wrong – origin, sign of the offset, codes a division – shifts what is read unless the
offset is zero; a probe that divides by something else shows before. Pure but for the captures it asks for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from autobench.commissioning.proof_plan import LEVEL, ScopeWay
from autobench.documents.driver_samples import Samples
from autobench.instruments.meter import MeterReading
from autobench.judgement.reading import Reading
from autobench.judgement.uncertainty import Component
from autobench.judgement.verdict import Judgement, Verdict, skipped
from autobench.plan.limits import Limits
from autobench.plan.scope_steps import ScopePoint, Sight
from autobench.plan.steps import PlannedStep
from autobench.plan.target import Target
from autobench.quantity import Span, show
from autobench.run.captures import Captures
from autobench.run.readings import judged, unread

SECONDS, RATE = 40e-3, 50e3  # two periods of the mains at 50 Hz, so that hum averages out; Sa/s
SCALES = (0.5, 2.0)  # V a division at the tip
AWAY = 3.0  # divisions from the middle at which the level is seen, above and below
# V a division and in the middle of the screen: the level shows, and ten times as much, of a probe that divides by less.
WIDE, WIDE_MIDDLE = 5.0, 10.0
RIGHT = (0.5, 2.0)  # shares of the level between which a probe divides as it should
UNSTEADY = 0.15  # V rms; noise is far below it, hum of a probe without ground above
GAIN, OFFSET, PROBE = "gain error", "offset error", "probe"


@dataclass(frozen=True)
class Level:
    """Mean volts of a capture, with their standard uncertainty from the samples alone; or why there are none."""

    volts: float
    uncertainty: float
    void: str | None = None


def channel(step: PlannedStep, captures: Captures, way: ScopeWay, target: Target, meter: MeterReading) -> list[Reading]:
    """Every reading of one channel at a level that `meter` has read."""
    if meter.estimate is None:
        why = Judgement(Verdict.SKIPPED, None, "the meter read nothing to compare with")
        return [unread(step, net_of(way), target.point, PROBE, "", Limits(Span(None, None, ""), "none"), why)]
    true = meter.estimate.value
    factor = probe_factor(step, captures, way, target, true)
    if factor.verdict is not Verdict.WITHIN:
        return [factor]
    found = [factor]
    for scale in SCALES:
        found += at_scale(step, captures, way, target, (true, meter.estimate.uncertainty), scale)
    return found


def net_of(way: ScopeWay) -> str:
    """The channel by its name in a bench file."""
    return f"{way.scope} {way.channel}"


def probe_factor(step: PlannedStep, captures: Captures, way: ScopeWay, target: Target, true: float) -> Reading:
    """What the probe really divides by, seen on a range on which a wrong one shows too."""
    stated = captures.scope.probe
    limits = Limits(Span(RIGHT[0] * stated, RIGHT[1] * stated, ""), "bench file")
    seen = look(captures, way, target, WIDE_MIDDLE, WIDE)
    if seen.void is not None:
        judgement = Judgement(Verdict.OUTSIDE, None, seen.void)
        return unread(step, net_of(way), target.point, PROBE, "", limits, judgement)
    shown = abs(seen.volts / true)
    # It shows `stated` times what is at its connector: a probe that divides by less shows so much more.
    value = stated / shown if shown > 1e-3 else math.inf
    if not math.isfinite(value):
        why = f"no direct volts get through to it: is its probe on {target.point}, and its coupling direct?"
        return unread(step, net_of(way), target.point, PROBE, "", limits, Judgement(Verdict.OUTSIDE, None, why))
    part = Component("scope's level", wide_error(captures.scope.samples, stated) / abs(true) * value, "rectangular")
    reading = judged(step, net_of(way), target.point, PROBE, value, "", (part,), limits, "simple")
    if reading.verdict is Verdict.WITHIN:
        return reading
    meant = min((1, 10, 100), key=lambda known: abs(math.log(value / known)))
    why = f"it shows {show(seen.volts, 'V')} for {show(true, 'V')}: its probe divides by {meant}, the bench file says "
    why = f"{why}{stated:g}; turn the switch on the probe, or write 'probe: {meant}'"
    return reading.with_verdict(Verdict.OUTSIDE, why)


def wide_error(samples: Samples, probe: float) -> float:
    """Limit of error (V) of a level on the wide range."""
    return stated_gain(samples) * WIDE_MIDDLE + stated_offset(samples, WIDE, probe) * WIDE


def at_scale(
    step: PlannedStep,
    captures: Captures,
    way: ScopeWay,
    target: Target,
    true: tuple[float, float],
    scale: float,
) -> list[Reading]:
    """Gain and offset error on one range, from the level seen three divisions above and below the middle."""
    samples, probe = captures.scope.samples, captures.scope.probe
    volts, uncertainty = true
    above, below = (look(captures, way, target, volts + sign * AWAY * scale, scale) for sign in (-1.0, 1.0))
    gain_limits = both_ways(100.0 * stated_gain(samples))
    offset_limits = both_ways(100.0 * stated_offset(samples, scale, probe))
    name = PlannedStep(f"{step.name}, {show(scale, 'V', 2)} a division", step.stage, step.job, step.words, step.seconds)
    void = above.void or below.void
    if void is not None:
        wrong = Judgement(Verdict.OUTSIDE, None, void)
        return [unread(name, net_of(way), target.point, GAIN, "%", gain_limits, wrong)]
    gain = (above.volts - below.volts) / (2.0 * AWAY * scale)
    offset = (above.volts + below.volts) / 2.0 - volts
    noise = math.hypot(above.uncertainty, below.uncertainty)
    gain_parts = (Component("scope's levels", 100.0 * noise / (2.0 * AWAY * scale), "normal"),)
    offset_parts = (
        Component("scope's levels", 100.0 * noise / 2.0 / scale, "normal"),
        Component("meter", 100.0 * uncertainty / scale, "normal"),
    )
    return [
        judged(name, net_of(way), target.point, GAIN, 100.0 * gain, "%", gain_parts, gain_limits),
        judged(name, net_of(way), target.point, OFFSET, 100.0 * offset / scale, "%", offset_parts, offset_limits),
    ]


def both_ways(limit: float) -> Limits:
    """As far below zero as above."""
    return Limits(Span(-limit, limit, "%"), "driver file")


def stated_gain(samples: Samples) -> float:
    """Limit of the gain's error as a share of a level's distance from the middle of the screen.

    A share of full scale (all vertical divisions) is reached at the edge of the screen, half of them from the middle.
    """
    trust, half = samples.trust, samples.divisions.vertical / 2.0
    return trust.of_reading + trust.of_full_scale * samples.divisions.vertical / half


def stated_offset(samples: Samples, scale: float, probe: float) -> float:
    """Limit of the offset's error in divisions of `scale` V."""
    trust = samples.trust
    return trust.of_division + (trust.plus.value if trust.plus else 0.0) * probe / scale


def look(captures: Captures, way: ScopeWay, target: Target, middle: float, scale: float) -> Level:
    """Mean volts with `middle` (V) in the middle of the screen, on the range of `scale` V a division."""
    half = 0.9 * captures.scope.samples.divisions.vertical * scale / 2.0
    point = ScopePoint(net_of(way), target.point, way.channel, way.relay, middle - half, middle + half, beside=target)
    seen = captures.look(Sight((point,), SECONDS, RATE), point.net)
    if seen.void is not None:
        return Level(0.0, 0.0, seen.void)
    volts = seen.trace.in_volts()
    mean = float(volts.mean())
    # A probe that divides by less shows more of all, and a wide range has the converter's own noise of nearly a code.
    quiet = max(UNSTEADY * max(1.0, abs(mean) / LEVEL), seen.trace.step)
    if float(volts.std()) > quiet:
        swing = show(float(volts.max() - volts.min()), "V", 2)
        return Level(0.0, 0.0, f"the level swings by {swing}: is the ground clip of its probe on?")
    step = scale / captures.scope.samples.codes
    # A level that sits still between two codes may be off by half a step, however many samples there are.
    return Level(mean, math.hypot(step / math.sqrt(12.0), float(volts.std()) / math.sqrt(volts.size)))


def nothing(step: PlannedStep, why: str) -> Reading:
    """The reading of a scope that cannot be compared with anything."""
    limits = Limits(Span(None, None, "%"), "none")
    return unread(step, None, None, GAIN, "%", limits, skipped(why))
