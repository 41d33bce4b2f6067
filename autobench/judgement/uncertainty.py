"""Uncertainty of a reading after the GUM (JCGM 100): components, their budget, and the coverage factor.

Numbers in, numbers out. This module knows no limits and no verdicts, and it reads no instrument's data sheet: whoever
knows the instrument turns its accuracy into components.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from autobench.judgement.student import student_quantile

Distribution = Literal["normal", "rectangular", "triangular", "arcsine", "resolution"]

# What the stated value is divided by to give the standard uncertainty (GUM 4.3.7, 4.3.9; EA-4/02 3.3.2).
DIVISORS: Mapping[str, float] = {
    "normal": 1.0,
    "rectangular": math.sqrt(3.0),
    "triangular": math.sqrt(6.0),
    "arcsine": math.sqrt(2.0),
    "resolution": math.sqrt(12.0),
}
# EA-4/02 S9.14 and S10.13: the remaining components together stay below this share of the dominant ones.
NEGLIGIBLE_SHARE = 0.3


@dataclass(frozen=True)
class Component:
    """One cause of uncertainty.

    `value` is the half-width of the distribution in the unit of the input; for `normal` it is the standard uncertainty
    itself, for `resolution` the whole step of the display. `sensitivity` turns the input's unit into the reading's.
    Raises `ValueError` for a negative value, an unknown distribution or degrees of freedom not above zero.
    """

    name: str
    value: float
    distribution: Distribution
    degrees: float = math.inf
    sensitivity: float = 1.0

    def __post_init__(self) -> None:
        if self.distribution not in DIVISORS:
            raise ValueError(f"{self.name}: '{self.distribution}' is not one of {', '.join(DIVISORS)}")
        if not self.value >= 0.0:
            raise ValueError(f"{self.name}: an uncertainty of {self.value} makes no sense")
        if not self.degrees > 0.0:
            raise ValueError(f"{self.name}: {self.degrees} degrees of freedom make no sense")

    @property
    def standard(self) -> float:
        """Standard uncertainty (k = 1) in the unit of the input."""
        return self.value / DIVISORS[self.distribution]

    @property
    def contribution(self) -> float:
        """Standard uncertainty this component brings to the reading, in the reading's unit."""
        return abs(self.sensitivity) * self.standard


@dataclass(frozen=True)
class Budget:
    """All components of one reading.

    `correlations` holds coefficients between components by their two names, in either order; pairs not named are
    independent.
    """

    components: tuple[Component, ...]
    correlations: Mapping[tuple[str, str], float] = field(default_factory=dict)

    def __init__(
        self, components: Iterable[Component], correlations: Mapping[tuple[str, str], float] | None = None
    ) -> None:
        object.__setattr__(self, "components", tuple(components))
        object.__setattr__(self, "correlations", dict(correlations or {}))
        names = {component.name for component in self.components}
        for (left, right), coefficient in self.correlations.items():
            if left not in names or right not in names or left == right:
                raise ValueError(f"a correlation between '{left}' and '{right}' names no two components")
            if not -1.0 <= coefficient <= 1.0:
                raise ValueError(f"the correlation of '{left}' and '{right}' is {coefficient}, beyond ±1")

    @property
    def standard(self) -> float:
        """Combined standard uncertainty, GUM equations (11a) and (16)."""
        variance = math.fsum(component.contribution**2 for component in self.components)
        signed = {component.name: component.sensitivity * component.standard for component in self.components}
        for (left, right), coefficient in self.correlations.items():
            variance += 2.0 * coefficient * signed[left] * signed[right]
        return math.sqrt(max(variance, 0.0))

    @property
    def degrees(self) -> float:
        """Effective degrees of freedom, Welch–Satterthwaite, GUM equation (G.2b).

        The formula holds for independent components only; those tied by correlation therefore count as one block with
        the smallest degrees among them, which errs to the wide side.
        """
        tied = {name for pair, value in self.correlations.items() if value != 0.0 for name in pair}
        free = [part for part in self.components if part.name not in tied]
        blocks = [(part.contribution, part.degrees) for part in free]
        if tied:
            remainder = math.fsum(part.contribution**2 for part in free)
            block = math.sqrt(max(self.standard**2 - remainder, 0.0))
            blocks.append((block, min(part.degrees for part in self.components if part.name in tied)))
        combined = self.standard
        if combined == 0.0:
            return math.inf
        shares = math.fsum((contribution / combined) ** 4 / degrees for contribution, degrees in blocks)
        return 1.0 / shares if shares > 0.0 else math.inf

    def coverage_factor(self, probability: float = 0.95) -> float:
        """Factor k for a two-sided coverage `probability`.

        Student t with the effective degrees, to a tenth, cut to a whole number (GUM G.4.1); where one or two rectangles
        dominate, the rectangle or trapezoid of EA-4/02 S9.14 and S10.13 instead, since t over-covers there.
        Raises `ValueError` for a probability outside 0 … 1.
        """
        if not 0.0 < probability < 1.0:
            raise ValueError(f"a coverage probability of {probability} makes no sense")
        dominant = self.dominant_rectangles()
        if len(dominant) == 1:
            return probability * math.sqrt(3.0)
        if len(dominant) == 2:
            return trapezoid_factor(dominant[0], dominant[1], probability)
        degrees = self.degrees
        if math.isfinite(degrees):
            degrees = max(1.0, math.floor(round(degrees, 1)))
        return student_quantile(0.5 + probability / 2.0, degrees)

    @property
    def usual_factor(self) -> float:
        """The k of an expanded uncertainty as usually stated: 2, but less where rectangles dominate (EA-4/02 S9)."""
        return self.coverage_factor(0.95) if self.dominant_rectangles() else 2.0

    def expanded(self, probability: float = 0.95) -> float:
        """Expanded uncertainty U = k·u for a two-sided coverage `probability`."""
        return self.coverage_factor(probability) * self.standard

    def dominant_rectangles(self) -> tuple[float, ...]:
        """Half-widths of the one or two rectangular components beside which the rest may be neglected, else empty.

        A rectangle known to few degrees of freedom is no firm rectangle, so it never counts.
        """
        if self.correlations:
            return ()
        ordered = sorted(self.components, key=lambda part: part.contribution, reverse=True)
        for count in (1, 2):
            leaders, rest = ordered[:count], ordered[count:]
            firm = all(part.distribution in ("rectangular", "resolution") for part in leaders)
            if len(leaders) < count or not firm or any(math.isfinite(part.degrees) for part in leaders):
                return ()
            remainder = math.hypot(*(part.contribution for part in rest))
            if remainder < NEGLIGIBLE_SHARE * math.hypot(*(part.contribution for part in leaders)):
                return tuple(part.contribution * math.sqrt(3.0) for part in leaders)
        return ()


def trapezoid_factor(wide: float, narrow: float, probability: float) -> float:
    """Coverage factor of the sum of two rectangles with half-widths `wide` and `narrow` (EA-4/02 S10.13)."""
    edge = abs(wide - narrow) / (wide + narrow)
    if probability < 2.0 * edge / (1.0 + edge):  # the interval ends on the flat top
        half = probability * (1.0 + edge) / 2.0
    else:
        half = 1.0 - math.sqrt((1.0 - probability) * (1.0 - edge * edge))
    return half / math.sqrt((1.0 + edge * edge) / 6.0)


def mean_and_deviation(samples: Sequence[float]) -> tuple[float, float]:
    """Mean and experimental standard deviation (n − 1) of at least two samples.

    Two passes with exact sums: the one-pass formula loses every digit where the spread is small beside the mean.
    Raises `ValueError` for fewer than two samples or one that is not finite.
    """
    values = [float(sample) for sample in samples]
    if len(values) < 2:
        raise ValueError("a spread needs at least two samples")
    if not all(math.isfinite(value) for value in values):
        raise ValueError("a spread needs finite samples")
    mean = math.fsum(values) / len(values)
    return mean, math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1))


def type_a(samples: Sequence[float], name: str = "repeats") -> Component:
    """Type A component of the mean of repeated readings: s/√n with n − 1 degrees of freedom (GUM 4.2.3).

    Raises `ValueError` as `mean_and_deviation` does.
    """
    deviation = mean_and_deviation(samples)[1]
    return Component(name, deviation / math.sqrt(len(samples)), "normal", len(samples) - 1)
