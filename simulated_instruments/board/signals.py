"""What a circuit's logic is, as data: clocks, waits, video, reset, firmware. It reads no file and makes no waveform."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

FIXED, PROGRAMMABLE = "fixed", "programmable"


@dataclass(frozen=True)
class VideoTiming:
    """One field, counted in periods of the net `clock`.

    `kind` is `fixed` or `programmable`; `line`, `pulse`, `broad`, `interrupt` are lengths, `lines` the lines of a
    field, `field_lines` those of the field sync; `dots` picture elements a period of `clock`, `first` and `wide` the
    picture's left edge and width, `top` and `tall` its first line and height.
    """

    kind: str
    clock: str
    line: int
    lines: int
    pulse: float
    broad: float
    field_lines: int
    interrupt: float
    dots: int
    first: int
    wide: int
    top: int
    tall: int

    @property
    def field(self) -> int:
        """Periods of `clock` in a field."""
        return self.line * self.lines


@dataclass(frozen=True)
class RamPlan:
    """How the RAM's time is shared, in clocks of the CPU.

    `lines` are its multiplexed address lines, `slot` the length of one access; the video reads once in `every` clocks,
    beginning `at`; `refresh` says who refreshes, `cpu` or `video`; with `every_phase` RAS comes in each phase of a
    clock, whether or not the CPU means the RAM.
    """

    lines: int
    slot: float
    every: int
    at: int
    refresh: str
    every_phase: bool


@dataclass(frozen=True)
class Signals:
    """The logic of one board type.

    `master` (Hz) is the crystal's frequency on net `master_net`, right within `spread` (1 σ, relative); `divided`
    gives the ratio by which each clock net falls behind it; `cpu_clock` is one of those nets. `aligned` is the number
    of CPU clocks every access is aligned to by waits (0: none). `registers` is the span of writes that program the
    controller; `mix` the shares of work in the firmware, `rest` the share of a field it waits in, `boot` (s) how long
    it starts up; `cpu` is the class of the CPU; `ram` how the RAM is worked, None where nothing is known of it.
    """

    master: float
    master_net: str
    spread: float
    divided: Mapping[str, int]
    cpu_clock: str
    aligned: int
    registers: tuple[int, int]
    video: VideoTiming
    mix: Mapping[str, float]
    rest: float
    boot: float
    cpu: str = "R"
    ram: RamPlan | None = None

    @property
    def reset(self) -> str:
        """The net that holds the CPU in reset, by the name its class gives the pin."""
        return "RES" if self.cpu == "S" else "RESET"

    @property
    def interrupted_by(self) -> str:
        """The net of the frame interrupt, by the name the CPU's class gives the pin."""
        return "IRQ" if self.cpu == "S" else "INT"

    def ratio(self, net: str) -> int:
        """How many master clocks make one of `net`."""
        return 1 if net == self.master_net else self.divided[net]
