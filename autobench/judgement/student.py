"""Student's t and the normal distribution: probabilities and quantiles. Pure numerics; it knows no readings.

The standard library has the normal distribution only; t comes from the regularised incomplete beta function, by
Lentz's continued fraction (Abramowitz & Stegun 26.5.8, 26.7.1).
"""

from __future__ import annotations

import math
from statistics import NormalDist

NORMAL = NormalDist()
# From here on t and the normal distribution agree to better than 1e-9 in probability.
NORMAL_FROM = 1e9
TINY = 1e-300


def incomplete_beta(a: float, b: float, x: float) -> float:
    """Regularised incomplete beta function I_x(a, b) for a, b > 0 and 0 ≤ x ≤ 1."""
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    if x > (a + 1.0) / (a + b + 2.0):  # the fraction converges fast on the other side only
        return 1.0 - incomplete_beta(b, a, 1.0 - x)
    front = a * math.log(x) + b * math.log1p(-x) - log_beta(a, b)
    return math.exp(front) * beta_fraction(a, b, x) / a


def log_beta(a: float, b: float) -> float:
    """Logarithm of the beta function; where one is large by Stirling's series."""
    large, small = max(a, b), min(a, b)
    if large < 50.0:
        return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)
    total = large + small
    growth = (large - 0.5) * math.log1p(small / large) + small * math.log(total) - small
    growth += (1.0 / total - 1.0 / large) / 12.0 - (total**-3 - large**-3) / 360.0 + (total**-5 - large**-5) / 1260.0
    return math.lgamma(small) - growth


def beta_fraction(a: float, b: float, x: float) -> float:
    """The continued fraction of the incomplete beta function, by Lentz's method."""
    numerator, denominator = 1.0, 1.0 - (a + b) * x / (a + 1.0)
    denominator = 1.0 / (denominator if abs(denominator) > TINY else TINY)
    result = denominator
    for m in range(1, 10_000):
        even = m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0))
        for term in (even, odd):
            denominator = 1.0 + term * denominator
            denominator = 1.0 / (denominator if abs(denominator) > TINY else TINY)
            numerator = 1.0 + term / numerator
            numerator = numerator if abs(numerator) > TINY else TINY
            change = numerator * denominator
            result *= change
        if abs(change - 1.0) < 1e-15:
            break
    return result


def student_probability(t: float, degrees: float = math.inf) -> float:
    """Probability that Student's t with `degrees` of freedom stays at or below `t`; normal for `inf`."""
    if math.isnan(t) or not degrees > 0.0:
        raise ValueError(f"no probability for t = {t} with {degrees} degrees of freedom")
    if degrees >= NORMAL_FROM:
        return NORMAL.cdf(t)
    if math.isinf(t):
        return 1.0 if t > 0 else 0.0
    square = t * t
    if square < degrees:  # near the middle 1 − x would lose the digits of x
        tail = 0.5 - 0.5 * incomplete_beta(0.5, degrees / 2.0, square / (degrees + square))
    else:
        tail = 0.5 * incomplete_beta(degrees / 2.0, 0.5, degrees / (degrees + square))
    return 1.0 - tail if t >= 0.0 else tail


def student_quantile(probability: float, degrees: float = math.inf) -> float:
    """The t that `student_probability` maps to `probability`.

    Bisection after doubling the bracket: plain, and it cannot run away in the heavy tails of few degrees. Raises
    `ValueError` for a probability not between 0 and 1 or degrees not above zero.
    """
    if not 0.0 < probability < 1.0 or not degrees > 0.0:
        raise ValueError(f"no quantile for probability {probability} with {degrees} degrees of freedom")
    if degrees >= NORMAL_FROM:
        return NORMAL.inv_cdf(probability)
    if probability == 0.5:
        return 0.0
    if probability > 0.5:  # the lower tail keeps its digits
        return -student_quantile(1.0 - probability, degrees)
    low, high = -2.0, 0.0
    while student_probability(low, degrees) > probability:
        low, high = 2.0 * low, low
        if math.isinf(low):
            return low
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if student_probability(middle, degrees) < probability:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
