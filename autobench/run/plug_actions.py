"""What the steps for a supply by itself do: have it loaded, measure at its plug, judge. No board is connected."""

from __future__ import annotations

from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict, void
from autobench.plan.scope_steps import RippleJob
from autobench.plan.steps import PlannedStep, PlugJob, PlugRippleJob
from autobench.quantity import show
from autobench.run.actions import Bench
from autobench.run.captures import Captures
from autobench.run.readings import judged_estimate, unread
from autobench.run.scope_actions import ripple


def plug(bench: Bench, step: PlannedStep, job: PlugJob) -> list[Reading]:
    """Volts at the plug, loaded or not; the sign as well."""
    supply = bench.power.alone(job.rail)
    supply.load(job.load)
    nominal = bench.power.outputs[job.rail].feed.nominal
    touched = bench.touch.volts(job.target, nominal)
    if touched.estimate is None:
        why = "the meter shows overload at the plug: far too many volts for its range"
        return [unread(step, job.rail, job.target.point, "voltage", "V", job.limits, void(why))]
    reading = judged_estimate(
        step, job.rail, job.target.point, "voltage", touched.estimate, touched.components, job.limits
    )
    if touched.estimate.value * nominal < 0:
        return [reading.with_verdict(Verdict.OUTSIDE, "the plug is the wrong way round for this board")]
    if job.load is not None:
        drawn = show(abs(touched.estimate.value) / job.load, "A", 3)
        reading = reading.with_reason("; ".join([*([reading.reason] if reading.reason else []), f"{drawn} drawn"]))
    return [reading]


def plug_ripple(bench: Bench, captures: Captures, step: PlannedStep, job: PlugRippleJob) -> list[Reading]:
    """Ripple at the plug, peak to peak."""
    bench.power.alone(job.rail).load(job.load)
    return ripple(captures, step, RippleJob(job.rail, job.sight, job.point, job.limits), bench.line_hertz)
