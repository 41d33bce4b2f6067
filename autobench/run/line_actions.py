"""What steps on logic lines do: state, mean rate, level, ratios – and when a line may be called stuck at all.

A line that shows no edges in a fast capture is looked at over seconds with peak detection before it is called low or
high: an alias stands still, and a line that moves once a second looks stuck to a fast time base.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from autobench.judgement.reading import Reading
from autobench.judgement.uncertainty import Budget
from autobench.judgement.verdict import Judgement, Verdict
from autobench.plan.limits import Limits
from autobench.plan.scope_steps import LineJob, RatioJob
from autobench.plan.steps import PlannedStep
from autobench.quantity import Estimate, Span, show
from autobench.run.captures import Captures, Seen
from autobench.run.place import Place
from autobench.run.readings import judged_estimate, unread
from autobench.run.scope_actions import LEVEL_RULE
from autobench.signals.activity import Activity, State, fills_record, find_activity, rate_ratio
from autobench.signals.alias import Expected, rate_gate, stuck_gate
from autobench.signals.families import Family, family
from autobench.signals.frequency import Clarity, find_period
from autobench.signals.gates import setup_gate
from autobench.signals.plateaus import find_plateaus

MOVING = (State.MOVING, State.BURST)
UNDRIVEN = (State.HALF_LEVEL, State.FLOATING)
LEAST_STAY = 100e-9  # s; shorter ones are edges
STEADY_EDGES = 6  # fewer may keep step by chance
NO_LIMITS = Limits(Span(None, None, "V"), "for information")


@dataclass(frozen=True)
class LineSeen:
    """What was found out about a line: its state and rate, or why nothing can be said (`void`)."""

    state: State | None
    rate: Estimate
    activity: Activity
    seen: Seen
    void: str | None = None


def line(captures: Captures, step: PlannedStep, job: LineJob) -> list[Reading]:
    """State and mean rate of one line; a second reading gives the level of one that stands still."""
    if job.within is not None:
        return start_pulses(captures, step, job)
    place = Place(step, job.line, job.point)
    found = watch_line(captures, job)
    if found.void is not None:
        return [place.void("rate", "Hz", job.rate, found.void)]
    reading = judged_line(place, job, found)
    if found.state not in MOVING:
        return [reading, level(place, job, found)]
    return [reading, *moving_levels(place, job, found)]


def moving_levels(place: Place, job: LineJob, found: LineSeen) -> list[Reading]:
    """The low of a moving line, and its longest stay above that and below a high: two outputs that fight show there."""
    trace, receiver, readings = found.seen.trace, family(job.family), []
    if job.low is not None and not math.isnan(found.activity.low_level):
        estimate = Estimate(found.activity.low_level, "V", Budget(found.seen.components).standard)
        readings.append(
            judged_estimate(
                place.step,
                place.net,
                place.point,
                "low level",
                estimate,
                found.seen.components,
                job.low,
                rule=LEVEL_RULE,
            ).optional()
        )
    if job.stay is not None and not trace.peak_detect:
        stays = find_plateaus(trace, receiver.raised_from, receiver.high_in, LEAST_STAY)
        estimate = Estimate(stays.longest, "s", trace.interval, how="samples in a row")
        reading = judged_estimate(
            place.step, place.net, place.point, "stay", estimate, (), job.stay, rule=LEVEL_RULE
        ).optional()
        if reading.verdict is Verdict.OUTSIDE:
            share = f"{show(100.0 * stays.share, '%', 2)} of the time"
            why = f"{job.line} stays at {show(stays.level, 'V', 2)}, {share}: fought for, or driven by nobody"
            reading = reading.with_reason(why)
        readings.append(reading)
    return readings


def watch_line(captures: Captures, job: LineJob) -> LineSeen:
    """The fast capture; where it shows no edges, the long one as well."""
    receiver = family(job.family)
    first = captures.look(job.sight, job.line)
    activity = find_activity(first.trace, receiver)
    if first.void is not None:
        return LineSeen(None, activity.rate, activity, first, first.void)
    wrong = setup_gate(first.trace, activity.levels, receiver)
    if wrong is not None:
        return LineSeen(None, activity.rate, activity, first, wrong)
    expected = Expected(shortest=job.shortest)
    if activity.edges.count:
        gate = edge_gate(first, activity, expected)
        return LineSeen(activity.state, best_rate(first, activity), activity, first, gate)
    if first.trace.peak_detect:
        return LineSeen(activity.state, activity.rate, activity, first)
    rate = 1.0 / first.trace.interval
    long = captures.long_look(job.sight, job.line)
    if long.void is not None:
        return LineSeen(None, activity.rate, activity, first, long.void)
    slow = find_activity(long.trace, receiver)
    if not slow.edges.count:
        gate = stuck_gate(rate, expected, peak_detect=True)
        return LineSeen(activity.state, activity.rate, activity, first, gate)
    if slow.pulses > long.trace.samples.size / 8:
        # Extremes of nearly every interval: it moves fast, and stands still in the first capture – an alias, or bursts.
        why = stuck_gate(rate, expected) or "still in the fast capture, moving in the long one: look again"
        return LineSeen(None, slow.rate, slow, long, why)
    return LineSeen(slow.state, best_rate(long, slow), slow, long)


def best_rate(seen: Seen, activity: Activity) -> Estimate:
    """The mean rate of a line: by least squares where its edges keep step all along, else by counting pulses."""
    grain = seen.trace.interval * (2.0 if seen.trace.peak_detect else 1.0)
    period = find_period(activity.edges, Clarity(grain / math.sqrt(12.0), grain))
    steady = period is not None and period.regular and period.edges >= STEADY_EDGES
    if period is not None and steady and fills_record(seen.trace, activity.edges):
        return period.frequency
    return activity.rate


def edge_gate(seen: Seen, activity: Activity, expected: Expected) -> str | None:
    """Whether the rate of a line with edges can be believed. Peak detection counts rare pulses, not a clock."""
    if seen.trace.peak_detect:
        if activity.pulses > seen.trace.samples.size / 8:
            return "pulses in nearly every interval: too fast to be counted with peak detection; use a faster time base"
        return None
    if expected.shortest is None:
        expected = Expected(shortest=max(activity.smallest_pulse, 5.0 * seen.trace.interval))
    return rate_gate(activity.rate.value, 1.0 / seen.trace.interval, expected)


def judged_line(place: Place, job: LineJob, found: LineSeen) -> Reading:
    """Rate and state against what the board file expects of the line."""
    state = str(found.state) if found.state is not None else None
    rate = found.rate
    if not as_expected(job.expected, found.state):
        should = "driven to a level" if job.expected == "any" else job.expected
        why = f"{job.line} {words_of(found)} where it should be {should}"
        judgement = Judgement(Verdict.OUTSIDE, 0.0, why)
        blank = unread(place.step, place.net, place.point, "rate", "Hz", job.rate, judgement)
        return blank.with_value(rate.value, rate.uncertainty, state)
    limits = job.rate if job.expected == "moving" else Limits(Span(None, None, "Hz"), job.rate.source)
    reading = judged_estimate(place.step, place.net, place.point, "rate", rate, (), limits)
    return reading.with_value(rate.value, rate.uncertainty, state)


def as_expected(expected: str, state: State | None) -> bool:
    """Whether a line does what it should; one that may do anything is at any rate driven by somebody."""
    if expected == "any":
        return state not in UNDRIVEN
    return expected == state or (expected == "moving" and state in MOVING)


def words_of(found: LineSeen) -> str:
    """`is low at 0.05 V`, `moves at 431 kHz`, in words."""
    if found.state in MOVING:
        return f"moves at {show(found.rate.value, 'Hz')}"
    return f"is {found.state} at {show(typical(found), 'V', 3)}"


def typical(found: LineSeen) -> float:
    """The level a still line stands at: the median, which a spike does not move."""
    return found.seen.trace.volts(found.seen.trace.median)


def level(place: Place, job: LineJob, found: LineSeen) -> Reading:
    """The level of a line that stands still; judged only where it is meant to stand."""
    receiver = family(job.family)
    limits = level_limits(job, receiver)
    estimate = Estimate(typical(found), "V", Budget(found.seen.components).standard)
    reading = judged_estimate(
        place.step, place.net, place.point, "level", estimate, found.seen.components, limits, rule=LEVEL_RULE
    )
    return reading.optional()


def level_limits(job: LineJob, receiver: Family) -> Limits:
    """What the receiver on the line takes as high or low, where the line is meant to stand at that."""
    if job.expected == "high":
        return Limits(Span(receiver.high_in, None, "V"), f"{receiver.name} input levels")
    if job.expected == "low":
        return Limits(Span(None, receiver.low_in, "V"), f"{receiver.name} input levels")
    return NO_LIMITS


def start_pulses(captures: Captures, step: PlannedStep, job: LineJob) -> list[Reading]:
    """Pulses of a line in the first moments after the reset release, from the start capture."""
    place = Place(step, job.line, job.point)
    limits = job.pulses or Limits(Span(None, None, ""), "board file")
    seen = captures.started(job.line)
    if seen is None:
        return [place.void("pulses", "", limits, "no capture was armed before the power came on")]
    if seen.void is not None:
        return [place.void("pulses", "", limits, seen.void)]
    released = captures.released_at
    if released is None:
        return [place.void("pulses", "", limits, "the reset release is not in the start capture")]
    receiver = family(job.family)
    activity = find_activity(seen.trace, receiver)
    falls = activity.edges.falling
    inside = falls[(falls >= released) & (falls <= released + (job.within or 0.0))]
    count = float(inside.size)
    # Two pulses closer than one interval of the peak-detected record count as one: the count may be short, never long.
    estimate = Estimate(count, "", 0.5 if count else 0.3, how="counted in the start capture")
    state = State.MOVING if count else State.HIGH if activity.levels.mean >= receiver.high_in else State.LOW
    reading = judged_estimate(step, job.line, job.point, "pulses", estimate, (), limits)
    return [reading.with_value(count, estimate.uncertainty, str(state))]


def ratio(captures: Captures, step: PlannedStep, job: RatioJob) -> list[Reading]:
    """Pulses of one line for each of another, counted in one capture: exact, however the CPU is made to wait."""
    place = Place(step, job.of, job.point)
    first, second = captures.look(job.sight, job.of), captures.look(job.sight, job.to)
    for seen in (first, second):
        if seen.void is not None:
            return [place.void("ratio", "", job.limits, seen.void)]
    ours, theirs = (
        find_activity(seen.trace, family(name)) for seen, name in zip((first, second), job.families, strict=True)
    )
    if not theirs.edges.count or not ours.edges.count:
        still = job.of if not ours.edges.count else job.to
        why = f"{still} does not move, so there is no ratio of {job.of} to {job.to}"
        skipped = Judgement(Verdict.SKIPPED, None, why)
        return [unread(step, job.of, job.point, "ratio", "", job.limits, skipped).optional()]
    found = rate_ratio(ours, theirs)
    if not math.isfinite(found.value):
        return [place.void("ratio", "", job.limits, "there is nothing to divide by")]
    return [judged_estimate(step, job.of, job.point, "ratio", found, (), job.limits)]
