"""Ripple and noise of a rail: peak to peak and rms in a stated bandwidth, the mains part and the switching part apart.

It knows no limits. The trace may be AC-coupled; then its mean says nothing of the rail.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from autobench.signals.trace import Trace

# Hum of a rectifier lies at the mains frequency and its multiples; beyond this it is no longer told from switching.
HARMONICS = 20
# The mains part is fitted on block means: so many points are plenty for a kilohertz over a few periods.
MOST_POINTS = 20_000
# A line of the spectrum this much above its neighbourhood's median is a switching frequency.
STANDS_OUT = 12.0
# The mains counts where its multiples hold so many times the power of what lies half way between them.
LEAST_EXCESS = 2.0
LEAST_SAMPLES = 8


@dataclass(frozen=True)
class Ripple:
    """All in volts, but the frequency.

    `bandwidth` in Hz is what was really seen: the wanted one, or half the sample rate. `mains_*` is the part at the
    mains frequency and its multiples, `None` where the trace holds less than one period of it, and zero where it does
    not stand out of what a load does at all frequencies; `rest_*` what remains,
    with its strongest line `switching` in Hz, `None` where nothing stands out. `lowest` is the deepest dip.
    """

    mean: float
    lowest: float
    highest: float
    pp: float
    rms: float
    bandwidth: float
    mains_pp: float | None
    mains_rms: float | None
    rest_pp: float
    rest_rms: float
    switching: float | None


def find_ripple(trace: Trace, bandwidth: float = 20e6, mains: float = 50.0) -> Ripple | None:
    """Ripple of a trace within `bandwidth` Hz, with the mains at `mains` Hz; `None` with fewer than eight numbers.

    The filter is of the first order, as the bandwidth limit of an oscilloscope's input is, but without delay.
    """
    volts = trace.in_volts()
    volts = volts[np.isfinite(volts)]
    if volts.size < LEAST_SAMPLES or not float(np.max(np.abs(volts))) < 1e100:
        return None
    mean = float(volts.mean())
    limited = limit_bandwidth(volts - mean, trace.interval, bandwidth)
    hum = mains_part(limited, trace.interval, mains)
    rest = limited if hum is None else limited - hum
    return Ripple(
        mean=mean,
        lowest=mean + float(limited.min()),
        highest=mean + float(limited.max()),
        pp=float(np.ptp(limited)),
        rms=float(np.sqrt(np.mean(limited**2))),
        bandwidth=min(bandwidth, 0.5 / trace.interval),
        mains_pp=None if hum is None else float(np.ptp(hum)),
        mains_rms=None if hum is None else float(np.sqrt(np.mean(hum**2))),
        rest_pp=float(np.ptp(rest)),
        rest_rms=float(np.sqrt(np.mean(rest**2))),
        switching=switching_frequency(rest, trace.interval, HARMONICS * mains),
    )


def limit_bandwidth(values: NDArray[np.float64], interval: float, bandwidth: float) -> NDArray[np.float64]:
    """Values after a first-order low-pass of `bandwidth` Hz without delay; unchanged where sampling is slower anyway.

    The ends are mirrored before filtering, so that a drifting rail does not make a step where the trace wraps round.
    """
    if bandwidth >= 0.5 / interval:
        return values
    mirrored = np.concatenate([values, values[::-1]])
    spectrum = np.fft.rfft(mirrored)
    spectrum /= np.sqrt(1.0 + (np.fft.rfftfreq(mirrored.size, interval) / bandwidth) ** 2)
    return np.asarray(np.fft.irfft(spectrum, mirrored.size)[: values.size], np.float64)


def mains_part(values: NDArray[np.float64], interval: float, mains: float) -> NDArray[np.float64] | None:
    """Least-squares fit of the mains frequency and its multiples; `None` where less than one period was captured.

    From two periods on it is zero where as much lies half way between the multiples: then a load or a program moves the
    rail at all frequencies, and the mains has no part in it.
    """
    duration = values.size * interval
    if duration * mains < 1.0 - 1e-9 or mains <= 0.0:
        return None
    block = max(1, values.size // MOST_POINTS)
    whole = values[: values.size // block * block].reshape(-1, block).mean(axis=1)
    times = (whole.size, block, interval)
    highest = min(HARMONICS, int(0.4 / (block * interval * mains)))
    if highest < 1 or whole.size <= 2 * highest + 1:
        return None
    hum = fit_sines(whole, times, mains, 0.0, highest)
    if duration * mains >= 2.0 - 1e-9:
        between = fit_sines(whole, times, mains, 0.5 * mains, highest)
        if float(np.mean(hum**2)) < LEAST_EXCESS * float(np.mean(between**2)):
            return np.zeros(values.size)
    # The blocks lie far closer than the highest multiple's period: straight lines between them lose nothing.
    fitted = np.interp(np.arange(values.size) * interval, middles(*times), hum)
    return np.asarray(fitted, np.float64)


def fit_sines(
    values: NDArray[np.float64], times: tuple[int, int, float], mains: float, below: float, highest: int
) -> NDArray[np.float64]:
    """What sines `below` Hz under the multiples 1 … `highest` of `mains` Hz explain of `values` at the `middles` of
    `times`, by least squares with a free mean."""
    design, normal = sines(times, mains, below, highest)
    # The columns are nearly at right angles, so the normal equations lose nothing and are a hundred times quicker.
    solved = np.linalg.lstsq(normal, design.T @ values, rcond=None)[0]
    return np.asarray(design[:, :-1] @ solved[:-1], np.float64)


def middles(count: int, block: int, interval: float) -> NDArray[np.float64]:
    """The middle (s) of each of `count` blocks of `block` samples, `interval` seconds apart."""
    return np.asarray((np.arange(count) * block + (block - 1) / 2.0) * interval, np.float64)


@lru_cache(maxsize=4)  # a round looks at every rail by one time base; seven megabytes each
def sines(
    times: tuple[int, int, float], mains: float, below: float, highest: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """What `fit_sines` puts together, cosines, sines and ones in columns, and its normal matrix."""
    frequencies = mains * np.arange(1.0, highest + 1.0) - below
    angles = 2.0 * math.pi * middles(*times)[:, None] * frequencies[None, :]
    design = np.concatenate([np.cos(angles), np.sin(angles), np.ones((times[0], 1))], axis=1)
    return design, design.T @ design


def switching_frequency(values: NDArray[np.float64], interval: float, lowest: float) -> float | None:
    """Frequency in Hz of the strongest line above `lowest`, if it stands well out of the spectrum around it."""
    window = np.hanning(values.size + 2)[1:-1]
    spectrum = np.abs(np.fft.rfft((values - values.mean()) * window))
    frequencies = np.fft.rfftfreq(values.size, interval)
    wanted = np.flatnonzero(frequencies > max(lowest, 2.0 / (values.size * interval)))
    if wanted.size < 8:
        return None
    peak = int(wanted[np.argmax(spectrum[wanted])])
    near = spectrum[max(int(wanted[0]), peak - 200) : peak + 200]
    floor = float(np.median(near))
    noticeable = float(spectrum[peak]) > 1e-9 * values.size * (float(np.max(np.abs(values))) + 1e-300)
    if not noticeable or not spectrum[peak] > STANDS_OUT * floor:
        return None
    return float(frequencies[peak])
