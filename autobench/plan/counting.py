"""Where a counter of the bench counts, and for how long: preferred to a scope for what is a rate. Pure.

A scope's time base is known to some tens of parts in a million, a counter's to about one. What pulses in bursts, or is
compared with another line, stays with the scope: state, level and rate are then of the same moment.
"""

from __future__ import annotations

from collections.abc import Mapping

from autobench.documents.bench import Bench
from autobench.documents.board import Board
from autobench.documents.driver import Driver
from autobench.documents.driver_counts import Counts
from autobench.plan.scope_steps import CountedPoint
from autobench.quantity import Span
from autobench.signals.families import family

# s; the first for a clock, the second where parts in a million count (common practice is longer still, but a live board
# is looked at twice a second)
GATES = (0.1, 0.4)
ENOUGH = 0.1  # of the limits' half-width; more than that the gate must not leave open


class Counting:
    """The counter of one bench, where there is one, on one board."""

    def __init__(self, bench: Bench, board: Board, drivers: Mapping[str, Driver]) -> None:
        self.bench = bench
        self.board = board
        self.name = next((name for name, driver in drivers.items() if driver.kind == "counter"), None)
        self.counts: Counts | None = drivers[self.name].counts if self.name is not None else None

    def at(self, net: str, point: str, logic: str, nominal: float, limits: Span) -> CountedPoint | None:
        """The way of a counter to `point`, where about `nominal` Hz of the family `logic` are expected; None where it
        does not get there, or does not count so fast or so slow."""
        counts = self.counts
        if counts is None or not counts.rates.holds(nominal):
            return None
        for channel in counts.channels:
            relay = self.bench.channel(self.board.board, point, f"{self.name} {channel}")
            if relay is not None:
                receiver = family(logic)
                level = (receiver.low_in + receiver.high_in) / 2.0
                gate = gate_for(counts, nominal, limits)
                return CountedPoint(net, point, self.name or "", channel, relay, level, gate)
        return None


def gate_for(counts: Counts, nominal: float, limits: Span) -> float:
    """The shortest gate that leaves open no more than a tenth of what the limits allow, s."""
    ends = [abs(end - nominal) for end in (limits.low, limits.high) if end is not None]
    allowed = min(ends, default=nominal)
    within = [gate for gate in GATES if counts.gates.holds(gate)]
    fine = [gate for gate in within if left_open(counts, nominal, gate) <= ENOUGH * allowed]
    return next(iter(fine), max(within, default=counts.gates.high or GATES[0]))


def left_open(counts: Counts, nominal: float, gate: float) -> float:
    """How far a rate can be off for the gate alone, Hz."""
    if counts.trust.resolution is None:
        return 1.0 / gate
    return nominal * counts.trust.resolution.value / gate
