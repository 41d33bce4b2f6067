"""Following a near-short: half a volt at most into a rail of 1 to 5 ohm, and the volts along it.

Only with a reason that a person types, for each time anew. What is measured accuses nobody: it is for whoever looks for
the short, and says where the volts are lowest. No function here switches an output by itself.
"""

from __future__ import annotations

from autobench.judgement.reading import Reading
from autobench.judgement.uncertainty import Component
from autobench.judgement.verdict import Judgement, Verdict, void
from autobench.plan.limits import Limits
from autobench.plan.steps import InjectionJob, PlannedStep
from autobench.quantity import Span, show
from autobench.run.actions import Bench
from autobench.run.interlock import INJECTION
from autobench.run.readings import judged, judged_estimate, unread
from autobench.run.supply_by_hand import SupplyByHand

VOLTS, AMPS = "injection volts", "injection current"
SETTLED = 0.5  # s from switching on until the first reading


def injection(bench: Bench, step: PlannedStep, job: InjectionJob) -> list[Reading]:
    """Nothing for a rail whose ohms are no near-short. Raises `InterlockRefusedError` for a dead short."""
    output = bench.power.outputs[job.rail]
    if output.interlock.state in ("off", "checked"):
        return []
    output.interlock.require("overridden")
    if bench.person is None:
        return [left_out(step, job, "a near-short is only followed while somebody is there, with a reason they type")]
    reason = bench.person.typed(
        "reason",
        f"{job.rail} has a near-short. To follow it with {show(INJECTION[0], 'V')} and {show(INJECTION[1], 'A')} at "
        "most, hands off the board, type why; nothing leaves it.",
    )
    bench.person.end("answered" if reason else "refused", reason)
    if not reason:
        return [left_out(step, job, "nobody gave a reason to follow the near-short")]
    try:
        bench.power.inject(job.rail, reason)
        bench.power.wait(SETTLED)
        return [drawn(bench, step, job, reason), *along(bench, step, job, reason)]
    finally:
        bench.power.make_off()


def drawn(bench: Bench, step: PlannedStep, job: InjectionJob, reason: str) -> Reading:
    """What the supply gives into the near-short."""
    output = bench.power.outputs[job.rail]
    limits = Limits(Span(None, None, "A"), "for information")
    if isinstance(output.supply, SupplyByHand) or not output.supply.can("amps?"):
        return unread(step, job.rail, None, AMPS, "A", limits, void("the supply does not tell its current")).optional()
    amps = output.supply.amps(output.feed.output)
    parts = (Component("supply read-back", amps.uncertainty, "normal"),)
    return judged(step, job.rail, None, AMPS, amps.value, "A", parts, limits).with_reason(reason).optional()


def along(bench: Bench, step: PlannedStep, job: InjectionJob, reason: str) -> list[Reading]:
    """The volts at every place of the rail, from the inlet outward."""
    limits = Limits(Span(None, None, "V"), "for information")
    found = []
    for target in job.targets:
        seen = bench.touch.volts(target, INJECTION[0])
        bench.power.tick()
        if seen.estimate is None:
            why = void(seen.reason or "overload")
            found.append(unread(step, job.rail, target.point, VOLTS, "V", limits, why).optional())
            continue
        reading = judged_estimate(step, job.rail, target.point, VOLTS, seen.estimate, seen.components, limits)
        found.append(reading.with_reason(reason).optional())
    return found


def left_out(step: PlannedStep, job: InjectionJob, why: str) -> Reading:
    """The reading of an injection that was not made."""
    limits = Limits(Span(None, None, "V"), "for information")
    return unread(step, job.rail, None, VOLTS, "V", limits, Judgement(Verdict.SKIPPED, None, why)).optional()
