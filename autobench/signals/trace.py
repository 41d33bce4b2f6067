"""A captured waveform: samples as they came, with scaling and time base. It measures nothing and must not copy samples.

Eight-bit codes stay codes, so that ten million samples cost ten megabytes and levels come from a histogram of 256
bins; whatever else an instrument delivers is kept as floating point.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

# On the bus 9.9E37 (on some instruments 9.91E37) stands for overload; no sample beyond this is a number of volts.
OVERLOAD = 1e30

Samples = NDArray[np.uint8] | NDArray[np.float32] | NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Trace:
    """One channel of one capture.

    `samples` (one dimension, any length) are 8-bit codes or floating-point numbers; volts = (sample − reference) · step
    + offset, so volts given directly need no scaling. `interval` is the time from sample to sample and `start` the time
    of the first one, in seconds. `clipped` are the samples at or beyond which the converter was at its end (0 and 255
    for codes, unless said). With `peak_detect` the samples are the extremes of each interval in turn, lowest and
    highest, which show that something happened but not when. Raises `ValueError` for a shape or scaling that makes no
    sense; never for the content. Floating-point samples beyond ±1e30 stand for overload and become infinite.
    """

    samples: Samples
    interval: float
    step: float = 1.0
    reference: float = 0.0
    offset: float = 0.0
    start: float = 0.0
    clipped: tuple[float, float] | None = None
    peak_detect: bool = False

    def __post_init__(self) -> None:
        samples: NDArray[Any] = np.asarray(self.samples)
        if samples.ndim != 1:
            raise ValueError(f"a trace has one dimension, not {samples.ndim}")
        if samples.dtype not in (np.uint8, np.float32, np.float64):
            samples = samples.astype(np.float64)
        if not (self.interval > 0.0 and np.isfinite(self.interval)):
            raise ValueError(f"a sample interval of {self.interval} s makes no sense")
        if not (self.step > 0.0 and np.isfinite(self.step)):
            raise ValueError(f"a step of {self.step} V makes no sense")
        if samples.dtype != np.uint8 and samples.size and not np.max(np.abs(samples)) <= OVERLOAD:
            samples = np.where(np.abs(samples) > OVERLOAD, np.copysign(np.inf, samples), samples)
        kept = samples.view()
        kept.flags.writeable = False
        object.__setattr__(self, "samples", kept)
        if self.clipped is None and samples.dtype == np.uint8:
            object.__setattr__(self, "clipped", (0.0, 255.0))

    @property
    def coded(self) -> bool:
        """Whether the samples are 8-bit codes."""
        return self.samples.dtype == np.uint8

    @property
    def duration(self) -> float:
        """Seconds from the first to the last sample."""
        return max(self.samples.size - 1, 0) * self.interval

    @property
    def resolution(self) -> float:
        """Volts from one code to the next; 0 for floating-point samples, whose converter is not known."""
        return self.step if self.coded else 0.0

    @property
    def clipped_share(self) -> float:
        """Share of the samples at or beyond the converter's ends; 0 where those are not known."""
        if self.clipped is None or not self.samples.size:
            return 0.0
        low, high = self.clipped
        if self.coded:  # so that bytes are compared as bytes
            low, high = math.floor(low), math.ceil(high)
        return int(np.count_nonzero((self.samples <= low) | (self.samples >= high))) / self.samples.size

    @property
    def median(self) -> float:
        """The sample value in the middle of all, of an even number of them the mean of both; NaN without samples."""
        size = self.samples.size
        if not self.coded or not size:
            return float(np.median(self.samples)) if size else math.nan
        below = np.cumsum(np.bincount(self.samples))  # codes are counted, which is quicker than to sort them
        return float(np.searchsorted(below, [(size - 1) // 2, size // 2], side="right").mean())

    def volts(self, sample: float) -> float:
        """Volts of one sample value."""
        return (sample - self.reference) * self.step + self.offset

    def sample(self, volts: float) -> float:
        """The sample value, not rounded, that stands for `volts`."""
        return (volts - self.offset) / self.step + self.reference

    def in_volts(self) -> NDArray[np.float64]:
        """All samples in volts, as a new array."""
        return (self.samples.astype(np.float64) - self.reference) * self.step + self.offset

    def times(self, positions: NDArray[np.float64]) -> NDArray[np.float64]:
        """Seconds of positions counted in samples (fractions allowed)."""
        return self.start + positions * self.interval
