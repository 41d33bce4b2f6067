"""What drives each line of the buses at each time: selects from addresses, data from whoever is enabled. It makes no
volts.

Edges are T-states of a stream of machine cycles; codes are those of `levels`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulated_instruments.board.firmware import CONTROLLER_PORT, ROM_BYTES
from simulated_instruments.board.instructions import ACKNOWLEDGE, FETCH, IN, OUT, READ, WRITE
from simulated_instruments.board.levels import FIGHT, HIGH, LOW, UNDRIVEN
from simulated_instruments.board.machine_cycles import Cycles, Whole, ascending, from_low_spans
from simulated_instruments.board.stepped import Codes
from simulated_instruments.board.waveform import Array

Edges = tuple[Array, Codes]
SELECTS = ("ROMCS", "RAMCS", "CRTCCS")


@dataclass(frozen=True)
class Enabled:
    """Who may drive the data bus, and what they hold: the ROM, the buffer from RAM, or the buffer all the time.

    `overlap`: both selects are low for every access.
    """

    rom: bool
    ram: bool
    always: bool
    overlap: bool
    image: bytes
    ram_image: bytes


def in_rom(addresses: Whole) -> NDArray[np.bool_]:
    """A14 and A15 both low."""
    return addresses < ROM_BYTES


def select(cycles: Cycles, name: str) -> Edges:
    """Edges of a select by the decoder's truth table: memory by MEMREQ and A15, A14; the controller by IORQ, WR and
    address."""
    starts, late = cycles.starts, cycles.late
    if name == "CRTCCS":
        chosen = cycles.of(OUT) & ((cycles.addresses & 0xFF) == CONTROLLER_PORT)
        return from_low_spans([(starts[chosen] + 1.0, late(chosen) + 3.5)], cycles.period)
    rom = in_rom(cycles.addresses) if name == "ROMCS" else ~in_rom(cycles.addresses)
    refreshed = (cycles.refresh_high < ROM_BYTES >> 8) == (name == "ROMCS")
    fetch, data = cycles.of(FETCH) & rom, cycles.of(READ, WRITE) & rom
    spans = [(starts[fetch] + 0.5, late(fetch) + 2.0), (starts[data] + 0.5, late(data) + 2.5)]
    if refreshed:
        both = cycles.of(FETCH, ACKNOWLEDGE)
        spans.append((late(both) + 2.5, late(both) + 3.5))
    return from_low_spans(spans, cycles.period)


def data_line(cycles: Cycles, bit: int, enabled: Enabled) -> Edges:
    """Edges of one data line at the CPU: whoever reads or writes drives it, and between times nobody does."""
    idle = HIGH if enabled.always else UNDRIVEN
    begin, end = enable_spans(cycles)
    codes = driven_codes(cycles, bit, enabled)
    edges, after = np.concatenate((begin, end)), np.concatenate((codes, np.full(end.size, idle)))
    return ascending(edges % cycles.period, after)


def enable_spans(cycles: Cycles) -> tuple[Array, Array]:
    """From when to when each cycle has its data on the bus: while RD is low, or while the CPU writes."""
    starts, late = cycles.starts, cycles.late(np.ones(cycles.kinds.size, dtype=bool))
    kinds = cycles.kinds
    begin = np.where((kinds == IN) | (kinds == OUT), starts + 1.0, starts + 0.5)
    begin = np.where(kinds == ACKNOWLEDGE, late + 0.5, begin)
    # With T3's falling edge for memory, at its beginning for opcodes, when the CPU lets go for writes.
    ends = {FETCH: 2.0, ACKNOWLEDGE: 2.0, READ: 2.5, WRITE: 3.0, IN: 3.5, OUT: 3.5}
    after = np.array([ends[kind] for kind in range(len(ends))])
    end = late + after[kinds]
    return begin, end


def driven_codes(cycles: Cycles, bit: int, enabled: Enabled) -> Codes:
    """The code of the line while each cycle has its data on the bus."""
    own = (cycles.values >> bit) & 1
    rom = in_rom(cycles.addresses) & cycles.of(FETCH, READ)
    ram = ~in_rom(cycles.addresses) & cycles.of(FETCH, READ)
    codes = np.where(own == 1, HIGH, LOW)
    image = np.frombuffer(enabled.image, np.uint8)
    if enabled.overlap:
        one = image[cycles.addresses % ROM_BYTES] >> bit & 1
        other = np.frombuffer(enabled.ram_image, np.uint8)[cycles.addresses % len(enabled.ram_image)] >> bit & 1
        both = np.where(one != other, FIGHT, np.where(one == 1, HIGH, LOW))
        return np.where(rom | ram, both, codes)
    if enabled.always:
        # The buffer passes on RAM data lines that float high whenever RAM is not read.
        one = np.where(rom, image[cycles.addresses % ROM_BYTES] >> bit & 1, own)
        return np.where(ram, codes, np.where(one == 1, HIGH, FIGHT))
    if not enabled.rom:
        codes = np.where(rom, UNDRIVEN, codes)
    if not enabled.ram:
        codes = np.where(ram, UNDRIVEN, codes)
    return np.where(cycles.of(ACKNOWLEDGE), UNDRIVEN, codes)


def memory_line(cycles: Cycles, bit: int) -> Edges:
    """Edges of one RAM data output: driven while RAM is read, else left to itself."""
    chosen = ~in_rom(cycles.addresses) & cycles.of(FETCH, READ)
    begin, end = enable_spans(cycles)
    codes = np.where((cycles.values[chosen] >> bit) & 1 == 1, HIGH, LOW)
    edges = np.concatenate((begin[chosen], end[chosen]))
    if not edges.size:
        return np.zeros(1), np.full(1, UNDRIVEN)
    return ascending(edges % cycles.period, np.concatenate((codes, np.full(codes.size, UNDRIVEN))))


def share(pattern: Edges, period: float, code: int) -> float:
    """The share of the time a line has `code`."""
    edges, codes = pattern
    lengths = np.diff(np.append(edges, edges[0] + period))
    return float(lengths[codes == code].sum() / period)
