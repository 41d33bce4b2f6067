"""Readings from estimates and limits: combines the uncertainty, judges, fills every field. Measures nothing itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from autobench.clock import Clock
from autobench.judgement.reading import Reading
from autobench.judgement.uncertainty import Budget, Component
from autobench.judgement.verdict import Judgement, Verdict, judge
from autobench.plan.limits import Limits
from autobench.plan.steps import PlannedStep
from autobench.quantity import Estimate, show

# An uncertainty that falls by less than this share is not worth repeating for.
LEAST_GAIN = 0.95


def judged(
    step: PlannedStep,
    net: str | None,
    point: str | None,
    quantity: str,
    value: float,
    unit: str,
    components: tuple[Component, ...],
    limits: Limits,
    rule: str | None = None,
) -> Reading:
    """Combine the components into a standard uncertainty and judge, by the step's rule unless another one is given."""
    budget = Budget(components)
    estimate = Estimate(value, unit, budget.standard, budget.degrees, coverage=budget.usual_factor)
    return judged_estimate(step, net, point, quantity, estimate, components, limits, rule)


def judged_estimate(
    step: PlannedStep,
    net: str | None,
    point: str | None,
    quantity: str,
    estimate: Estimate,
    components: tuple[Component, ...],
    limits: Limits,
    rule: str | None = None,
) -> Reading:
    """Judge an estimate whose uncertainty is already combined."""
    rule = step.rule if rule is None else rule
    judgement = judge(estimate, limits.span, limits.usual, rule)
    blank = unread(step, net, point, quantity, estimate.unit, limits, judgement)
    budget = tuple((component.name, component.contribution) for component in components)
    if not budget:
        budget = ((estimate.how or "the samples themselves", estimate.uncertainty),)
    return replace(blank, value=estimate.value, uncertainty=estimate.uncertainty, budget=budget, rule=rule)


def patiently(take: Callable[[int], Reading], step: PlannedStep, clock: Clock) -> Reading:
    """A reading that is repeated while it is `marginal`, for the step's patience at most.

    `take` is told how often it was called before, and integrates longer each time. Once that no longer makes the
    reading more certain, what is known of the instrument limits it, and no patience helps.
    """
    began, turn = clock.now(), 0
    reading = take(turn)
    while reading.verdict is Verdict.MARGINAL and clock.now() - began < step.patience:
        turn += 1
        longer = take(turn)
        if longer.value is None or longer.uncertainty is None:
            break  # a look that failed is no better than the one before
        helped = longer.uncertainty < LEAST_GAIN * (reading.uncertainty or 0.0)
        reading = longer
        if not helped:
            break
    if turn == 0 or reading.verdict is not Verdict.MARGINAL:
        return reading
    spent = show(clock.now() - began, "s", 2)
    return reading.with_reason(f"{reading.reason}, even after {spent} of repeating")


def unread(
    step: PlannedStep,
    net: str | None,
    point: str | None,
    quantity: str,
    unit: str,
    limits: Limits,
    judgement: Judgement,
) -> Reading:
    """A reading without a value: void, skipped, or to be completed."""
    source = limits.source
    if limits.data_sheet is not None:
        source += f"; data sheet says {limits.data_sheet}"
    usual = limits.usual
    return Reading(
        step=step.name,
        stage=step.stage,
        net=net,
        point=point,
        quantity=quantity,
        value=None,
        unit=unit,
        uncertainty=None,
        low=limits.span.low,
        high=limits.span.high,
        limit_from=source,
        verdict=judgement.verdict,
        reason=judgement.reason,
        required=step.required,
        usual_low=usual.low if usual else None,
        usual_high=usual.high if usual else None,
    )


def accuses(reading: Reading) -> bool:
    """Whether a reading counts against the board."""
    return reading.verdict is Verdict.OUTSIDE and not reading.conditional
