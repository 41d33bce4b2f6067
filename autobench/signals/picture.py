"""Whether a video signal carries a picture: lines that change between two sync pulses. It finds no sync itself."""

from __future__ import annotations

import math

import numpy as np

from autobench.signals.sync import Pulses, SyncLevels
from autobench.signals.trace import Trace

# The visible part of a line, as shares of the line from the leading edge of sync (16 µs to 59 µs of 64 µs).
VISIBLE_FROM, VISIBLE_TO = 0.25, 0.92
# White stands 7/3 of the sync amplitude above blanking; a change of a tenth of that is a picture.
LEAST_CHANGE = 0.1 * 7.0 / 3.0
LEAST_NOISE = 8.0
# A picture is more than a stray line: this share of those seen, and two at least.
LEAST_SHARE, LEAST_LINES = 0.01, 2
MOST_LINES = 2000


def has_picture(trace: Trace, levels: SyncLevels, pulses: Pulses, line: float) -> bool:
    """Whether enough whole lines change within their visible part by more than noise; `line` is a line in seconds.

    A border that is lit evenly is no picture, whatever its brightness.
    """
    least = max(LEAST_CHANGE * (levels.inactive - levels.tip), LEAST_NOISE * levels.noise)
    whole = np.flatnonzero(np.abs(np.diff(pulses.starts) / line - 1.0) < 0.1)
    whole = whole[:: max(1, whole.size // MOST_LINES)]
    seen = changing = 0
    for start in pulses.starts[whole].tolist():
        first = math.ceil((start - trace.start + VISIBLE_FROM * line) / trace.interval)
        last = math.floor((start - trace.start + VISIBLE_TO * line) / trace.interval)
        visible = trace.samples[first:last]
        if visible.size < 4:
            continue
        seen += 1
        change = (float(np.fmax.reduce(visible)) - float(np.fmin.reduce(visible))) * trace.step
        changing += change > least
    return changing >= max(LEAST_LINES, LEAST_SHARE * seen)
