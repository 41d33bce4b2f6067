"""What a specimen's condition means for its supply current and its start-up: worked out once, before the board is
built.

A part without its clock idles, a CPU that cannot run leaves the memory alone, outputs that fight draw more, and
software that never gets through never brings the board to its full current. It breaks nothing itself.
"""

from __future__ import annotations

from simulated_instruments.board.activity import Activity
from simulated_instruments.board.assembly import Assembly
from simulated_instruments.board.levels import LOWER_OHMS, fight_amps
from simulated_instruments.board.net_faults import LOWS

NEVER = float("inf")  # s
VIDEO_KINDS = ("video", "video controller")
MEMORY_KINDS = ("dram", "ram")


def settle(assembly: Assembly, activity: Activity) -> None:
    """Bring times and part states of `assembly` in line with its condition."""
    condition, clocks, signals = assembly.condition, activity.clocks, activity.signals
    if condition.master_dead:
        assembly.oscillator = NEVER
    if condition.reset_stuck:
        assembly.reset = NEVER
    if condition.cpu_dead or condition.clockless or not clocks.runs(signals.cpu_clock):
        assembly.processor = NEVER
    if not clocks.runs(signals.video.clock):
        for name in named(assembly, VIDEO_KINDS):
            states = assembly.states[name]
            states["run"] = states.get("no clock", states.get("run", 1.0))
    stopped = condition.reset_loop or any(condition.held.get(net) in LOWS for net in ("BUSRQ", "WAIT", "RDY"))
    if not activity.programs.field_states() or not activity.programs.healthy or stopped:
        assembly.software = NEVER
    if not activity.programs.healthy and assembly.processor != NEVER:
        other_program(assembly, activity)


def other_program(assembly: Assembly, activity: Activity) -> None:
    """The CPU executes something else than its firmware: memory works as hard as that makes it, and outputs may
    fight."""
    share = activity.memory_share()
    for name in named(assembly, MEMORY_KINDS):
        states = assembly.states[name]
        states["refreshed"] = min(states.get("active", 1.0), max(share, states.get("refreshed", 0.0)))
    fights = activity.fight_share() * fight_amps(sum(LOWER_OHMS) / 2.0)
    for name in named(assembly, ("data buffer",)):
        assembly.states[name]["run"] = 1.0 + fights / assembly.amps[name]


def named(assembly: Assembly, kinds: tuple[str, ...]) -> list[str]:
    """The drawing parts of `kinds`."""
    return [name for name in assembly.amps if assembly.circuit.drawer(name).kind in kinds]
