"""A deadline: one total time for a whole message, however many reads it takes.

It must not decide what happens when it has passed; whoever reads or writes does.
"""

from __future__ import annotations

from autobench.clock import Clock


class Deadline:
    """`seconds` from now on, by `clock`."""

    def __init__(self, clock: Clock, seconds: float) -> None:
        self.seconds = seconds
        self._clock = clock
        self._end = clock.now() + seconds

    def left(self) -> float:
        """Seconds left, never less than zero."""
        return max(0.0, self._end - self._clock.now())
