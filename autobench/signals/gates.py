"""Gates: what makes a trace unfit to judge a board by, from the trace alone. They judge no board and know no limits.

Every gate returns `None` where the trace may be used, else a reason in words a technician can act on.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from autobench.quantity import show
from autobench.signals.activity import Activity
from autobench.signals.alias import A_PULSE
from autobench.signals.families import Family
from autobench.signals.levels import Levels
from autobench.signals.trace import Trace

# Share of clipped samples from which levels are no levels (common practice: 1 %).
MOST_CLIPPED = 0.01
# Logic that swings about 0 V: its mean within this share of the amplitude, its low clearly below ground.
NEAR_ZERO, BELOW_GROUND = 0.1, 0.6
# A probe factor that is wrong by ten: levels ten times too large or small fit, as they are they do not.
FACTOR = 10.0
# A ground clip that is off: all of the line swings with the mains by this much (V), nearly all that the floor does. A
# square wave at the mains' rate has 8/π² = 0.81 of its power in the fundamental, and is none.
HUM, HUM_SHARE = 0.2, 0.9
BLOCKS_A_PERIOD = 20
RARE_BLOCKS = 0.15  # share of blocks that a field's pulse may fill


def clipped_gate(levels: Levels) -> str | None:
    """More than 1 % of the samples at the converter's ends: neither levels nor edges can be trusted."""
    if not levels.clipped > MOST_CLIPPED:
        return None
    share = f"{100 * levels.clipped:.0f} %" if levels.clipped < 0.995 else "all"
    return f"{share} of the samples are beyond the screen: choose more volts a division or move the trace"


def sampling_gate(trace: Trace, activity: Activity) -> str | None:
    """Fewer than five samples on the shortest pulse: shorter ones may have been missed altogether."""
    shortest = activity.smallest_pulse
    if trace.peak_detect or not shortest < A_PULSE * trace.interval * (1.0 - 1e-9):
        return None
    faster = math.ceil(A_PULSE * trace.interval / max(shortest, 0.1 * trace.interval))
    return (
        f"the shortest pulse of {show(shortest, 's', 2)} has fewer than {A_PULSE:.0f} samples: shorter ones may be "
        f"missed; use a time base at least {faster} times faster"
    )


def coupling_gate(levels: Levels) -> str | None:
    """A logic line whose two levels lie about 0 V: the input is coupled through a capacitor, so levels are lost.

    Logic clamps at a diode's drop below ground, so no connected line does that by itself.
    """
    if levels.count < 2 or levels.low > -BELOW_GROUND or abs(levels.mean) > NEAR_ZERO * levels.amplitude:
        return None
    return (
        f"the line swings from {show(levels.low, 'V', 2)} to {show(levels.high, 'V', 2)} about 0 V: the scope's input "
        f"is AC-coupled; set it to DC"
    )


def factor_gate(levels: Levels, receiver: Family, supply: float) -> str | None:
    """Levels of a moving logic line that only fit once they are divided or multiplied by ten: the probe's factor.

    `supply` is the rail the line's driver works from, in volts.
    """
    if levels.count < 2:
        return None
    for times, words in ((1.0 / FACTOR, "large"), (FACTOR, "small")):
        low, high = levels.low * times, levels.high * times
        fits = receiver.high_in <= high <= 1.15 * supply and -0.5 <= low <= receiver.low_in
        nonsense = levels.high > 1.5 * supply if times < 1.0 else levels.high < receiver.low_in
        if fits and nonsense:
            return (
                f"levels of {show(levels.low, 'V', 2)} and {show(levels.high, 'V', 2)} are ten times too {words} for "
                f"this line: the probe's factor and the scope's setting do not agree"
            )
    return None


def ground_gate(trace: Trace, mains: float = 50.0) -> str | None:
    """A line whose whole floor, or whole ceiling, swings with the mains: the ground clip is off, or its lead is broken.

    Either will do: rare pulses reach one of the two and leave the other alone. Needs one period of the mains at
    `mains` Hz in the trace, or says nothing.
    """
    blocks = math.floor(trace.duration * mains * BLOCKS_A_PERIOD + 1e-6)
    if blocks < BLOCKS_A_PERIOD or trace.samples.size < 2 * blocks:
        return None
    corners = np.linspace(0, trace.samples.size, blocks, endpoint=False).astype(np.int64)
    sizes = [swing_with_mains(trace, corners, edge, mains) for edge in (np.fmin, np.fmax)]
    size = max((size for size in sizes if size is not None), default=None)
    if size is None:
        return None
    return (
        f"the whole line swings by {show(2.0 * size, 'V', 2)} with the mains at {show(mains, 'Hz', 2)}: is the ground "
        f"clip on, and its lead whole?"
    )


def swing_with_mains(trace: Trace, corners: NDArray[np.int64], edge: np.ufunc, mains: float) -> float | None:
    """Volts (peak) by which the lowest (`edge` fmin) or highest of each block follow a sine of `mains` Hz.

    None where they do not, or by too little.
    """
    blocks = corners.size
    line = edge.reduceat(trace.samples, corners).astype(np.float64)
    if not np.isfinite(line).all() or not float(np.max(np.abs(line))) < 1e100:
        return None
    angles = 2.0 * math.pi * mains * (corners + 0.5 * trace.samples.size / blocks) * trace.interval
    kept = of_one_level(trace, line, edge)
    line, angles = (line[kept] - line[kept].mean()) * trace.step, angles[kept]
    design = np.stack([np.cos(angles), np.sin(angles), np.ones(line.size)], axis=1)
    cosine, sine, _ = np.linalg.lstsq(design, line, rcond=None)[0]
    size = math.hypot(float(cosine), float(sine))
    whole = float(np.mean(line**2))
    return None if size < HUM or 0.5 * size**2 < HUM_SHARE * whole else size


def of_one_level(trace: Trace, line: NDArray[np.float64], edge: np.ufunc) -> NDArray[np.bool_]:
    """Which blocks are at the level that `line` is mostly at: a rare pulse that is longer than a block is left out."""
    middle = 0.5 * (float(trace.samples.min()) + float(trace.samples.max()))
    kept = line <= middle if edge is np.fmin else line >= middle
    return kept if np.count_nonzero(~kept) <= RARE_BLOCKS * line.size else np.ones(line.size, dtype=bool)


def setup_gate(trace: Trace, levels: Levels, receiver: Family, supply: float = 5.0) -> str | None:
    """What is wrong with the scope or its probe, not with the board; for mains of 50 Hz and of 60 Hz."""
    return (
        ground_gate(trace, 50.0)
        or ground_gate(trace, 60.0)
        or factor_gate(levels, receiver, supply)
        or coupling_gate(levels)
    )


def line_gate(trace: Trace, activity: Activity, receiver: Family, supply: float = 5.0) -> str | None:
    """The first reason of all gates of a logic line, from the plainest cause to the subtlest."""
    return (
        clipped_gate(activity.levels)
        or setup_gate(trace, activity.levels, receiver, supply)
        or sampling_gate(trace, activity)
    )
