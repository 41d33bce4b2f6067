"""Bits that a CPU does not read as they were written, as masks. Values only; a list of faults needs no arithmetic."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Wrong:
    """Bits that are not what they should be, as masks; 0 everywhere: all is well.

    `low` and `high`: what the CPU sees of the data bus whoever drives it; the same for ROM and RAM alone. `open_pins`
    are bits the CPU itself neither reads nor drives: it sees a 1, while the net goes on with whoever drives it. Address
    bits: as everybody sees them, as only the ROM, and as only the decoder does. `joined` are two data bits,
    `joined_address` two address bits that touch: both are low when one is. `lost` are bits of the ROM's cells that have
    gone to 1.
    """

    low: int = 0
    high: int = 0
    open_pins: int = 0
    rom_low: int = 0
    rom_high: int = 0
    ram_low: int = 0
    ram_high: int = 0
    address_low: int = 0
    address_high: int = 0
    rom_address_high: int = 0
    decoder_high: int = 0
    joined: int = 0
    joined_address: int = 0
    lost: int = 0

    @property
    def spoils_rom(self) -> bool:
        """Whether the program itself is not read as it was written."""
        whole = (
            self.low
            | self.high
            | self.open_pins
            | self.address_low
            | self.address_high
            | self.joined
            | self.joined_address
        )
        return bool(whole | self.rom_low | self.rom_high | self.rom_address_high | self.decoder_high | self.lost)

    @property
    def spoils_ram(self) -> bool:
        """Whether memory does not give back what was written."""
        return bool(self.ram_low | self.ram_high)


NOTHING_WRONG = Wrong()
