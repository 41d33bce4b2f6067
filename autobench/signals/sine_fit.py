"""The four-parameter sine fit of IEEE Std 1057, for signals without edges. It knows no nominal frequency."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from autobench.quantity import Estimate
from autobench.signals.trace import Trace

MOST_ROUNDS = 30


@dataclass(frozen=True)
class Sine:
    """x(t) = offset + amplitude · cos(2πft + phase), t from the first sample.

    `frequency` in Hz with its standard uncertainty, `amplitude` and `offset` in volts, `phase` in radians, `residual`
    the standard deviation of what is left, in volts.
    """

    frequency: Estimate
    amplitude: float
    phase: float
    offset: float
    residual: float


def fit_sine(trace: Trace, start: float | None = None, time_base: float = 0.0) -> Sine | None:
    """Fit a sine from a first guess `start` in Hz (else from the spectrum), by IEEE Std 1057 4.1.4.

    The uncertainty is the Cramér–Rao bound with the residual as noise, joined with `time_base` (relative half-width,
    rectangular). `None` where there is no sine to fit: fewer than eight numbers, no change, or no convergence.
    """
    volts = trace.in_volts()
    usable = np.isfinite(volts)
    if int(usable.sum()) < 8:
        return None
    numbers = np.flatnonzero(usable).astype(np.float64)
    values = volts[usable]
    scale = float(np.max(np.abs(values)))
    if float(np.ptp(values)) == 0.0 or not scale < 1e150:
        return None
    guess = spectrum_peak(values) if start is None else start * trace.interval
    found = iterate(numbers, values, 2.0 * math.pi * guess)
    if found is None:
        return None
    omega, (cosine, sine, offset) = found
    rest = values - cosine * np.cos(omega * numbers) - sine * np.sin(omega * numbers) - offset
    degrees = max(values.size - 4, 1)
    residual = math.sqrt(float(rest @ rest) / degrees)
    amplitude = math.hypot(cosine, sine)
    frequency = omega / (2.0 * math.pi * trace.interval)
    random = frequency_bound(amplitude, residual, values.size) / trace.interval
    uncertainty = math.hypot(random, frequency * time_base / math.sqrt(3.0))
    estimate = Estimate(frequency, "Hz", uncertainty, degrees if time_base == 0.0 else math.inf, "sine fit")
    return Sine(estimate, amplitude, math.atan2(-sine, cosine), offset, residual)


def frequency_bound(amplitude: float, noise: float, samples: int) -> float:
    """Cramér–Rao bound of a real sine's frequency, in cycles a sample: √(24σ²/((2π)²A²N(N² − 1)))."""
    if amplitude == 0.0:
        return math.inf
    return noise / amplitude * math.sqrt(24.0 / (samples * (samples**2 - 1.0))) / (2.0 * math.pi)


def spectrum_peak(values: NDArray[np.float64]) -> float:
    """Cycles a sample of the strongest line of the windowed spectrum, between bins by a parabola of its logarithm."""
    window = np.hanning(values.size + 2)[1:-1]
    spectrum = np.abs(np.fft.rfft((values - values.mean()) * window))
    spectrum[0] = 0.0
    peak = int(np.argmax(spectrum))
    if not 0 < peak < spectrum.size - 1:
        return peak / values.size
    left, top, right = (math.log(max(float(value), 1e-300)) for value in spectrum[peak - 1 : peak + 2])
    bend = left - 2.0 * top + right
    shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    return (peak + max(-0.5, min(0.5, shift))) / values.size


def iterate(
    numbers: NDArray[np.float64], values: NDArray[np.float64], omega: float
) -> tuple[float, tuple[float, float, float]] | None:
    """Gauss–Newton on cosine, sine, offset and ω (radians a sample) until ω stands still; `None` if it runs away."""
    cosine = sine = 0.0
    design = np.ones((values.size, 4))
    centre = float(numbers.mean())
    places = numbers - centre  # about the middle, where phase and frequency are independent
    for turn in range(MOST_ROUNDS):
        design[:, 0] = np.cos(omega * places)
        design[:, 1] = np.sin(omega * places)
        columns = 3 if turn == 0 else 4
        if columns == 4:
            design[:, 3] = places * (sine * design[:, 0] - cosine * design[:, 1])
        solved = np.linalg.lstsq(design[:, :columns], values, rcond=None)[0]
        cosine, sine = float(solved[0]), float(solved[1])
        change = float(solved[3]) if columns == 4 else math.inf
        if columns == 4:
            omega += change
        if not 0.0 < omega < math.pi * 1.0001:
            return None
        if abs(change) <= 1e-15 * omega + 1e-14 / values.size:
            break
    design[:, 0] = np.cos(omega * numbers)
    design[:, 1] = np.sin(omega * numbers)
    final = np.linalg.lstsq(design[:, :3], values, rcond=None)[0]
    return omega, (float(final[0]), float(final[1]), float(final[2]))
