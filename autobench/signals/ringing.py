"""Ringing: bursts of an oscillation that dies away, as a long ground lead adds to every step. It knows no limits.

The inductance of the lead and the capacitance of the probe ring at some megahertz; the board itself has no such part.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from autobench.quantity import show
from autobench.signals.levels import Levels
from autobench.signals.trace import Trace

Volts = NDArray[np.float64]
# Leads ring above this; what swings more slowly is made by a converter or a load.
SLOWEST = 3e6
# Bursts looked at, the strongest first; so many must ring, at one frequency within this share.
BURSTS, LEAST_BURSTS = 12, 3
SAME_FREQUENCY = 0.2
# A burst: so many half-waves in a row, each smaller than the one before, as long as the others within this share.
HALF_WAVES = 4
DECAY = 0.97
EVEN = 0.35
# A half-wave counts while it stands out of the noise, and out of the burst's first one.
STANDS_OUT, LEAST_SHARE = 4.0, 0.08
LONGEST = 4096  # samples of one burst
# Hash: its spectrum, smoothed over so many Hz, stands so far above its median, beyond the clocks of such a board.
SMOOTHED, HASH_FROM, HASH_STANDS_OUT, LEAST_SPECTRUM = 5e6, 40e6, 2.5, 1024
RIPPLE_FROM, MOST_BURST = 100e-9, 8  # s from which a swing is ripple and no ringing; samples that are too few to tell


@dataclass(frozen=True)
class Ringing:
    """`frequency` in Hz, `peak` the largest half-wave in volts, `damping` the share a half-wave keeps of the one before
    it, `bursts` how many of those looked at rang."""

    frequency: float
    peak: float
    damping: float
    bursts: int


@dataclass(frozen=True)
class Burst:
    """One burst: its samples from `start` to before `end`, half-waves per sample and what each keeps of the last."""

    start: int
    end: int
    rate: float
    damping: float
    peak: float


def rail_ringing(trace: Trace) -> Ringing | None:
    """Ringing on a rail, about its median; `None` where nothing rings."""
    volts = trace.in_volts()
    usable = np.isfinite(volts)
    if not usable.any() or not float(np.max(np.abs(volts[usable]))) < 1e100:
        return None
    rest = np.where(usable, volts - np.median(volts[usable]), 0.0)
    quick = without_ripple(rest, trace.interval)
    return find_ringing(rest, trace.interval) or find_ringing(quick, trace.interval) or find_hash(quick, trace.interval)


def find_hash(volts: Volts, interval: float) -> Ringing | None:
    """Ringing whose bursts are small or run into one another, by its spectrum: it stands out about one frequency.

    A half-wave's share of the one before it is that of the autocorrelation, which dies away as each burst does.
    """
    if volts.size < LEAST_SPECTRUM or not volts.any():
        return None
    power = np.abs(np.fft.rfft(volts)) ** 2
    hertz = np.fft.rfftfreq(volts.size, interval)
    width = max(1, round(SMOOTHED / hertz[1]))
    smooth = np.convolve(power, np.full(width, 1.0 / width), mode="same")
    smooth[hertz < HASH_FROM] = 0.0
    place = int(np.argmax(smooth))
    peak = float(hertz[place])
    if not smooth[place] > HASH_STANDS_OUT * float(np.median(smooth[hertz >= HASH_FROM])):
        return None
    half = max(1, round(0.5 / (peak * interval)))
    kept = -float(volts[half:] @ volts[:-half]) / float(volts @ volts)
    loudest = float(np.max(np.abs(volts)))
    starts = np.count_nonzero(np.diff(np.flatnonzero(np.abs(volts) > 0.5 * loudest)) > 2 * half) + 1
    return Ringing(peak, loudest, min(max(kept, 0.0), 1.0), int(starts))


def without_ripple(volts: Volts, interval: float) -> Volts:
    """What is quicker than a running mean over `RIPPLE_FROM` seconds: the rail's own ripple hides what rings on it."""
    window = round(RIPPLE_FROM / interval)
    if not MOST_BURST < window < volts.size:
        return volts
    mean: Volts = np.convolve(volts, np.full(window, 1.0 / window), mode="same")
    return volts - mean


def edge_ringing(trace: Trace, levels: Levels) -> Ringing | None:
    """Ringing after the edges of a two-level line, about the level each sample belongs to; `None` where none rings."""
    if levels.count < 2:
        return None
    volts = trace.in_volts()
    rest = volts - np.where(volts > levels.reference(50.0), levels.high, levels.low)
    return find_ringing(np.where(np.isfinite(rest), rest, 0.0), trace.interval)


def find_ringing(volts: Volts, interval: float) -> Ringing | None:
    """Ringing in values about zero: decaying bursts that agree in frequency; `None` with fewer than three."""
    left = np.array(volts, np.float64)
    noise = 1.4826 * float(np.median(np.abs(left))) if left.size else 0.0  # median deviation of a normal distribution
    found: list[Burst] = []
    for _ in range(BURSTS):
        if left.size < 8:
            break
        place = int(np.argmax(np.abs(left)))
        if not abs(left[place]) > max(STANDS_OUT * noise, 1e-12):
            break
        burst = burst_from(left, place, STANDS_OUT * noise)
        if burst is not None:
            found.append(burst)
        start, end = (place - 4, place + 8) if burst is None else (burst.start - 8, burst.end)
        left[max(0, start) : end] = 0.0
    fast = [burst for burst in found if burst.rate / (2.0 * interval) >= SLOWEST]
    if len(fast) < LEAST_BURSTS:
        return None
    usual = float(np.median([burst.rate for burst in fast]))
    alike = [burst for burst in fast if abs(burst.rate / usual - 1.0) < SAME_FREQUENCY]
    if len(alike) < max(LEAST_BURSTS, len(found) / 2.0):
        return None
    damping = float(np.median([burst.damping for burst in alike]))
    return Ringing(usual / (2.0 * interval), max(burst.peak for burst in alike), damping, len(alike))


def burst_from(volts: Volts, place: int, least: float) -> Burst | None:
    """The burst that begins at its largest sample, or `None` where what follows does not ring and die away."""
    part = volts[place : place + LONGEST]
    crossings = np.flatnonzero((part[1:] > 0.0) != (part[:-1] > 0.0)) + 1
    if crossings.size < HALF_WAVES:
        return None
    corners = np.concatenate([[0], crossings])
    sizes = np.maximum.reduceat(np.abs(part), corners)[:-1]  # the last half-wave may be cut
    floor = max(least, LEAST_SHARE * float(sizes[0]))
    going = (sizes[1:] < DECAY * sizes[:-1]) & (sizes[1:] > floor)
    count = 1 + (int(np.argmin(going)) if not going.all() else going.size)
    if count < HALF_WAVES:
        return None
    after = crossings[:count]
    lengths = np.diff(after - part[after] / (part[after] - part[after - 1]))
    if float(lengths.std()) > max(EVEN * float(lengths.mean()), 0.75):
        return None
    damping = float((sizes[count - 1] / sizes[0]) ** (1.0 / (count - 1)))
    return Burst(place, place + int(crossings[count - 1]), 1.0 / float(lengths.mean()), damping, float(sizes[0]))


def ground_lead_gate(ringing: Ringing | None, peak_to_peak: float) -> str | None:
    """Why ripple or levels of `peak_to_peak` volts may be the probe's own, in words to act on; `None` where not.

    Ringing that makes up less than half of what was seen changes no verdict.
    """
    if ringing is None or ringing.peak < 0.25 * peak_to_peak:
        return None
    return (
        f"rings at {show(ringing.frequency, 'Hz', 2)} after every step, up to {show(ringing.peak, 'V', 2)}: that is "
        f"the probe's ground lead; use the short spring beside the tip and measure again"
    )
