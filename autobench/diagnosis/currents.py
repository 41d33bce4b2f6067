"""What a board draws from a rail by the state of its parts, as a share of what it draws when healthy.

Shares by state are common practice for NMOS and TTL boards; the figures are rough and treated as such.
"""

from __future__ import annotations

from autobench.diagnosis import cpu
from autobench.diagnosis.board_model import Rail
from autobench.diagnosis.parts import Part
from autobench.diagnosis.simulation import MOVING, Settled

LARGE = frozenset({"video", "video controller", "gate array"})
LARGE_UNCLOCKED = 0.7
LOGIC_UNCLOCKED = 0.9
CPU_IDLE = 0.85
RAM_REFRESHED = 0.75  # another part reads or refreshes it
RAM_STANDBY = 0.2
SHORTED_BEHIND = 1.4  # a shorted rail behind a regulator or converter that limits
MADE_LOW, MADE_HIGH = 0.75, 1.6
CONVERTED = 1.08
RAM_ASTRAY = 0.88  # a program that went astray works the memory as much, or hardly at all
RAM_LOOPED = 0.9  # refreshed and written, but not read by a program


def share_of(settled: Settled, part: Part) -> float:
    """Share of its healthy amps that `part` draws."""
    if part.name not in settled.powered:
        return 0.0
    if part.name in settled.effect.dead:
        return settled.effect.dead_draw
    if part.kind == "cpu":
        return 1.0 if settled.state in cpu.FETCHING else CPU_IDLE
    if part.kind == "ram":
        return ram_share(settled)
    clocked = part.clock or (part.inputs[0] if part.kind in ("divider", "gate array") and part.inputs else None)
    if clocked and settled.seen(part.name, clocked) not in MOVING:
        return LARGE_UNCLOCKED if part.kind in LARGE else LOGIC_UNCLOCKED
    return 1.0


def ram_share(settled: Settled) -> float:
    """Memory draws by how often it is worked."""
    if settled.state in (cpu.RUNNING, cpu.ASTRAY, cpu.UNINTERRUPTED):
        return 1.0
    if settled.state == cpu.CRASHED:
        return RAM_ASTRAY
    if settled.state in cpu.FETCHING:
        return RAM_LOOPED
    architecture = settled.board.architecture
    shared = architecture.get("video ram shared") == "yes" or architecture.get("refresh source") in ("video", "counter")
    video = any(
        part.kind in ("video", "video controller")
        and part.name not in settled.effect.dead
        and settled.seen(part.name, part.clock) in MOVING
        for part in settled.board.parts.values()
    )
    return RAM_REFRESHED if shared and video else RAM_STANDBY


def weights(settled: Settled, rail: Rail) -> dict[str, float]:
    """What an amp on each rail is on `rail`: one for one through a regulator, by power through a converter."""
    made = {name: settled.board.rails[name] for name in settled.board.made_from(rail.name)}
    return {rail.name: 1.0} | {name: max(abs(one.nominal / rail.nominal), 1.0) for name, one in made.items()}


def shut_down(settled: Settled) -> bool:
    """Whether a converter gives up before the short behind it, and draws nothing for it."""
    return any(settled.board.parts[part].kind == "converter" for part in settled.effect.dead)


def current_ratio(settled: Settled, rail: Rail) -> float:
    """Amps from `rail` as a share of healthy; a rail whose parts are not known is taken as unchanged."""
    trouble = settled.effect.rail
    shares, made = weights(settled, rail), settled.board.made_from(rail.name)
    parts = [part for part in settled.board.parts.values() if part.rail in shares and part.amps > 0.0]
    whole = sum(part.amps * shares[part.rail or ""] for part in parts)
    if whole <= 0.0:
        return 1.0
    if trouble is not None and trouble.rail in settled.board.made_from(rail.name):
        if trouble.kind == "short" and not shut_down(settled):
            return SHORTED_BEHIND + settled.effect.extra
        if trouble.kind in ("low", "high"):
            return MADE_LOW if trouble.kind == "low" else MADE_HIGH
    if trouble is not None and trouble.rail == rail.name and trouble.kind == "open":
        return 0.0
    drawn = sum(part.amps * shares[part.rail or ""] * share_of(settled, part) for part in parts) / whole
    if trouble is not None and trouble.rail == rail.name and trouble.kind == "resistance":
        converts = any(part.kind == "converter" and part.rail in made for part in settled.board.parts.values())
        drawn *= CONVERTED if converts else 0.96  # lower volts, less current; a converter takes more instead
    return drawn + settled.effect.extra
