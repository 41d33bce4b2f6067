"""A stream of class R machine cycles, and the exact edges it makes on every pin. It knows no program and no board.

Positions are T-states from the start of the stream. Timing inside a cycle (T-state boundaries and half T-states) is
that of the CPU's data sheet (from memory): an opcode fetch has its strobes low in T1 and T2 and refreshes in T3 and
T4.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from simulated_instruments.board.instructions import ACKNOWLEDGE, FETCH, IN, OUT, READ, WRITE
from simulated_instruments.board.stepped import Codes
from simulated_instruments.board.waveform import Array

Whole = NDArray[np.int64]
Span = tuple[Array, Array]  # from, to

STROBES = ("FETCH", "MEMREQ", "IORQ", "RD", "WR", "REFRESH", "HALT", "BUSAK")
# An interrupt acknowledge has two wait states of its own, which its length already counts.
OWN_WAITS = 2.0


@dataclass(frozen=True)
class Cycles:
    """Machine cycles one after another; arrays have one element a cycle.

    `kinds`, `lengths` (T-states with the internal ones), `addresses`, `values` (on the data bus), `high_halves` (what
    the refresh address has in its upper byte), `halted` (whether the CPU is halted). `aligned` is the number of
    T-states a wait pattern aligns every cycle to, or 0.
    """

    kinds: Whole
    lengths: Whole
    addresses: Whole
    values: Whole
    halted: NDArray[np.bool_]
    refresh_high: int = 0
    aligned: int = 0

    @cached_property
    def spans(self) -> Whole:
        """Length of each cycle in T-states with the waits. Aligned, T2 of every cycle falls on the same T-state."""
        if not self.aligned:
            return self.lengths
        return -(-self.lengths // self.aligned) * self.aligned

    @cached_property
    def starts(self) -> Array:
        """Where T1 of each cycle begins: without waits that is where the cycle before is over."""
        second = np.concatenate(([0], np.cumsum(self.spans)[:-1])).astype(np.float64)
        return second - self.waits if self.aligned else second

    @cached_property
    def waits(self) -> Array:
        """Wait states between T2 and T3 of each cycle; they make up what the cycle before leaves of its last slot."""
        if not self.aligned:
            return np.zeros(self.kinds.size)
        return np.roll(self.spans - self.lengths, 1).astype(np.float64)

    @cached_property
    def period(self) -> float:
        """T-states of the whole stream."""
        return float(self.spans.sum())

    @property
    def reads(self) -> NDArray[np.bool_]:
        """Which cycles read memory."""
        return self.of(FETCH, READ)

    @property
    def writes(self) -> NDArray[np.bool_]:
        """Which cycles write memory or ports."""
        return self.of(WRITE, OUT)

    @property
    def letting_go(self) -> NDArray[np.bool_]:
        """Which cycles nobody answers, so that the bus is let go: interrupt acknowledges."""
        return self.of(ACKNOWLEDGE)

    @property
    def rows(self) -> int:
        """Rows of RAM the CPU refreshes besides its accesses."""
        return int(self.of(FETCH, ACKNOWLEDGE).sum())

    @property
    def in_memory(self) -> NDArray[np.bool_]:
        """Which cycles read or write memory."""
        return self.of(FETCH, READ, WRITE)

    @cached_property
    def slots(self) -> Array:
        """Where memory is worked in each cycle: from T2 on, in a write half a T-state later, once its data is there."""
        return self.late(np.ones(self.kinds.size, dtype=bool)) + np.where(self.kinds == WRITE, 1.5, 1.0)

    @cached_property
    def refresh_slots(self) -> tuple[Array, Whole]:
        """Where a row is refreshed, and which."""
        both = self.of(FETCH, ACKNOWLEDGE)
        return self.late(both) + 2.5, (np.cumsum(both)[both] - 1) & 0x7F

    def of(self, *kinds: int) -> NDArray[np.bool_]:
        """Which cycles are of `kinds`."""
        if kinds not in self._of:
            self._of[kinds] = np.logical_or.reduce([self.kinds == kind for kind in kinds])
        return self._of[kinds]

    @cached_property
    def _of(self) -> dict[tuple[int, ...], NDArray[np.bool_]]:
        """What `of` has worked out: a stream is asked for the same kinds by every line."""
        return {}

    def late(self, chosen: NDArray[np.bool_]) -> Array:
        """Start of the chosen cycles, moved on by the wait states inside them: for what happens from T3 on."""
        own = np.where(self.kinds[chosen] == ACKNOWLEDGE, OWN_WAITS, 0.0)
        return np.asarray(self.starts[chosen] + self.waits[chosen] + own, dtype=np.float64)

    def low_spans(self, strobe: str) -> list[Span]:
        """When the output `strobe` is low."""
        fetch, ack = self.of(FETCH), self.of(ACKNOWLEDGE)
        both, memory, inputs, outputs = fetch | ack, self.of(READ, WRITE), self.of(IN), self.of(OUT)
        starts, late = self.starts, self.late
        if strobe == "FETCH":
            return [(starts[both], late(both) + 2.0)]
        if strobe == "REFRESH":
            return [(late(both) + 2.0, late(both) + 4.0)]
        if strobe == "MEMREQ":
            return [
                (starts[fetch] + 0.5, late(fetch) + 2.0),
                (late(both) + 2.5, late(both) + 3.5),
                (starts[memory] + 0.5, late(memory) + 2.5),
            ]
        if strobe == "IORQ":
            ports = inputs | outputs
            return [(starts[ports] + 1.0, late(ports) + 3.5), (late(ack) + 0.5, late(ack) + 2.0)]
        if strobe == "RD":
            return self.read_spans
        if strobe == "WR":
            return self.write_spans
        return []

    @cached_property
    def read_spans(self) -> list[Span]:
        """When RD is low: fetches, memory reads, port reads."""
        fetch, reads, inputs = self.of(FETCH), self.of(READ), self.of(IN)
        return [
            (self.starts[fetch] + 0.5, self.late(fetch) + 2.0),
            (self.starts[reads] + 0.5, self.late(reads) + 2.5),
            (self.starts[inputs] + 1.0, self.late(inputs) + 3.5),
        ]

    @cached_property
    def write_spans(self) -> list[Span]:
        """When WR is low: memory writes, port writes."""
        writes, outputs = self.of(WRITE), self.of(OUT)
        return [
            (self.starts[writes] + 1.5, self.late(writes) + 2.5),
            (self.starts[outputs] + 1.0, self.late(outputs) + 3.5),
        ]

    def enable_spans(self) -> tuple[Array, Array]:
        """From when to when each cycle has its data on the bus: while RD is low, or while the CPU writes."""
        starts, late = self.starts, self.late(np.ones(self.kinds.size, dtype=bool))
        kinds = self.kinds
        begin = np.where((kinds == IN) | (kinds == OUT), starts + 1.0, starts + 0.5)
        begin = np.where(kinds == ACKNOWLEDGE, late + 0.5, begin)
        # With T3's falling edge for memory, at its beginning for opcodes, when the CPU lets go for writes.
        ends = {FETCH: 2.0, ACKNOWLEDGE: 2.0, READ: 2.5, WRITE: 3.0, IN: 3.5, OUT: 3.5}
        return begin, late + np.array([ends[kind] for kind in range(len(ends))])[kinds]

    @cached_property
    def data_edges(self) -> tuple[Array, NDArray[np.intp]]:
        """Edges of the whole data bus in order, and which of the begins, then ends, of `enable_spans` each is."""
        return in_order(self.enable_spans(), self.period)

    def memory_spans(self, chosen: NDArray[np.bool_]) -> list[Span]:
        """When memory at the chosen cycles is selected by MEMREQ, refreshes left out."""
        fetch, data = self.of(FETCH) & chosen, self.of(READ, WRITE) & chosen
        return [
            (self.starts[fetch] + 0.5, self.late(fetch) + 2.0),
            (self.starts[data] + 0.5, self.late(data) + 2.5),
        ]

    def refresh_spans(self) -> tuple[list[Span], int]:
        """When MEMREQ is low for a refresh, and the upper byte of the address then."""
        both = self.of(FETCH, ACKNOWLEDGE)
        return [(self.late(both) + 2.5, self.late(both) + 3.5)], self.refresh_high

    def port_spans(self, chosen: NDArray[np.bool_]) -> list[Span]:
        """When the port of each of the `chosen` cycles is selected."""
        return [(self.starts[chosen] + 1.0, self.late(chosen) + 3.5)]

    def strobe(self, name: str) -> tuple[Array, Codes]:
        """Edges (T-states) of an output and its level after each (0 low, 1 high)."""
        if name == "HALT":
            return self.per_cycle((~self.halted).astype(np.int64))
        return from_low_spans(self.low_spans(name), self.period)

    def per_cycle(self, codes: Codes) -> tuple[Array, Codes]:
        """Edges of what holds from the start of each cycle to that of the next."""
        return ascending(self.starts % self.period, codes)

    def address_line(self, bit: int) -> tuple[Array, Codes]:
        """Edges of one address line: the cycle's address, then in T3 and T4 of a fetch the refresh address."""
        edges, addresses = self._address_bus
        return edges, (addresses >> bit) & 1

    @cached_property
    def _address_bus(self) -> tuple[Array, Codes]:
        """Edges of the whole address bus, and the address after each: put in order once for all lines."""
        both = self.of(FETCH, ACKNOWLEDGE)
        counts = np.cumsum(both)[both] - 1
        edges = np.concatenate((self.starts, self.late(both) + 2.0))
        addresses = np.concatenate((self.addresses, (self.refresh_high << 8) | (counts & 0x7F)))
        return ascending(edges % self.period, addresses)


def from_low_spans(spans: Sequence[Span], period: float) -> tuple[Array, Codes]:
    """Edges within `period` of a line that is low in `spans`, none of which touch, and high otherwise."""
    edges = np.concatenate([end for span in spans for end in span]) if spans else np.empty(0)
    levels = [np.full(end.size, high, dtype=np.int64) for span in spans for high, end in enumerate(span)]
    if not edges.size:
        return np.zeros(1), np.ones(1, dtype=np.int64)
    return ascending(edges % period, np.concatenate(levels))


def in_order(spans: Span, period: float) -> tuple[Array, NDArray[np.intp]]:
    """Begins and ends of spans as edges of one round in order, and which of them, begins first, each is."""
    edges = np.concatenate(spans) % period
    order = np.argsort(edges, kind="stable")
    return edges[order], order


def ascending(edges: Array, codes: Codes) -> tuple[Array, Codes]:
    """Edges with their codes in order of time."""
    order = np.argsort(edges, kind="stable")
    return edges[order], codes[order]


def loop(cycles: Sequence[tuple[int, int, int, int]], *, halted: bool = False, aligned: int = 0) -> Cycles:
    """A stream from (kind, length, address, value) a cycle."""
    table = np.array(cycles, dtype=np.int64).reshape(-1, 4)
    return Cycles(
        table[:, 0], table[:, 1], table[:, 2], table[:, 3], np.full(len(table), halted), refresh_high=0, aligned=aligned
    )


def joined(parts: Sequence[Cycles]) -> Cycles:
    """Streams one after another; refresh address and alignment are those of the first."""
    return Cycles(
        np.concatenate([part.kinds for part in parts]),
        np.concatenate([part.lengths for part in parts]),
        np.concatenate([part.addresses for part in parts]),
        np.concatenate([part.values for part in parts]),
        np.concatenate([part.halted for part in parts]),
        parts[0].refresh_high,
        parts[0].aligned,
    )
