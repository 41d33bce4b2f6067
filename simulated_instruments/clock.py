"""The simulated clock: time moves only when somebody sleeps on it. It must not look at real time.

Shared by the runner and every simulated device, so a ten-minute soak takes milliseconds and two runs with the same
seed read the same times to the last digit.
"""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta

# The calendar of a simulated bench begins here, so that a record of a simulated run is the same on every machine.
EPOCH = datetime(2000, 1, 1, tzinfo=UTC)


class SimulatedClock:
    """Keeps the `autobench.clock.Clock` protocol; safe to share between threads."""

    def __init__(self, start: float = 0.0) -> None:
        self._now = start
        self._lock = threading.Lock()

    def now(self) -> float:
        return self._now  # one reference, read whole: the lock is for those who move it

    def sleep(self, seconds: float) -> None:
        if seconds > 0:
            with self._lock:
                self._now += seconds

    def wall(self) -> datetime:
        return EPOCH + timedelta(seconds=self.now())
