"""Memory chips that lose their bit once they are warm enough, and have it again when colder. It knows no bench.

What such a chip draws does not change; the program finds its memory well, or spoilt from its start.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from dataclasses import replace

from simulated_instruments.board.activity import Activity
from simulated_instruments.board.assembly import Assembly
from simulated_instruments.board.secondary import kill_bit


class WarmChips:
    """The chips of one specimen that fail warm, and its logic with those that do just now."""

    def __init__(self, assembly: Assembly) -> None:
        self._assembly = assembly
        self._failing = frozenset[str]()
        self._sound: Activity | None = None

    def activity(self, now: Activity, degrees: Callable[[str], float]) -> Activity:
        """The logic of the board with its parts at `degrees` above cold; `now` is the one it has had so far."""
        thresholds = self._assembly.fails_warm
        failing = frozenset(part for part, from_ in thresholds.items() if degrees(part) >= from_)
        if failing == self._failing:
            return now
        if not self._failing:
            self._sound = now
        self._failing = failing
        if not failing and self._sound is not None:
            return self._sound
        spoilt = replace(self._assembly, condition=deepcopy(self._assembly.condition))
        for part in sorted(failing):
            kill_bit(spoilt, spoilt.circuit.parts[part])
        return Activity(spoilt)
