"""The current signature of a power-on: what a supply's own readings of current tell. It knows no healthy values.

A supply reads some ten times a second: true inrush is over before its first reading, and is not looked for here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from autobench.signals.line_fit import fit_line

Series = NDArray[np.float64]
PEAK_WITHIN = 0.3  # seconds after power-on
SETTLED_WITHIN = 0.05  # share of the current at five seconds
RIPPLE_FOR = 3.0  # seconds after settling
# The step at reset release is the change from before to after it, each averaged over this time (s).
STEP_BEFORE, STEP_AFTER = 0.1, 0.3
LEAST_TREND, LEAST_TREND_SAMPLES = 10.0, 5  # s and samples that a trend needs
LEAST_PULSING = 3
PULSING_SHARE = 0.1


@dataclass(frozen=True)
class Signature:
    """Features of the samples of one power-on; amperes and seconds after power-on, `None` where not covered.

    `peak` within the first 0.3 s; `at_half`, `at_5`, `at_60` seconds; `settled_at` from when the current stays within
    5 % of that at 5 s; `step` at the release of reset, as a change in amperes; `ripple` from lowest to highest within
    3 s after settling; `limiting` seconds in current limit; `pulsing` in Hz where the current swings regularly;
    `trend` the change per minute from five seconds on, as a share of the current at five seconds: a healthy board loses
    a few per cent while it warms up, a leaking part draws ever more; `end_volts` the last voltage.
    """

    peak: float | None
    at_half: float | None
    at_5: float | None
    at_60: float | None
    settled_at: float | None
    step: float | None
    ripple: float | None
    limiting: float
    pulsing: float | None
    trend: float | None
    end_volts: float | None


def find_signature(
    seconds: Sequence[float],
    amps: Sequence[float],
    limiting: Sequence[bool],
    volts: Sequence[float] | None = None,
    on_at: float = 0.0,
    reset_at: float | None = None,
) -> Signature:
    """Signature of samples (time, current, whether limiting, and volts if read) in the order they were taken.

    `on_at` is when the output was switched on, `reset_at` when reset was released, on the same time base. Samples that
    are no numbers are left out. Raises `ValueError` where the sequences differ in length.
    """
    lengths = {len(seconds), len(amps), len(limiting)} | ({len(volts)} if volts is not None else set())
    if len(lengths) != 1:
        raise ValueError("times, currents, limiting and volts must be of one length")
    times, current = np.asarray(seconds, np.float64) - on_at, np.asarray(amps, np.float64)
    flags = np.asarray(limiting, bool)
    usable = np.isfinite(times) & np.isfinite(current) & (times >= 0.0)
    times, current, flags = times[usable], current[usable], flags[usable]
    at_5 = value_at(times, current, 5.0)
    settled = settling(times, current, at_5)
    early = current[times <= PEAK_WITHIN]
    known = [] if volts is None else [value for value in volts if math.isfinite(value)]
    return Signature(
        peak=float(early.max()) if early.size else None,
        at_half=value_at(times, current, 0.5),
        at_5=at_5,
        at_60=value_at(times, current, 60.0),
        settled_at=settled,
        step=None if reset_at is None else step_at(times, current, reset_at - on_at),
        ripple=None if settled is None else ripple_from(times, current, settled),
        limiting=limiting_time(times, flags),
        pulsing=pulsing_rate(times, current),
        trend=trend_from(times, current, at_5),
        end_volts=known[-1] if known else None,
    )


def value_at(times: Series, current: Series, when: float) -> float | None:
    """Current at `when` by linear interpolation; `None` outside the samples."""
    if times.size == 0 or not times[0] <= when <= times[-1]:
        return None
    return float(np.interp(when, times, current))


def settling(times: Series, current: Series, final: float | None) -> float | None:
    """From when the current stays within 5 % of `final` up to five seconds; `None` where it never does."""
    if final is None:
        return None
    judged = times <= 5.0
    away = np.flatnonzero(np.abs(current[judged] - final) > SETTLED_WITHIN * abs(final))
    if away.size == 0:
        return float(times[0])
    return float(times[away[-1] + 1]) if away[-1] + 1 < times.size else None


def step_at(times: Series, current: Series, release: float) -> float | None:
    """Mean current after the release of reset less that before it; `None` where one side has no samples."""
    before = current[(times >= release - STEP_BEFORE) & (times < release)]
    after = current[(times > release) & (times <= release + STEP_AFTER)]
    if before.size == 0 or after.size == 0:
        return None
    return float(after.mean() - before.mean())


def ripple_from(times: Series, current: Series, settled: float) -> float | None:
    """Highest less lowest current within three seconds after settling."""
    part = current[(times >= settled) & (times <= settled + RIPPLE_FOR)]
    return float(np.ptp(part)) if part.size >= 2 else None


def limiting_time(times: Series, flags: NDArray[np.bool_]) -> float:
    """Seconds in current limit: each flagged sample holds until the next one."""
    if times.size < 2:
        return 0.0
    return float(np.diff(times)[flags[:-1]].sum())


def trend_from(times: Series, current: Series, at_5: float | None) -> float | None:
    """Slope by least squares from five seconds on, per minute and as a share of `at_5`; `None` below ten seconds."""
    later = times >= 5.0
    if not at_5 or np.count_nonzero(later) < LEAST_TREND_SAMPLES:
        return None
    seconds = times[later]
    if float(seconds[-1] - seconds[0]) < LEAST_TREND:
        return None
    return 60.0 * fit_line(seconds, current[later]).slope / at_5


def pulsing_rate(times: Series, current: Series) -> float | None:
    """Rate in Hz of a regular swing of more than a tenth of the mean; `None` without one.

    At least three whole swings of even length are wanted: a converter that hiccups or a reset that loops is regular, a
    program at work is not.
    """
    if times.size < 2 * LEAST_PULSING or float(np.ptp(current)) < PULSING_SHARE * abs(float(current.mean())):
        return None
    middle = 0.5 * (float(current.max()) + float(current.min()))
    band = 0.1 * float(np.ptp(current))
    ups, high = [], bool(current[0] > middle)
    for time, value in zip(times.tolist(), current.tolist(), strict=True):
        if not high and value > middle + band:
            high = True
            ups.append(time)
        elif high and value < middle - band:
            high = False
    lengths = np.diff(np.asarray(ups))
    if lengths.size < LEAST_PULSING or float(lengths.std()) > 0.25 * float(lengths.mean()):
        return None
    return float(1.0 / lengths.mean())
