"""What is broken in one specimen's logic. Faults fill it in before the board is built; it decides nothing itself."""

from __future__ import annotations

from dataclasses import dataclass, field

# What a dead output does; the first three are codes of `levels`.
STUCK_LOW, STUCK_HIGH, OPEN_OUTPUT = 0, 1, 2


@dataclass
class Condition:
    """The logic of one specimen. As it stands here, all is well.

    `clock_code` is what a dead master clock's net shows; `master_factor` is the crystal's frequency against the drawn
    one; `branches` are factors on divided clocks by net (0 dead, 0.5 halved); `fetch_volts` is the level of a dead
    fetch strobe; `shorted_bit` a data line at 0 V; `decoder` is `none` or `all` selects; `sync_code` what a dead video
    chip or controller leaves on its nets; `output_volts` the flat level of a dead output stage.
    """

    master_dead: bool = False
    clock_code: int = STUCK_LOW
    master_factor: float = 1.0
    branches: dict[str, float] = field(default_factory=dict)
    branch_code: int = STUCK_LOW
    reset_stuck: bool = False
    cpu_dead: bool = False
    fetch_volts: float | None = None
    rom_dead: bool = False
    shorted_bit: int | None = None
    buffer_always_on: bool = False
    decoder: str = ""
    video_dead: bool = False
    sync_code: int = STUCK_LOW
    output_volts: float | None = None
    bulk_open: bool = False

    def branch(self, net: str) -> float:
        """Factor on the divided clock `net`."""
        return self.branches.get(net, 1.0)
