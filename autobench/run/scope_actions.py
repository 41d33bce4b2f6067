"""What the steps that look with a scope do: capture, compute from samples, gate, judge. No built-in measurement.

One function a kind of job; each returns readings. A gate that fails makes the reading `void` with its reason.
"""

from __future__ import annotations

import math

from autobench.judgement.reading import Reading
from autobench.judgement.uncertainty import Component
from autobench.judgement.verdict import Verdict
from autobench.plan.limits import Limits
from autobench.plan.scope_steps import ClockJob, PictureJob, ResetJob, RippleJob, SyncJob
from autobench.plan.steps import PlannedStep
from autobench.quantity import Estimate, Span, show
from autobench.run.captures import Captures, Seen
from autobench.run.counter_actions import LiveCounter, preferred
from autobench.run.place import Place
from autobench.run.readings import judged, judged_estimate
from autobench.signals.activity import find_activity
from autobench.signals.alias import Expected, rate_gate
from autobench.signals.families import family
from autobench.signals.gates import setup_gate
from autobench.signals.levels import find_levels
from autobench.signals.ringing import ground_lead_gate, rail_ringing
from autobench.signals.ripple import find_ripple
from autobench.signals.startup import ResetPulse, find_reset, movements
from autobench.signals.video import Content, find_video
from autobench.signals.waveform import Waveform, characterise

# Levels of an 8-bit scope are accepted without guard band: with one, a healthy TTL low could never pass.
LEVEL_RULE = "simple"
RIPPLE_BANDWIDTH = 20e6


def ripple(captures: Captures, step: PlannedStep, job: RippleJob, mains: float) -> list[Reading]:
    """Peak-to-peak ripple of a rail where the load is."""
    place = Place(step, job.rail, job.point)
    seen = captures.look(job.sight, job.rail)
    found = find_ripple(seen.trace, RIPPLE_BANDWIDTH, mains) if seen.void is None else None
    if found is None:
        return [place.void("ripple", "V", job.limits, seen.void or "no numbers in the trace")]
    # Peak to peak is a difference: offset cancels, gain and resolution remain; noise widens it, and is not taken out.
    gain = Component("gain", 0.02 * found.pp, "rectangular")
    steps = Component("resolution", 2 * seen.trace.resolution, "resolution")
    reading = judged(step, job.rail, job.point, "ripple", found.pp, "V", (gain, steps), job.limits)
    if reading.verdict is not Verdict.WITHIN:
        # Sampled for ripple a ground lead's ringing is only hash; sampled fast it shows what it is.
        rings = ground_lead_gate(rail_ringing(captures.fast_look(job.sight, job.rail)), found.pp)
        if rings is not None:
            return [reading.with_verdict(Verdict.VOID, rings)]
    parts = [f"dips to {show(found.lowest, 'V')}"]
    if found.mains_pp is not None:
        parts.append(f"{show(found.mains_pp, 'V')} of it with the mains")
    return [reading.with_reason("; ".join([*([reading.reason] if reading.reason else []), *parts]))]


def clock(captures: Captures, step: PlannedStep, job: ClockJob, counting: LiveCounter | None = None) -> list[Reading]:
    """Frequency, ratio, duty and levels of one clock, from one capture with the other clocks; its frequency by the
    counter, where there is one."""
    place = Place(step, job.clock, job.point)
    seen = captures.look(job.sight, job.clock)
    if seen.void is not None:
        return [place.void("frequency", "Hz", job.frequency, seen.void)]
    base = captures.time_base()
    wave = characterise(seen.trace, base.value)
    if wave.period is None:
        return no_clock(place, job, seen)
    gate = setup_gate(seen.trace, wave.levels, family(job.family)) or rate_gate(
        wave.period.frequency.value, 1.0 / seen.trace.interval, Expected(rate=job.nominal)
    )
    if gate is not None:
        return [place.void("frequency", "Hz", job.frequency, gate)]
    seen_rate = wave.period.frequency
    found, parts, remark = preferred(counting, job.counted, seen_rate, rate_parts(captures, seen_rate))
    reading = judged_estimate(step, job.clock, job.point, "frequency", found, parts, job.frequency)
    told = [text for text in (reading.reason, remark) if text is not None]
    readings = [reading.with_reason("; ".join(told)) if remark is not None else reading]
    if job.other is not None and job.ratio_limits is not None:
        readings.append(clock_ratio(captures, place, job, wave))
    return [*readings, *clock_shape(place, job, seen, wave)]


def rate_parts(captures: Captures, found: Estimate) -> tuple[Component, ...]:
    """The parts of a rate's uncertainty: the time base, and what the samples themselves leave open."""
    base = captures.scope.time_components(found.value)
    rest = math.sqrt(max(found.uncertainty**2 - base.contribution**2, 0.0))
    return (base, Component("edges in the samples", rest, "normal"))


def no_clock(place: Place, job: ClockJob, seen: Seen) -> list[Reading]:
    """A clock line that stands still: its state as what listens on it sees it, and its level for information."""
    activity = find_activity(seen.trace, family(job.family))
    volts = activity.levels.mean
    state = str(activity.state) if activity.state is not None else None
    why = f"no clock: {job.clock} is {state} at {show(volts, 'V', 3)}"
    unlimited = Limits(Span(None, None, "V"), "for information")
    level = judged(place.step, place.net, place.point, "level", volts, "V", seen.components, unlimited, rule=LEVEL_RULE)
    return [place.absent("frequency", "Hz", job.frequency, why, state), level.optional()]


def clock_ratio(captures: Captures, place: Place, job: ClockJob, wave: Waveform) -> Reading:
    """This clock's frequency over the other's, both from the same samples: the time base cancels."""
    limits = job.ratio_limits or Limits(Span(None, None, ""), "none")
    other = captures.look(job.sight, job.other or "")
    whole = characterise(other.trace) if other.void is None else None
    if whole is None or whole.period is None or wave.period is None:
        why = f"{job.other} cannot be measured in the same capture"
        return place.void("ratio", "", limits, why if other.void is None else f"{why}: {other.void}")
    ours, theirs = wave.period.frequency, whole.period.frequency
    value = ours.value / theirs.value
    own = math.hypot(spread(wave), spread(whole))
    estimate = Estimate(value, "", max(value * own, 1e-9), how=f"with {job.other}, from the same samples")
    return judged_estimate(place.step, place.net, place.point, "ratio", estimate, (), limits)


def spread(wave: Waveform) -> float:
    """Relative standard uncertainty of a frequency without the time base."""
    if wave.period is None or wave.period.edges < 3:
        return 1.0
    return wave.period.random


def clock_shape(place: Place, job: ClockJob, seen: Seen, wave: Waveform) -> list[Reading]:
    """Duty and levels of a clock, as far as the board file asks for them."""
    readings = []
    if job.duty is not None:
        sampling = Component("sampling", 100.0 * seen.trace.interval * job.nominal / 2.0, "rectangular")
        parts = (sampling,)
        readings.append(judged(place.step, place.net, place.point, "duty", 100.0 * wave.duty, "%", parts, job.duty))
    for quantity, value, limits in (
        ("high level", wave.levels.high, job.high),
        ("low level", wave.levels.low, job.low),
    ):
        if limits is not None:
            readings.append(
                judged(
                    place.step, place.net, place.point, quantity, value, "V", seen.components, limits, rule=LEVEL_RULE
                )
            )
    return readings


def reset(captures: Captures, step: PlannedStep, job: ResetJob, limited: str | None = None) -> list[Reading]:
    """Width of the reset pulse, from the capture that the power-on triggered; `limited` is a rail that came up in two
    steps, since the supply limited at first."""
    place = Place(step, job.net, job.point)
    if limited is not None:
        why = f"the supply limited while {limited} came up, and a reset wants a clean rise: look at its limit knob"
        return [place.void("reset width", "s", job.limits, why)]
    rail, line = captures.started(job.rail), captures.started(job.net)
    if rail is None or line is None:
        return [place.void("reset width", "s", job.limits, "no capture was armed before the power came on")]
    for seen in (rail, line):
        if seen.void is not None:
            return [place.void("reset width", "s", job.limits, seen.void)]
    pulse = find_reset(rail.trace, line.trace, job.rail_up, family(job.family), job.active_low)
    captures.released_at = pulse.released_at
    if pulse.rail_up_at is None:
        return [place.void("reset width", "s", job.limits, "the rail's rise is not in the capture")]
    if pulse.held:
        why = "reset is still asserted at the end of the capture: it is never released"
        return [place.absent("reset width", "s", job.limits, why, "low" if job.active_low else "high")]
    if pulse.width is None or not pulse.asserted:
        why = "reset is never asserted once the rail is up"
        return [place.absent("reset width", "s", job.limits, why, "high" if job.active_low else "low")]
    reading = judged_estimate(step, job.net, job.point, "reset width", pulse.width, (), job.limits)
    if pulse.releases > 1:
        why = f"reset is released {pulse.releases} times: it loops"
        return [reading.with_verdict(Verdict.OUTSIDE, why)]
    return [reading, *held(captures, step, job, pulse)]


def held(captures: Captures, step: PlannedStep, job: ResetJob, pulse: ResetPulse) -> list[Reading]:
    """Whether the line that should stand still in reset does so, in the second half of the pulse: clock and rail stand
    by then."""
    line = job.holds
    seen = captures.started(line.net) if line is not None else None
    if line is None or seen is None or pulse.rail_up_at is None or pulse.released_at is None:
        return []
    place = Place(step, line.net, line.point)
    if seen.void is not None:
        return [place.void("pulses while held", "", line.limits, seen.void)]
    begin = 0.5 * (pulse.rail_up_at + pulse.released_at)
    # The last extremes before the release may already show what comes after it.
    end = pulse.released_at - 4.0 * seen.trace.interval
    count = float(movements(seen.trace, family(line.family), begin, end))
    estimate = Estimate(count, "", 0.3, how="counted in the start capture")
    reading = judged_estimate(step, line.net, line.point, "pulses while held", estimate, (), line.limits)
    if reading.verdict is Verdict.OUTSIDE:
        why = f"{line.net} moves while {job.net} is asserted at {job.point}: the reset does not get into the CPU"
        return [reading.with_reason(why)]
    return [reading]


def sync(captures: Captures, step: PlannedStep, job: SyncJob) -> list[Reading]:
    """Line rate, field rate and pulse width of the sync at its source."""
    place = Place(step, job.net, job.point)
    base = captures.time_base()
    seen = captures.look(job.sight, job.net)
    if seen.void is not None:
        return [place.void("line rate", "Hz", job.line_rate, seen.void)]
    video = find_video(seen.trace, separate=True, time_base=base.value)
    if video.line_rate is None or video.line_sync_width is None:
        return [place.absent("line rate", "Hz", job.line_rate, "no sync here")]
    gate = rate_gate(video.line_rate.value, 1.0 / seen.trace.interval, Expected(shortest=job.pulse.span.low))
    if gate is not None:
        return [place.void("line rate", "Hz", job.line_rate, gate)]
    width = Component("sampling", seen.trace.interval, "rectangular")
    readings = [
        judged_estimate(
            step, job.net, job.point, "line rate", video.line_rate, rate_parts(captures, video.line_rate), job.line_rate
        ),
        judged(step, job.net, job.point, "pulse width", video.line_sync_width, "s", (width,), job.pulse),
    ]
    if job.field_net is None:
        return [*readings, field_rate(place, job, video.field_rate)]
    field_place = Place(step, job.field_net, job.field_point or job.point)
    field = captures.look(job.sight, job.field_net)
    if field.void is not None:
        return [*readings, field_place.void("field rate", "Hz", job.field_rate, field.void)]
    period = characterise(field.trace, base.value).period
    return [*readings, field_rate(field_place, job, period.frequency if period else None)]


def field_rate(place: Place, job: SyncJob, found: Estimate | None) -> Reading:
    """The field rate as a reading, absent where none was found."""
    if found is None:
        return place.absent("field rate", "Hz", job.field_rate, "no field sync here")
    return judged_estimate(place.step, place.net, place.point, "field rate", found, (), job.field_rate)


def picture(captures: Captures, step: PlannedStep, job: PictureJob) -> list[Reading]:
    """Sync and amplitude of the composite output."""
    place = Place(step, job.net, job.point)
    base = captures.time_base()
    seen = captures.look(job.sight, job.net)
    if seen.void is not None:
        return [place.void("sync amplitude", "V", job.sync_amplitude, seen.void)]
    video = find_video(seen.trace, time_base=base.value)
    if video.line_rate is None or video.sync_amplitude is None:
        return [place.absent("sync amplitude", "V", job.sync_amplitude, "no sync at the output")]
    levels = find_levels(seen.trace)
    swing = levels.highest - levels.lowest - 4.0 * levels.noise
    whole = amplitude(place, "amplitude", swing, job.amplitude)
    words = {Content.PICTURE: "a picture in it", Content.SYNC_ONLY: "no picture in it"}.get(video.content)
    return [
        amplitude(place, "sync amplitude", video.sync_amplitude, job.sync_amplitude),
        whole.with_reason(words) if words and whole.reason is None else whole,
        judged_estimate(
            step, job.net, job.point, "line rate", video.line_rate, rate_parts(captures, video.line_rate), job.line_rate
        ),
    ]


def amplitude(place: Place, quantity: str, value: float, limits: Limits) -> Reading:
    """A difference of two levels of one trace, judged."""
    return judged(place.step, place.net, place.point, quantity, value, "V", gain_only(value), limits)


def gain_only(value: float) -> tuple[Component, ...]:
    """A difference of two levels of one trace: the offset cancels, the gain does not."""
    return (Component("gain", 0.02 * abs(value), "rectangular"),)
