"""What a CPU's reads give: ROM and RAM behind selects and a data bus, with whatever is wrong on the way. It executes
nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulated_instruments.board.wrong import NOTHING_WRONG, Wrong

ROM_BYTES = 0x4000
SPACE = 0x10000
Whole = NDArray[np.int64]


def pulled_together(values: Whole, pair: int) -> Whole:
    """`values` with the two bits of the mask `pair` both low where one of them is (a low wins against a high)."""
    return np.where((values & pair) == pair, values, values & ~pair) if pair else values


@dataclass(frozen=True)
class Memory:
    """ROM of 16 KiB from `rom_at` on, RAM as it came up elsewhere.

    `low` bits always read as 0, `high` bits as 1 where the ROM fights. With `overlap` ROM and RAM both answer every
    read, and a bit they differ in is low unless it is one of `high`.
    """

    rom: bytes
    ram: bytes
    low: int = 0
    high: int = 0
    overlap: bool = False
    rom_at: int = 0
    wrong: Wrong = NOTHING_WRONG

    def in_rom(self, addresses: Whole) -> NDArray[np.bool_]:
        """Which of `addresses` the decoder takes for the ROM's."""
        quarters = (self.seen(addresses) | self.wrong.decoder_high) // ROM_BYTES
        found: NDArray[np.bool_] = np.equal(quarters, self.rom_at // ROM_BYTES)
        return found

    def seen(self, addresses: Whole) -> Whole:
        """`addresses` as they are on the address bus."""
        wrong = self.wrong
        return pulled_together(addresses & ~wrong.address_low | wrong.address_high, wrong.joined_address)

    def read(self, address: int, written: Mapping[int, int]) -> int:
        """The byte the CPU sees at `address`."""
        wrong = self.wrong
        if self.overlap:
            one, other = self.rom[address % ROM_BYTES], self.ram[address % len(self.ram)]
            return self._at_cpu(one & other | (one ^ other) & self.high)
        if wrong is NOTHING_WRONG:
            if address // ROM_BYTES == self.rom_at // ROM_BYTES:
                return (self.rom[address % ROM_BYTES] | self.high) & ~self.low & 0xFF
            return written.get(address, self.ram[self._cell(address)]) & ~self.low & 0xFF
        address = address & ~wrong.address_low | wrong.address_high
        if wrong.joined_address & address != wrong.joined_address:
            address &= ~wrong.joined_address
        if (address | wrong.decoder_high) // ROM_BYTES == self.rom_at // ROM_BYTES:
            value = self.rom[(address | wrong.rom_address_high) % ROM_BYTES] | self._gone(address) | self.high
            return self._at_cpu(value & ~wrong.rom_low | wrong.rom_high)
        value = written.get(address, self.ram[self._cell(address)])
        return self._at_cpu(value & ~wrong.ram_low | wrong.ram_high)

    def _gone(self, address: int) -> int:
        """Bits lost at `address`: about every eighth cell of the ROM's has let its charge go."""
        return self.wrong.lost if (address * 0x9E3779B1 >> 7) & 7 == 0 else 0

    def _at_cpu(self, value: int) -> int:
        wrong = self.wrong
        value = (value & ~(self.low | wrong.low) | wrong.high | wrong.open_pins) & 0xFF
        return value if wrong.joined & value == wrong.joined else value & ~wrong.joined

    def cells(self, addresses: Whole) -> Whole:
        """Where `addresses` are in `ram`, which has no cells under a ROM that begins at 0."""
        return (addresses - (0 if self.rom_at else ROM_BYTES)) % len(self.ram)

    def _cell(self, address: int) -> int:
        return (address - ROM_BYTES if not self.rom_at else address) % len(self.ram)


def power_up_ram(generator: np.random.Generator) -> bytes:
    """RAM as it comes up: rows of 0s and of 1s by the cells' design, with a tenth of the bytes their own way."""
    rows = np.where((np.arange(SPACE - ROM_BYTES) >> 7) & 1, 0xFF, 0x00).astype(np.uint8)
    odd = generator.random(rows.size) < 0.10
    rows[odd] = generator.integers(0, 256, int(odd.sum()), dtype=np.uint8)
    return rows.tobytes()
