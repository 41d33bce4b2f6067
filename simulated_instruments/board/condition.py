"""What is broken in one specimen's logic. Faults fill it in before the board is built; it decides nothing itself."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from simulated_instruments.board.wrong import NOTHING_WRONG, Wrong

# What a dead output does; the first three are codes of `levels`.
STUCK_LOW, STUCK_HIGH, OPEN_OUTPUT = 0, 1, 2


@dataclass
class Condition:
    """The logic of one specimen. As it stands here, all is well.

    `clock_code` is what a dead master clock's net shows; `master_factor` is the crystal's frequency against the drawn
    one; `branches` are factors on divided clocks by net (0 dead, 0.5 halved); `clock_volts` the high level of a weak
    CPU clock; `fetch_volts` is the level of a dead fetch strobe; `decoder` is `none` or `all` selects; `sync_code` what
    a dead video chip or controller leaves on its nets; `output_volts` the flat level of a dead output stage.

    `held` are nets that nothing can move, by the code of `levels` they stay at; `cut` legs (part, net) that touch
    nothing, True where the break lies in a socket, so that a probe at the leg still touches the board's side. `wrong`
    are bits that the CPU does not read as they were written. `ram_silent`: memory never answers (`ram_unbiased`: since
    it has not all its rails); `ram_scrambled`: it answers from other cells; `rom_always`: the ROM answers reads of
    memory too; `unwritten`: the video controller is never written to. `clockless` and `unreset`: the CPU alone gets no
    clock, or no reset. `uninterrupted`: no frame interrupt arrives; `stormed`: it never ends. `reset_loop` are the
    seconds of the low and of the high part of a reset that comes again and again. `seen` is what the output stage sees
    instead of a net. `harmed`: RAM bits lost when a bias rail was missing.
    """

    master_dead: bool = False
    clock_code: int = STUCK_LOW
    master_factor: float = 1.0
    branches: dict[str, float] = field(default_factory=dict)
    branch_code: int = STUCK_LOW
    clock_volts: float | None = None
    reset_stuck: bool = False
    reset_loop: tuple[float, float] | None = None
    cpu_dead: bool = False
    clockless: bool = False
    unreset: bool = False
    fetch_volts: float | None = None
    rom_dead: bool = False
    rom_always: bool = False
    buffer_always_on: bool = False
    decoder: str = ""
    wrong: Wrong = NOTHING_WRONG
    ram_silent: bool = False
    ram_unbiased: bool = False
    ram_scrambled: bool = False
    unwritten: bool = False
    uninterrupted: bool = False
    stormed: bool = False
    video_dead: bool = False
    sync_code: int = STUCK_LOW
    picture_code: int | None = None
    output_volts: float | None = None
    bulk_open: bool = False
    held: dict[str, int] = field(default_factory=dict)
    cut: dict[tuple[str, str], bool] = field(default_factory=dict)
    seen: dict[str, int] = field(default_factory=dict)
    ripple_rails: dict[str, float] = field(default_factory=dict)

    def branch(self, net: str) -> float:
        """Factor on the divided clock `net`."""
        return self.branches.get(net, 1.0)

    def spoil(self, **masks: int) -> None:
        """Add bits to the masks of `wrong`."""
        self.wrong = replace(self.wrong, **{name: getattr(self.wrong, name) | mask for name, mask in masks.items()})

    @property
    def ram_bad(self) -> bool:
        """Whether memory does not give back what was written, while the program itself is read well."""
        return self.wrong.spoils_ram or self.ram_silent or self.ram_scrambled or self.rom_always
