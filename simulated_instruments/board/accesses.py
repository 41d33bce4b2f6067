"""A stream of class S bus accesses, one a clock, and the exact edges it makes on every pin. It knows no program.

Positions are clocks from the start of the stream; each begins with φ1, and φ2 is its second half. Address, SYNC and R/W
change a little after φ1 begins, data is on the bus in φ2 (data sheet of the class, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from simulated_instruments.board.machine_cycles import Span, ascending, from_low_spans, in_order
from simulated_instruments.board.opcodes_class_s import FETCH, WRITES
from simulated_instruments.board.stepped import Codes
from simulated_instruments.board.waveform import Array

Whole = NDArray[np.int64]

STROBES = ("SYNC", "RW")
CLOCKS_OUT = ("PHI1", "PHI2")
SET_UP = 0.12  # clocks from the beginning of φ1 to a new address
ENABLED = 0.52  # φ2, through the decoder, opens whoever is read …
WRITTEN = 0.62  # … and the CPU's own data comes a little later
HELD = 0.02  # clocks for which data stays after φ2


@dataclass(frozen=True)
class Accesses:
    """Accesses one after another; arrays have one element a clock: `kinds` of `opcodes_class_s`, `addresses`, `values`
    on the data bus."""

    kinds: Whole
    addresses: Whole
    values: Whole

    @property
    def period(self) -> float:
        """Clocks of the whole stream."""
        return float(self.kinds.size)

    @property
    def starts(self) -> Array:
        """Where each access begins."""
        return np.arange(self.kinds.size, dtype=np.float64)

    @property
    def writes(self) -> NDArray[np.bool_]:
        """Which accesses write."""
        return np.isin(self.kinds, WRITES)

    @property
    def reads(self) -> NDArray[np.bool_]:
        """Which accesses read memory: all others."""
        return ~self.writes

    @property
    def letting_go(self) -> NDArray[np.bool_]:
        """Which accesses nobody answers: none."""
        return np.zeros(self.kinds.size, dtype=bool)

    @property
    def in_memory(self) -> NDArray[np.bool_]:
        """Which accesses read or write memory: all."""
        return np.ones(self.kinds.size, dtype=bool)

    @property
    def slots(self) -> Array:
        """Where memory is worked in each access: in φ2."""
        return self.starts + 0.5

    @property
    def refresh_slots(self) -> tuple[Array, Whole]:
        """Where a row is refreshed, and which: never by this class."""
        return np.empty(0), np.empty(0, dtype=np.int64)

    @property
    def rows(self) -> int:
        """Rows of RAM the CPU refreshes besides its accesses: none."""
        return 0

    def strobe(self, name: str) -> tuple[Array, Codes]:
        """Edges of an output and its level after each: SYNC is high in an opcode fetch, RW low in a write."""
        high = self.kinds == FETCH if name == "SYNC" else self.reads
        return self.per_access(high.astype(np.int64))

    def per_access(self, codes: Codes) -> tuple[Array, Codes]:
        """Edges of what holds from one access's set-up to the next one's."""
        return ascending((self.starts + SET_UP) % self.period, codes)

    def address_line(self, bit: int) -> tuple[Array, Codes]:
        """Edges of one address line."""
        return self.per_access((self.addresses >> bit) & 1)

    def enable_spans(self) -> tuple[Array, Array]:
        """From when to when each access has its data on the bus."""
        return self.starts + np.where(self.writes, WRITTEN, ENABLED), self.starts + 1.0 + HELD

    @cached_property
    def data_edges(self) -> tuple[Array, NDArray[np.intp]]:
        """Edges of the whole data bus in order, and which of the begins, then ends, of `enable_spans` each is."""
        return in_order(self.enable_spans(), self.period)

    def memory_spans(self, chosen: NDArray[np.bool_]) -> list[Span]:
        """When memory at the chosen accesses is selected: in φ2."""
        begin = self.starts[chosen]
        return [(begin + ENABLED, begin + 1.0)]

    def refresh_spans(self) -> tuple[list[Span], int]:
        """Accesses that only refresh, and the upper byte of their address: a CPU of this class has none."""
        return [], 0

    def selects(self, chosen: NDArray[np.bool_]) -> tuple[Array, Codes]:
        """Edges of a select that is low for the chosen accesses."""
        return from_low_spans(self.memory_spans(chosen), self.period)


def stream_of(accesses: Sequence[tuple[int, int, int]]) -> Accesses:
    """A stream from (kind, address, value) a clock."""
    table = np.array(accesses, dtype=np.int64).reshape(-1, 3)
    return Accesses(table[:, 0], table[:, 1], table[:, 2])


def joined(parts: Sequence[Accesses]) -> Accesses:
    """Streams one after another."""
    kinds, addresses, values = (
        np.concatenate([getattr(part, name) for part in parts]) for name in ("kinds", "addresses", "values")
    )
    return Accesses(kinds, addresses, values)
