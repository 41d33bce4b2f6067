"""From the limits of error a driver file states to standard uncertainties. It knows no instrument and reads nothing.

A data sheet's limits are taken as the half-width of a rectangle (GUM 4.3.7), the step of a display as the whole width
of one (GUM F.2.2.1).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from autobench.documents.driver_sections import Trust
from autobench.judgement.uncertainty import Budget, Component, mean_and_deviation, type_a
from autobench.quantity import Estimate


def half_width(trust: Trust, reading: float, full_scale: float = 0.0) -> float:
    """Limit of error in the unit of `reading`: % of reading plus % of range plus the absolute part."""
    plus = trust.plus.value if trust.plus else 0.0
    return trust.of_reading * abs(reading) + trust.of_range * abs(full_scale) + plus


def components(trust: Trust, reading: float, full_scale: float = 0.0) -> tuple[Component, ...]:
    """The type B components of one reading, in its unit.

    The parts of a stated accuracy add up to one limit, since the data sheet gives them as one; the resolution is a
    cause of its own. A part that is not stated gives no component.
    """
    found = []
    limit = half_width(trust, reading, full_scale)
    if limit > 0.0:
        found.append(Component("instrument accuracy", limit, "rectangular"))
    if trust.resolution and trust.resolution.value > 0.0:
        found.append(Component("resolution", trust.resolution.value, "resolution"))
    return tuple(found)


def estimate(
    samples: Sequence[float], trust: Trust, unit: str, *, full_scale: float = 0.0, how: str = ""
) -> tuple[Estimate, tuple[Component, ...]]:
    """Mean of `samples` with its standard uncertainty, and the budget behind it.

    One sample brings no type A part. Several bring s/√n with n − 1 degrees of freedom (GUM 4.2.3); the resolution is
    then left out where the scatter of the samples is at least half a step, since it is part of that scatter already.
    Raises `ValueError` where a sample is not finite or there is none.
    """
    if not samples or not all(math.isfinite(sample) for sample in samples):
        raise ValueError("an estimate needs finite samples")
    mean = math.fsum(samples) / len(samples)
    parts = list(components(trust, mean, full_scale))
    if len(samples) > 1:
        step = trust.resolution.value if trust.resolution else 0.0
        if step and mean_and_deviation(samples)[1] >= step / 2.0:
            parts = [part for part in parts if part.name != "resolution"]
        parts.append(type_a(samples))
    budget = Budget(parts)
    return Estimate(mean, unit, budget.standard, budget.degrees, how, budget.usual_factor), tuple(parts)
