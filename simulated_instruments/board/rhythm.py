"""How a CPU's clock and the frame interrupt go together. Values only."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Rhythm:
    """Counted in clocks of the CPU.

    `hertz` is the CPU clock; `field_states` the clocks from one interrupt to the next, 0 if none comes; `phase` when
    the first comes after the first fetch, None if that depends on when the software programs the controller;
    `aligned` the clocks every access is aligned to by waits (0: none); `held` how long the interrupt line stays low.
    """

    hertz: float
    field_states: int
    phase: int | None
    aligned: int
    held: int = 0
