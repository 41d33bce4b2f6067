"""Time as the program sees it: a clock that can be asked and slept on.

Nothing in autobench calls `time` directly, so that a run on the simulated bench moves time only by sleeping. The
simulated clock lives with the simulator; this module has the protocol it keeps, and the real one.
"""

from __future__ import annotations

import time
from datetime import UTC, datetime
from typing import Protocol


class Clock(Protocol):
    """A source of time."""

    def now(self) -> float:
        """Seconds since an arbitrary origin; never goes back."""

    def sleep(self, seconds: float) -> None:
        """Let `seconds` pass; zero or less returns at once."""

    def wall(self) -> datetime:
        """Date and time of day (UTC) to write into the record."""


class RealClock:
    """The machine's own monotonic clock."""

    def now(self) -> float:
        return time.monotonic()

    def sleep(self, seconds: float) -> None:
        if seconds > 0:
            time.sleep(seconds)

    def wall(self) -> datetime:
        return datetime.now(UTC)
