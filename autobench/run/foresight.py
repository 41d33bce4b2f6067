"""What a planned step would show before it is taken: where, what, by which limits, and what it needs. Pure.

For readings that were not taken, and for whoever decides whether a step can be.
"""

from __future__ import annotations

from autobench.plan.limits import Limits
from autobench.plan.scope_steps import (
    ClockJob,
    DelayJob,
    DrivingJob,
    LikenessJob,
    LineJob,
    PictureJob,
    RatioJob,
    RefreshJob,
    ResetJob,
    RippleJob,
    SyncJob,
)
from autobench.plan.steps import (
    AskJob,
    CurrentJob,
    InjectionJob,
    Job,
    OhmsJob,
    PlannedStep,
    PlugRippleJob,
    PowerJob,
    WaitJob,
)
from autobench.quantity import Span, show

NO_LIMITS = Limits(Span(None, None, ""), "none")


def without_ends(steps: tuple[PlannedStep, ...]) -> tuple[PlannedStep, ...]:
    """The steps without those at the end that only switch off."""
    kept = len(steps)
    while kept and switches_off(steps[kept - 1]):
        kept -= 1
    return steps[:kept]


def switches_off(step: PlannedStep) -> bool:
    """Whether a step only switches off."""
    return isinstance(step.job, PowerJob) and not step.job.on


def limits_of(step: PlannedStep) -> Limits:
    """What the first reading of a step is judged by."""
    named = (getattr(step.job, name, None) for name in ("limits", "frequency", "rate", "sync_amplitude", "line_rate"))
    return next((found for found in named if isinstance(found, Limits)), NO_LIMITS)


def expected_of(step: PlannedStep) -> str:
    """What should be seen in a step, in words: the state of a line, else the limits."""
    if isinstance(step.job, LineJob) and step.job.expected in ("high", "low"):
        return step.job.expected
    if isinstance(step.job, ClockJob):
        return show(step.job.nominal, "Hz", 6)
    span = limits_of(step).span
    return "" if span.low is None and span.high is None else str(span)


def needs_hand(step: PlannedStep) -> bool:
    """Whether a hand would have to hold a tip."""
    target, sight = getattr(step.job, "target", None), getattr(step.job, "sight", None)
    return bool((target is not None and target.by_hand) or (sight is not None and sight.by_hand))


def needs_power(step: PlannedStep) -> bool:
    """Whether a step makes sense only on a powered board."""
    match step.job:
        case PowerJob():
            return step.job.on
        case OhmsJob() | InjectionJob() | AskJob() | WaitJob():
            return False
        case _:
            return True


# What a step would have measured, and in which unit; for readings that were not taken.
QUANTITIES: dict[type[Job], tuple[str, str]] = {
    OhmsJob: ("resistance", "ohm"),
    CurrentJob: ("current", "A"),
    PowerJob: ("current", "A"),
    RippleJob: ("ripple", "V"),
    PlugRippleJob: ("ripple", "V"),
    ClockJob: ("frequency", "Hz"),
    ResetJob: ("reset width", "s"),
    SyncJob: ("line rate", "Hz"),
    PictureJob: ("sync amplitude", "V"),
    LineJob: ("rate", "Hz"),
    RatioJob: ("ratio", ""),
    LikenessJob: ("likeness", ""),
    DrivingJob: ("driven", "%"),
    DelayJob: ("delay", "s"),
    RefreshJob: ("refresh", "Hz"),
    AskJob: ("answer", ""),
}


def quantity_of(step: PlannedStep) -> tuple[str, str]:
    """What a step would have measured, and in which unit."""
    return QUANTITIES.get(type(step.job), ("voltage", "V"))


def net_and_point(step: PlannedStep) -> tuple[str | None, str | None]:
    """Where a step would have measured."""
    job = step.job
    net = next((getattr(job, name) for name in ("rail", "clock", "line", "net", "of") if hasattr(job, name)), None)
    target = getattr(job, "target", None)
    return net, target.point if target is not None else getattr(job, "point", None)
