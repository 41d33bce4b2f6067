"""What steps on several lines of a bus do: neighbours that are one, parts that do not drive, delays, refresh.

Each takes its lines from one capture. What does not move says nothing here; that it does not is a reading of its own.
"""

from __future__ import annotations

import math
from dataclasses import replace

from autobench.judgement.reading import Reading
from autobench.judgement.uncertainty import Component
from autobench.judgement.verdict import Judgement, Verdict
from autobench.plan.limits import Limits
from autobench.plan.scope_steps import BusJob, DelayJob, DrivingJob, LikenessJob, RefreshJob
from autobench.plan.steps import PlannedStep
from autobench.quantity import Estimate, show
from autobench.run.captures import Captures, Seen
from autobench.run.place import Place
from autobench.run.readings import judged, judged_estimate, unread
from autobench.run.scope_actions import LEVEL_RULE
from autobench.signals.activity import COUNT_UNCERTAINTY, State
from autobench.signals.families import family
from autobench.signals.likeness import LEAST_EDGES, compare_lines
from autobench.signals.selected import Selected, Telling, delays_between, falls_while, while_selected

LEAST_VARIETY = 8  # different lengths of pulses; a program that goes round in a loop has a few
LONGER = 4.0  # times as long is looked where nothing changes
LEAST_ACCESSES = 20  # fewer say nothing about a line that does not change


def bus(captures: Captures, step: PlannedStep, job: BusJob) -> list[Reading]:
    """The reading of a step that compares lines."""
    match job:
        case LikenessJob():
            return [likeness(captures, step, job)]
        case DrivingJob():
            return [driving(captures, step, job)]
        case DelayJob():
            return [delay(captures, step, job)]
        case RefreshJob():
            return [refresh(captures, step, job)]


def looks(captures: Captures, job: BusJob, nets: tuple[str, ...]) -> tuple[list[Seen], str | None]:
    """The lines of a job, and why nothing may be concluded from them, if so."""
    seen = [captures.look(job.sight, net) for net in nets]
    return seen, next((one.void for one in seen if one.void is not None), None)


def idle(place: Place, quantity: str, unit: str, limits: Limits, why: str) -> Reading:
    """A reading that cannot be taken because something else does not move; the board's verdict waits for that."""
    skipped = Judgement(Verdict.SKIPPED, None, why)
    return unread(place.step, place.net, place.point, quantity, unit, limits, skipped).optional()


def likeness(captures: Captures, step: PlannedStep, job: LikenessJob) -> Reading:
    """Whether two neighbours are one."""
    place = Place(step, job.of, job.point)
    (first, second), void = looks(captures, job, (job.of, job.to))
    if void is not None:
        return place.void("likeness", "", job.limits, void)
    found = compare_lines(first.trace, second.trace, (family(job.families[0]), family(job.families[1])))
    if found.edges < LEAST_EDGES:
        return idle(place, "likeness", "", job.limits, "one of them hardly moves: that they are alike says nothing")
    if found.identical and found.variety < LEAST_VARIETY:
        why = "they are alike in a loop of the program, which says nothing"
        return idle(place, "likeness", "", job.limits, why)
    chance = math.sqrt(max(found.share * (1.0 - found.share), 0.0) / found.edges)
    estimate = Estimate(found.share, "", max(chance, 1e-6), how=f"{found.edges} edges compared")
    reading = judged_estimate(step, job.of, job.point, "likeness", estimate, (), job.limits, rule=LEVEL_RULE)
    if reading.verdict is Verdict.OUTSIDE:
        why = f"{job.of} and {job.to} never differ in {show(found.seconds, 's')} of traffic: they are one line"
        return reading.with_reason(why)
    return reading


def driving(captures: Captures, step: PlannedStep, job: DrivingJob) -> Reading:
    """Whether a part drives a line to both levels while it is told to."""
    place = Place(step, job.line, job.point)
    found, void = accesses(captures, job)
    if found is not None and not (found.low and found.high) and found.accesses >= LEAST_ACCESSES:
        # A program may rest in a HALT for a while, and then one place is read again and again.
        found, void = accesses(captures, replace(job, sight=replace(job.sight, seconds=LONGER * job.sight.seconds)))
    if found is None:
        return place.void("driven", "%", job.limits, void or "")
    if found.accesses < LEAST_ACCESSES:
        why = f"{job.part} is selected by {job.select} {found.accesses} times: too few to see what it drives"
        return idle(place, "driven", "%", job.limits, why)
    # A line that never changes is driven by nobody, or stuck: its level proves nothing.
    share = found.at_level if (found.low and found.high) or found.at_level < 1.0 else 0.0
    chance = 100.0 * math.sqrt(max(share * (1.0 - share), 1.0 / found.accesses) / found.accesses)
    estimate = Estimate(100.0 * share, "%", chance, how=f"{found.accesses} accesses")
    reading = judged_estimate(step, job.line, job.point, "driven", estimate, (), job.limits, rule=LEVEL_RULE)
    if reading.verdict is not Verdict.OUTSIDE:
        return reading.with_value(estimate.value, estimate.uncertainty, str(State.MOVING))
    if share:
        state = State.HALF_LEVEL
        why = f"{job.line} is between the levels in {100.0 * found.between:.0f} % of the accesses of {job.part}"
    else:
        state = State.HIGH if not found.low else State.LOW
        level = "low" if not found.low else "high"
        why = f"{job.line} is never {level} in {found.accesses} accesses of {job.part}"
    return reading.with_reason(why).with_value(estimate.value, estimate.uncertainty, str(state))


def accesses(captures: Captures, job: DrivingJob) -> tuple[Selected | None, str | None]:
    """The line of a job while its part should drive it, or why nothing may be concluded."""
    told = [(job.select, "low"), *([job.gate] if job.gate is not None else [])]
    seen, void = looks(captures, job, (job.line, *(net for net, _ in told)))
    if void is not None:
        return None, void
    telling = [
        Telling(one.trace, family(job.families[net]), level) for one, (net, level) in zip(seen[1:], told, strict=True)
    ]
    return while_selected(seen[0].trace, family(job.families[job.line]), telling), None


def delay(captures: Captures, step: PlannedStep, job: DelayJob) -> Reading:
    """How long one line takes to fall after another."""
    place = Place(step, job.net, job.point)
    (first, second), void = looks(captures, job, (job.net, job.end))
    if void is not None:
        return place.void("delay", "s", job.limits, void)
    found = delays_between(first.trace, second.trace, (family(job.families[0]), family(job.families[1])))
    if not found.count:
        return idle(place, "delay", "s", job.limits, f"{job.end} never falls after {job.net}")
    sampling = Component("sampling", first.trace.interval, "rectangular")
    reading = judged(step, job.net, job.point, "delay", found.typical, "s", (sampling,), job.limits, rule=LEVEL_RULE)
    return reading.with_reason(reading.reason or f"from {show(found.least, 's', 3)} to {show(found.most, 's', 3)}")


def refresh(captures: Captures, step: PlannedStep, job: RefreshJob) -> Reading:
    """How many rows are refreshed in a second by whoever should."""
    place = Place(step, job.net, job.point)
    (strobe, tells), void = looks(captures, job, (job.net, job.tells))
    if void is not None:
        return place.void("refresh", "Hz", job.limits, void)
    telling = Telling(tells.trace, family(job.families[1]), job.level)
    count = falls_while(strobe.trace, family(job.families[0]), telling)
    seconds = strobe.trace.duration
    how = f"{count} counted in {seconds:.3g} s"
    estimate = Estimate(count / seconds, "Hz", COUNT_UNCERTAINTY / seconds, how=how)
    reading = judged_estimate(step, job.net, job.point, "refresh", estimate, (), job.limits)
    if count == 0:
        why = f"no {job.net} while {job.tells} is {job.level}: nothing is refreshed by it"
        return reading.with_verdict(Verdict.OUTSIDE, why)
    return reading
