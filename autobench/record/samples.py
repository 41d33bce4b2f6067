"""Traces in the record: which ones are kept, how their samples are packed, and how they come back as they were.

The rule that keeps a record small: the start capture (rails and reset from before power-on) and the video output are
always kept; of everything else the traces at a reading's net and point are kept when that reading is anything but
`within`. What is not kept leaves no row and no event behind. Samples are packed without loss and carry the SHA-256 of
what they were, so that a damaged one is noticed. Nothing here opens a database or looks at a waveform.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from autobench.errors import RecordError
from autobench.events import TraceTaken
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict

if TYPE_CHECKING:
    from autobench.signals.trace import Trace

# The quantity that only the video output is read for.
VIDEO_OUTPUT = "sync amplitude"
# Measured on simulated boards: a third of the size in 5 ms a trace; harder packing saves a quarter in six times that.
EFFORT = 1
SIZES = {"uint8": 1, "float32": 4, "float64": 8}  # bytes of one sample


@dataclass(frozen=True)
class KeptTrace:
    """A trace as the record has it: where and how it was taken (`number` is that of its event), and the waveform."""

    run: str
    number: int
    at: float
    sight: str
    net: str
    point: str
    trace: Trace


class Untold:
    """Traces of a run that no reading has asked for yet; a new capture of the same points replaces the old one."""

    def __init__(self) -> None:
        self._held: dict[tuple[str, str, str], TraceTaken] = {}

    def hold(self, taken: TraceTaken) -> None:
        """Keep `taken` at hand until a reading speaks for it, or the run ends."""
        self._held[taken.sight, taken.net, taken.point] = taken

    def asked_for(self, reading: Reading) -> list[TraceTaken]:
        """What `reading` makes worth keeping, oldest first; each is given out once."""
        if not worth_keeping(reading):
            return []
        found = [key for key, taken in self._held.items() if (taken.net, taken.point) == (reading.net, reading.point)]
        return [self._held.pop(key) for key in found]


def worth_keeping(reading: Reading) -> bool:
    """Whether the traces behind a reading are kept."""
    return reading.verdict is not Verdict.WITHIN or reading.quantity == VIDEO_OUTPUT


def trace_row(taken: TraceTaken) -> dict[str, Any]:
    """The columns of a trace, but for run and number."""
    low, high = taken.clipped if taken.clipped is not None else (None, None)
    return {
        "at": taken.at,
        "sight": taken.sight,
        "net": taken.net,
        "point": taken.point,
        "interval": taken.interval,
        "start": taken.start,
        "step": taken.step,
        "reference": taken.reference,
        "offset": taken.offset,
        "clipped_low": low,
        "clipped_high": high,
        "peak_detect": taken.peak_detect,
        "dtype": taken.dtype,
        "count": len(taken.samples) // SIZES[taken.dtype],
        "sha256": hashlib.sha256(taken.samples).hexdigest(),
        "samples": zlib.compress(taken.samples, EFFORT),
    }


def kept_trace(row: Mapping[str, Any]) -> KeptTrace:
    """The trace of a row; raises `RecordError` if its samples are not what was written."""
    import numpy as np  # late: lists of runs need no numbers

    from autobench.signals.trace import Trace

    name = f"the trace of {row['net']} in run {row['run']}"
    try:
        data = zlib.decompress(row["samples"])
    except zlib.error as error:
        raise RecordError(f"{name} is damaged in the record: {error}") from error
    if row["dtype"] not in SIZES or hashlib.sha256(data).hexdigest() != row["sha256"]:
        raise RecordError(f"{name} is damaged in the record: its samples are not those that were written")
    clipped = None if row["clipped_low"] is None else (row["clipped_low"], row["clipped_high"])
    trace = Trace(
        np.frombuffer(data, dtype=row["dtype"]),
        row["interval"],
        row["step"],
        row["reference"],
        row["offset"],
        row["start"],
        clipped,
        row["peak_detect"],
    )
    return KeptTrace(row["run"], row["number"], row["at"], row["sight"], row["net"], row["point"], trace)
