"""What a fault takes with it: a part that dies, casualties of too many volts, memory that lost its bias.

It picks by the specimen's seed and fills in the condition; it knows no reading.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulated_instruments.board.condition import OPEN_OUTPUT, STUCK_HIGH, STUCK_LOW
from simulated_instruments.board.net_faults import answer, drives, hold, outputs_of

if TYPE_CHECKING:  # a list of faults needs no arithmetic
    from simulated_instruments.board.assembly import Assembly
    from simulated_instruments.board.circuit import Part

CASUALTIES = (1, 4)  # parts that too many volts take with them
# What survives nothing: kinds in the order in which the trade tests after an over-voltage.
FRAGILE = ("dram", "data buffer", "rom", "video", "cpu")


def kill(assembly: Assembly, part: Part) -> None:
    """`part` no longer does its work, by what it is."""
    condition = assembly.condition
    kind = part.kind
    if kind == "cpu":
        condition.cpu_dead = True
    elif kind == "rom":
        condition.rom_dead = True
    elif kind == "dram":
        kill_bit(assembly, part)
    elif kind == "decoder":
        condition.decoder = "none"
    elif kind in ("video", "video controller"):
        condition.video_dead = True
    elif kind == "video output":
        condition.output_volts = 0.0
    elif kind in ("oscillator", "divider", "gate array"):
        condition.master_dead = True
    elif kind in ("gates", "mux") and drives(assembly, part):
        for net in sorted(drives(assembly, part)):
            hold(assembly, net, STUCK_HIGH)
    elif kind in ("data buffer", "gates", "mux"):
        condition.ram_silent = True
    elif kind in ("reset timer", "reset supervisor"):
        condition.reset_stuck = True
    elif kind == "shifter":
        condition.picture_code = STUCK_LOW


def kill_bit(assembly: Assembly, part: Part) -> None:
    """A memory chip whose data output stays low, stays high, or drives nothing.

    Where several bits are in one chip, one output is stuck, or none of them drives.
    """
    share = assembly.tolerance.uniform(f"dead bit {part.name}", 0.0, 1.0)
    code = STUCK_LOW if share < 0.4 else STUCK_HIGH if share < 0.65 else OPEN_OUTPUT
    nets = outputs_of(part)
    if code != OPEN_OUTPUT and len(nets) > 1:
        nets = [nets[int(assembly.tolerance.uniform(f"which bit {part.name}", 0.0, len(nets)))]]
    for net in nets:
        answer(assembly, net, code)


def kill_memory(assembly: Assembly, least: int, most: int) -> list[str]:
    """From `least` to `most` memory chips are dead; their names."""
    chips = [part for part in assembly.circuit.parts.values() if part.kind == "dram"]
    if not chips:
        return []
    generator = assembly.tolerance.generator("dead memory")
    count = min(int(generator.integers(least, most + 1)), len(chips))
    places = sorted(generator.choice(len(chips), size=count, replace=False).tolist())
    for place in places:
        kill_bit(assembly, chips[place])
    return [chips[place].name for place in places]


def wreck(assembly: Assembly, only: str | None = None) -> None:
    """Too many volts kill one to four parts, memory and buffers first; with `only`, that part alone."""
    parts = assembly.circuit.parts
    if only is not None:
        kill(assembly, parts[only])
        return
    generator = assembly.tolerance.generator("casualties")
    low, high = CASUALTIES
    for kind in FRAGILE[: int(generator.integers(low, high + 1))]:
        found = [part for part in parts.values() if part.kind == kind]
        if found:
            kill(assembly, found[int(generator.integers(len(found)))])
