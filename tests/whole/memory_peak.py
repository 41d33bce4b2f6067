"""The most memory this process really holds while something is done, in megabytes: for what says memory is bounded.

The kernel's own mark of the most (`VmHWM`) is set back first (proc(5), `clear_refs`): whatever ran before in the same
process, and needed more, hides nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

STATUS, MARK = Path("/proc/self/status"), Path("/proc/self/clear_refs")


@dataclass
class Peak:
    """`megabytes` beyond what was held at the beginning; known at the end."""

    megabytes: float = 0.0


@contextmanager
def memory_peak() -> Iterator[Peak]:
    """Measure what is inside."""
    peak = Peak()
    MARK.write_text("5", encoding="ascii")
    before = held("VmRSS")
    yield peak
    peak.megabytes = max(0.0, held("VmHWM") - before)


def held(what: str) -> float:
    """Megabytes as the kernel tells them."""
    line = next(line for line in STATUS.read_text(encoding="ascii").splitlines() if line.startswith(what))
    return float(line.split()[1]) / 1024.0
