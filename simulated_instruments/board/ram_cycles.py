"""What the RAM is asked for, slot by slot, and the exact edges that makes on its strobes, its multiplexed address and
its data outputs. It knows no volts, no program and no fault.

Positions are clocks of the CPU from the start of a stream of bus cycles. In a slot the row comes first and RAS falls,
then the address changes over to the column and CAS falls (data sheets of the 16K and 64K parts, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from simulated_instruments.board.bus import Edges
from simulated_instruments.board.levels import HIGH, LOW, UNDRIVEN
from simulated_instruments.board.machine_cycles import Span, Whole, ascending, from_low_spans
from simulated_instruments.board.program import Stream
from simulated_instruments.board.signals import RamPlan
from simulated_instruments.board.waveform import Array

READ, WRITE, REFRESH, VIDEO, IDLE = range(5)
STROBES = ("RAS", "CAS", "WE")
WITH_COLUMN = (READ, WRITE, VIDEO)
DRIVING = (READ, VIDEO)
# Shares of a slot: RAS falls, the address changes over, CAS falls, both rise; WE is low as long as both.
RAS_FALLS, TURNS, CAS_FALLS, RISES = 0.08, 0.22, 0.36, 0.70
MOVED = 5  # slots by which an access of the video can be put off at most
# What the video reads: addresses that go through all of a row's and a column's bits, as a screen's do.
ROW_STEP, COLUMN_STEP = 37, 11


@dataclass(frozen=True)
class RamSlots:
    """Accesses of the RAM in order of time; arrays have one element an access.

    `at` is where its slot begins, `kinds` as above; `values` what is on the data outputs in a read; `delay` the factor
    by which this specimen's strobe gates are slower than drawn.
    """

    plan: RamPlan
    at: Array
    kinds: Whole
    rows: Whole
    columns: Whole
    values: Whole
    period: float
    delay: float = 1.0

    def strobe(self, name: str) -> Edges:
        """Edges of RAS (always), CAS (only for accesses) or WE (only for writes)."""
        if name == "RAS":
            spans = self._spans(np.ones(self.kinds.size, dtype=bool), RAS_FALLS)
        elif name == "CAS":
            spans = self._spans(np.isin(self.kinds, WITH_COLUMN), CAS_FALLS)
        else:
            spans = self._spans(self.kinds == WRITE, RAS_FALLS)
        return from_low_spans(spans, self.period)

    def _moment(self, share: float) -> float:
        """Clocks from the beginning of a slot."""
        return share * self.plan.slot * self.delay

    def _spans(self, chosen: NDArray[np.bool_], begin: float) -> list[Span]:
        at = self.at[chosen]
        return [(at + self._moment(begin), at + self._moment(RISES))]

    def address_line(self, bit: int) -> Edges:
        """Edges of one multiplexed address line: the row, then the column, which stays until the next row."""
        edges, addresses = self._address_bus
        if not edges.size:
            return np.zeros(1), np.full(1, LOW)
        return edges, np.where(addresses >> bit & 1 == 1, HIGH, LOW)

    @cached_property
    def _address_bus(self) -> Edges:
        """Edges of all address lines and what they say after each, put in order once."""
        column = np.isin(self.kinds, WITH_COLUMN)
        edges = np.concatenate((self.at, self.at[column] + self._moment(TURNS)))
        return ascending(edges % self.period, np.concatenate((self.rows, self.columns[column])))

    def data_line(self, bit: int) -> Edges:
        """Edges of one data output: driven while CAS is low in a read, else left to itself."""
        edges, values = self._data_bus
        if not edges.size:
            return np.zeros(1), np.full(1, UNDRIVEN)
        return edges, np.where(values < 0, UNDRIVEN, np.where(values >> bit & 1 == 1, HIGH, LOW))

    @cached_property
    def _data_bus(self) -> Edges:
        """Edges of all data outputs and what they give after each, -1 for nothing, put in order once."""
        chosen = np.isin(self.kinds, DRIVING)
        at = self.at[chosen]
        edges = np.concatenate((at + self._moment(CAS_FALLS), at + self._moment(RISES)))
        return ascending(edges % self.period, np.concatenate((self.values[chosen], np.full(at.size, -1))))


@dataclass(frozen=True)
class Asked:
    """Who asks the RAM for anything: which of the CPU's memory accesses (a mask), whether it is written, whether the
    CPU's refreshes come through, and whether the video reads."""

    chosen: NDArray[np.bool_]
    written: bool
    refreshed: bool
    video: bool


def ram_slots(stream: Stream, seen: Whole, asked: Asked, plan: RamPlan, delay: float) -> RamSlots:
    """The accesses a stream of bus cycles makes, with those of the video between; `seen` are the stream's addresses as
    they stand on the bus."""
    mask = (1 << plan.lines) - 1
    writes = stream.writes[asked.chosen]
    kinds = np.where(writes & asked.written, WRITE, np.where(writes, IDLE, READ))
    parts = [(stream.slots[asked.chosen], kinds, seen[asked.chosen], stream.values[asked.chosen])]
    if plan.every_phase:
        left = ~asked.chosen
        parts.append((stream.slots[left], np.full(int(left.sum()), IDLE), seen[left], stream.values[left]))
    if plan.refresh == "cpu" and asked.refreshed:
        at, rows = stream.refresh_slots
        parts.append((at, np.full(at.size, REFRESH), rows, rows))
    if asked.video:
        at = video_slots(stream.period, np.concatenate([each[0] for each in parts]), plan)
        number = np.arange(at.size)
        words = number * ROW_STEP % 256 & mask | (number * COLUMN_STEP % 256 & mask) << plan.lines
        shown = np.random.default_rng(at.size).integers(0, 256, at.size)
        parts.append((at, np.full(at.size, VIDEO), words, shown))
    at, kinds, words, values = (np.concatenate([each[number] for each in parts]) for number in range(4))
    order = np.argsort(at, kind="stable")
    at, kinds, words, values = at[order], kinds[order], words[order], values[order]
    return RamSlots(plan, at, kinds, words & mask, words >> plan.lines & mask, values, stream.period, delay)


def video_slots(period: float, taken: Array, plan: RamPlan) -> Array:
    """Where the video reads: evenly, and where the CPU has the slot, in the next one that is free."""
    wanted = np.arange(plan.at, period - MOVED, plan.every) if period > 2 * MOVED else np.empty(0)
    if plan.every_phase:
        return wanted.astype(np.float64)  # a phase of its own
    busy = np.zeros(int(period) + MOVED + 2, dtype=bool)
    busy[np.floor(taken).astype(np.int64) % busy.size] = True
    busy[np.floor(taken + 0.99).astype(np.int64) % busy.size] = True
    places = wanted.astype(np.int64)
    for _ in range(MOVED - 1):
        places = places + busy[places]
    return places[~busy[places]].astype(np.float64)
