"""Conformity of a measured value with its limits after JCGM 106: probability, guard bands, and the risks of a rule.

Numbers in, numbers out; which verdict follows is decided in `autobench.judgement.verdict`.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from autobench.errors import UsageError
from autobench.judgement.student import NORMAL, student_probability
from autobench.quantity import Span

Density = Callable[[NDArray[np.float64]], NDArray[np.float64]]

# Guard band w as a multiple of the expanded uncertainty U = 2u (ILAC-G8:09/2019, table 1).
GUARD_BANDS: Mapping[str, float] = {"simple": 0.0, "w = 0.83 U": 0.83, "w = U": 1.0, "w = 1.5 U": 1.5, "w = 3 U": 3.0}
COVERAGE = 2.0


@dataclass(frozen=True)
class Rule:
    """A decision rule, agreed before measuring (ISO/IEC 17025 7.1.3).

    Either `guard` is a multiple of U by which the limits are moved, or `wanted` is the probability a verdict needs;
    the other one is `None`.
    """

    name: str
    guard: float | None
    wanted: float | None


def parse_rule(text: str) -> Rule:
    """Read a rule by its name in `GUARD_BANDS` (`w = ` may be left out), or a wanted probability such as `95 %`.

    Raises `UsageError` for anything else.
    """
    name = " ".join(text.split())
    if f"w = {name}" in GUARD_BANDS:
        name = f"w = {name}"
    if name in GUARD_BANDS:
        return Rule(name, GUARD_BANDS[name], None)
    if name.endswith("%"):
        try:
            wanted = float(name[:-1]) / 100.0
        except ValueError:
            wanted = math.nan
        if 0.5 < wanted < 1.0:
            return Rule(name, None, wanted)
    allowed = ", ".join(GUARD_BANDS)
    raise UsageError(f"'{text.strip()}' is not a decision rule; allowed are {allowed}, or a probability such as '95 %'")


def conformance_probability(value: float, uncertainty: float, limits: Span, degrees: float = math.inf) -> float:
    """Probability that the quantity lies inside `limits` (JCGM 106, 7.3 … 7.5).

    `value` and its standard `uncertainty` are in the unit of the limits; few degrees of freedom give Student t, else
    the normal distribution. With no uncertainty the answer is 0 or 1. Raises `ValueError` for values not finite.
    """
    if not math.isfinite(value) or not (math.isfinite(uncertainty) and uncertainty >= 0.0):
        raise ValueError(f"no probability for {value} with standard uncertainty {uncertainty}")
    if uncertainty == 0.0:
        return 1.0 if limits.holds(value) else 0.0
    below = tail(limits.low, value, uncertainty, degrees, side=1.0)
    above = tail(limits.high, value, uncertainty, degrees, side=-1.0)
    return max(0.0, 1.0 - below - above)


def tail(limit: float | None, value: float, uncertainty: float, degrees: float, side: float) -> float:
    """Probability that the quantity lies beyond `limit`; `side` is 1 for a lower limit, −1 for an upper one."""
    if limit is None:
        return 0.0
    return student_probability(side * (limit - value) / uncertainty, degrees)


def guard_band(name: str, uncertainty: float) -> float:
    """Width w of a guard band by its name, for a standard `uncertainty`, in its unit. Raises `UsageError`."""
    rule = parse_rule(name)
    if rule.guard is None:
        raise UsageError(f"'{name}' is a wanted probability, not a guard band")
    return rule.guard * COVERAGE * uncertainty


def acceptance(limits: Span, width: float) -> Span:
    """The acceptance interval: the limits moved inward by `width` (outward where it is negative).

    Where the guard bands meet, nothing can be accepted and the ends cross: `holds` is then false for every value.
    """
    low = None if limits.low is None else limits.low + width
    high = None if limits.high is None else limits.high - width
    return Span(low, high, limits.unit)


def false_accept_at_limit(name: str) -> float:
    """Specific risk of a value right at the acceptance limit of a one-sided rule: 1 − Φ(2r) (ILAC-G8, table 1)."""
    return NORMAL.cdf(-guard_band(name, 1.0))


@dataclass(frozen=True)
class Risks:
    """Global risks of a rule over many boards: shares of all, not of those accepted."""

    nonconforming: float  # outside the limits, before any check
    consumer: float  # accepted although outside
    producer: float  # rejected although inside


def global_risks(
    density: Density, support: tuple[float, float], uncertainty: float, limits: Span, accepted: Span
) -> Risks:
    """Global consumer's and producer's risk, JCGM 106 equations (17) to (20), by Gauss–Legendre panels.

    `density` is the probability density of the true values over `support`; it is cut at the limits, so that no panel
    straddles a step. `uncertainty` is the standard uncertainty of the measurement (normal).
    """
    cuts = [support[0], *(end for end in (limits.low, limits.high) if end is not None), support[1]]
    cuts = sorted(min(max(cut, support[0]), support[1]) for cut in cuts)
    nodes, weights = np.polynomial.legendre.leggauss(24)
    nonconforming = consumer = producer = 0.0
    for start, end in itertools.pairwise(cuts):
        if end <= start:
            continue
        inside = limits.holds(0.5 * (start + end))
        edges = np.linspace(start, end, 129)
        half = np.diff(edges)[:, None] / 2.0
        truths = (edges[:-1, None] + half + half * nodes).ravel()
        mass = density(truths) * (half * weights).ravel()
        accepting = np.array([conformance_probability(truth, uncertainty, accepted) for truth in truths.tolist()])
        if inside:
            producer += float(mass @ (1.0 - accepting))
        else:
            nonconforming += float(mass.sum())
            consumer += float(mass @ accepting)
    return Risks(nonconforming, consumer, producer)
