"""The straight line of least squares, with standard uncertainties and correlation. It knows nothing of waveforms."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Line:
    """y = intercept + slope · x about the x given to the fit, after GUM H.3.

    `scatter` is the standard deviation of the residuals with `degrees` degrees of freedom; `correlation` is that
    between intercept and slope.
    """

    intercept: float
    slope: float
    intercept_uncertainty: float
    slope_uncertainty: float
    correlation: float
    scatter: float
    degrees: int

    def at(self, x: float) -> tuple[float, float]:
        """Value of the line at `x` and its standard uncertainty, correlation included (GUM equation (H.15))."""
        variance = self.intercept_uncertainty**2 + (x * self.slope_uncertainty) ** 2
        variance += 2.0 * x * self.intercept_uncertainty * self.slope_uncertainty * self.correlation
        return self.intercept + self.slope * x, math.sqrt(max(variance, 0.0))


def fit_line(x: NDArray[np.float64], y: NDArray[np.float64]) -> Line:
    """Fit by least squares, all points of equal weight.

    With two points there is no scatter and the uncertainties are NaN. Raises `ValueError` for fewer than two points or
    for x all the same.
    """
    if x.size < 2 or x.size != y.size:
        raise ValueError("a line needs at least two points")
    centre, middle = float(x.mean()), float(y.mean())
    across = x - centre
    spread = float(across @ across)
    if spread == 0.0:
        raise ValueError("a line needs points at different places")
    slope = float(across @ (y - middle)) / spread
    rest = y - middle - slope * across
    degrees = x.size - 2
    scatter = math.sqrt(float(rest @ rest) / degrees) if degrees else math.nan
    slope_uncertainty = scatter / math.sqrt(spread)
    root = math.sqrt(spread / x.size + centre * centre)
    return Line(
        intercept=middle - slope * centre,
        slope=slope,
        intercept_uncertainty=slope_uncertainty * root,
        slope_uncertainty=slope_uncertainty,
        correlation=-centre / root,
        scatter=scatter,
        degrees=degrees,
    )
