"""Readings from estimates and limits: combines the uncertainty, judges, fills every field. Measures nothing."""

from __future__ import annotations

from dataclasses import replace

from autobench.judgement.reading import Reading
from autobench.judgement.uncertainty import Budget, Component
from autobench.judgement.verdict import DEFAULT_RULE, Judgement, judge
from autobench.plan.limits import Limits
from autobench.plan.steps import PlannedStep
from autobench.quantity import Estimate


def judged(
    step: PlannedStep,
    net: str | None,
    point: str | None,
    quantity: str,
    value: float,
    unit: str,
    components: tuple[Component, ...],
    limits: Limits,
    rule: str = DEFAULT_RULE,
) -> Reading:
    """Combine the components into a standard uncertainty and judge."""
    budget = Budget(components)
    estimate = Estimate(value, unit, budget.standard, budget.degrees)
    return judged_estimate(step, net, point, quantity, estimate, components, limits, rule)


def judged_estimate(
    step: PlannedStep,
    net: str | None,
    point: str | None,
    quantity: str,
    estimate: Estimate,
    components: tuple[Component, ...],
    limits: Limits,
    rule: str = DEFAULT_RULE,
) -> Reading:
    """Judge an estimate whose uncertainty is already combined."""
    judgement = judge(estimate, limits.span, limits.usual, rule)
    blank = unread(step, net, point, quantity, estimate.unit, limits, judgement)
    budget = tuple((component.name, component.contribution) for component in components)
    if not budget:
        budget = ((estimate.how or "the samples themselves", estimate.uncertainty),)
    return replace(blank, value=estimate.value, uncertainty=estimate.uncertainty, budget=budget, rule=rule)


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
