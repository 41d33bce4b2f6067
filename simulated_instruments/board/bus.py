"""What drives each line of the buses at each time: selects from addresses, data from whoever is enabled. It makes no
volts.

Edges are clocks of a stream of bus cycles; codes are those of `levels`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulated_instruments.board.firmware import CONTROLLER_PORT, PORTS
from simulated_instruments.board.firmware_class_s import CONTROLLER_PAGE, PORT_PAGE
from simulated_instruments.board.instructions import IN, OUT
from simulated_instruments.board.levels import FIGHT, HIGH, LOW, UNDRIVEN
from simulated_instruments.board.machine_cycles import Cycles, Span, Whole, from_low_spans
from simulated_instruments.board.memory import ROM_BYTES, Memory
from simulated_instruments.board.program import Stream
from simulated_instruments.board.stepped import Codes
from simulated_instruments.board.waveform import Array

Edges = tuple[Array, Codes]
SELECTS = ("ROMCS", "RAMCS", "CRTCCS", "IOCS")
# Upper four address bits of what is a port to other CPUs, for one that has none of its own.
PAGES = {"CRTCCS": CONTROLLER_PAGE, "IOCS": PORT_PAGE}


@dataclass(frozen=True)
class Enabled:
    """Who may drive the data bus, and what they hold: the ROM, the buffer from RAM, or the buffer all the time.

    `overlap`: both selects are low for every access; `rom_always`: the ROM answers reads of RAM too.
    """

    rom: bool
    ram: bool
    always: bool
    overlap: bool
    memory: Memory
    rom_always: bool = False

    def rom_bits(self, addresses: Whole, bit: int) -> Codes:
        """One bit of what the ROM holds at `addresses`."""
        found: Codes = np.frombuffer(self.memory.rom, np.uint8)[addresses % ROM_BYTES] >> bit & 1
        return found

    def ram_bits(self, addresses: Whole, bit: int) -> Codes:
        """One bit of what memory came up with at `addresses`."""
        image = np.frombuffer(self.memory.ram, np.uint8)
        found: Codes = image[self.memory.cells(addresses)] >> bit & 1
        return found


def select(stream: Stream, name: str, memory: Memory) -> Edges:
    """Edges of a select by the decoder's truth table: memory by its request and A15, A14; controller and ports by
    their number, or by their page of memory where the CPU has no ports."""
    if name in PAGES and isinstance(stream, Cycles):
        return from_low_spans(by_port(stream, name), stream.period)
    rom = memory.in_rom(stream.addresses)
    if name in PAGES:
        chosen = ~rom & (memory.seen(stream.addresses) >> 12 == PAGES[name])
        return from_low_spans(stream.memory_spans(chosen), stream.period)
    spans = stream.memory_spans(rom if name == "ROMCS" else ~rom)
    refreshes, high = stream.refresh_spans()
    if refreshes and bool(memory.in_rom(np.array([high << 8]))[0]) == (name == "ROMCS"):
        spans += refreshes
    return from_low_spans(spans, stream.period)


def by_port(stream: Cycles, name: str) -> list[Span]:
    """When the controller is written to, or any of the other ports is read or written."""
    if name == "CRTCCS":
        return stream.port_spans(stream.of(OUT) & ((stream.addresses & 0xFF) == CONTROLLER_PORT))
    return stream.port_spans(stream.of(IN, OUT) & np.isin(stream.addresses & 0xFF, PORTS))


def data_line(stream: Stream, bit: int, enabled: Enabled) -> Edges:
    """Edges of one data line at the CPU: whoever reads or writes drives it, and between times nobody does."""
    idle = HIGH if enabled.always else UNDRIVEN
    edges, order = stream.data_edges
    codes = driven_codes(stream, bit, enabled)
    return edges, np.concatenate((codes, np.full(codes.size, idle)))[order]


def driven_codes(stream: Stream, bit: int, enabled: Enabled) -> Codes:
    """The code of the line while each cycle has its data on the bus."""
    unconnected = bool(enabled.memory.wrong.open_pins >> bit & 1)
    own = on_the_net(stream, bit, enabled) if unconnected else (stream.values >> bit) & 1
    in_rom = enabled.memory.in_rom(stream.addresses)
    rom, ram = in_rom & stream.reads, ~in_rom & stream.reads
    codes = np.where(own == 1, HIGH, LOW)
    if enabled.overlap:
        one, other = enabled.rom_bits(stream.addresses, bit), enabled.ram_bits(stream.addresses, bit)
        both = np.where(one != other, FIGHT, np.where(one == 1, HIGH, LOW))
        return np.where(rom | ram, both, codes)
    if enabled.always:
        # The buffer passes on RAM data lines that float high whenever RAM is not read.
        one = np.where(rom, enabled.rom_bits(stream.addresses, bit), own)
        return np.where(ram, codes, np.where(one == 1, HIGH, FIGHT))
    if enabled.rom_always:
        codes = np.where(ram & (enabled.rom_bits(stream.addresses, bit) != own), FIGHT, codes)
    if enabled.memory.wrong.joined >> bit & 1:
        codes = joined_codes(stream, bit, enabled, codes, rom)
    if unconnected:
        codes = np.where(stream.writes, UNDRIVEN, codes)
    if not enabled.rom:
        codes = np.where(rom, UNDRIVEN, codes)
    if not enabled.ram:
        codes = np.where(ram, UNDRIVEN, codes)
    return np.where(stream.letting_go, UNDRIVEN, codes)


def on_the_net(stream: Stream, bit: int, enabled: Enabled) -> Codes:
    """What ROM or RAM gives at each access on a line that the CPU's own pin does not touch: a stream's values are what
    the CPU took. A cell that was written has taken the pulled-up line for a 1."""
    seen = enabled.memory.seen(stream.addresses)
    rom, ram = enabled.rom_bits(seen, bit), enabled.ram_bits(seen, bit)
    written = np.isin(seen, seen[stream.writes])
    return np.where(enabled.memory.in_rom(stream.addresses), rom, np.where(written, 1, ram))


def joined_codes(stream: Stream, bit: int, enabled: Enabled, codes: Codes, rom: NDArray[np.bool_]) -> Codes:
    """A line that touches its neighbour: they fight where what is driven onto them differs."""
    pair = enabled.memory.wrong.joined
    other = (pair & ~(1 << bit)).bit_length() - 1
    differ = ((stream.values >> bit) ^ (stream.values >> other)) & 1
    driven = enabled.rom_bits(stream.addresses, bit) != enabled.rom_bits(stream.addresses, other)
    return np.where(np.where(rom, driven, differ == 1), FIGHT, codes)


def address_line(stream: Stream, bit: int, memory: Memory) -> Edges:
    """Edges of one address line; one that touches its neighbour fights it where the two differ."""
    edges, codes = stream.address_line(bit)
    pair = memory.wrong.joined_address
    if not pair >> bit & 1:
        return edges, codes
    _, other = stream.address_line((pair & ~(1 << bit)).bit_length() - 1)  # all address lines change at once
    return edges, np.where(codes != other, FIGHT, codes)


def share(pattern: Edges, period: float, code: int) -> float:
    """The share of the time a line has `code`."""
    edges, codes = pattern
    lengths = np.diff(np.append(edges, edges[0] + period))
    return float(lengths[codes == code].sum() / period)
