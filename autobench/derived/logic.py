"""The logic of a derived circuit: which net of a board file plays which role, its clocks, its video, its program.

The simulator knows nets by the name of their role (`ROMCS`, `CSYNC`), a board file by whatever its designer calls them;
what joins the two are the pins. A net whose role is not known here has no signal in a derived circuit.
"""

from __future__ import annotations

import re
from typing import Any

from autobench.derived.supply import middle
from autobench.documents.board import Board
from autobench.errors import UsageError

CLASSES = ("R", "S")
SELECTS = {"rom": "ROMCS", "data buffer": "RAMCS", "ram": "RAMCS", "video controller": "CRTCCS", "port": "IOCS"}
KNOWN = re.compile(
    r"[AD][0-9]{1,2}|M[0-7]|ROMCS|RAMCS|CRTCCS|IOCS|CSYNC|HSYNC|VSYNC|PICTURE|VIDEO|RESET|RES|WAIT|BUSRQ|NMI|INT|IRQ|RDY|SO"
    r"|RAS|CAS|WE|MA[0-7]|FETCH|REFRESH|MEMREQ|IORQ|RD|WR|HALT|BUSAK|SYNC|RW|PHI1|PHI2"
)
# Shares of instructions of an ordinary program (invented, as those of the shipped circuits are).
MIXES = {
    "R": "register: 30, immediate: 8, load: 10, store: 4, branch: 4, loop: 4, call: 1, return: 1, push: 1, pop: 1, "
    "bits: 4, count: 4, block move: 4, block search: 6, jump: 2, input: 0.3, output: 0.3",
    "S": "load zero page: 12, store zero page: 10, load: 7, store: 5, load indexed: 7, load pointer: 4, "
    "store pointer: 4, immediate: 9, compare: 7, register: 11, branch: 11, branch not taken: 5, jump: 2.5, call: 2.2, "
    "return: 2.2, push: 1.5, pop: 1.5, count zero page: 2",
}
LINE_RATE, FIELD_RATE, PULSE = 15625.0, 50.08, 4.7e-6  # of a board that tells of no sync (BT.470)
BROAD, FIELD_LINES, INTERRUPT = 0.43, 3, 9e-6  # broad pulses as a share of a line; s
SHOWN = {"first": 0.2, "wide": 0.6, "top": 0.2, "tall": 0.6}  # shares of a line and of a field
MASTER = "crystal"  # the net of a master clock that no board file measures


def cpu_of(board: Board) -> tuple[str, str, str]:
    """Name, class and clock net of the CPU; raises `UsageError` where the simulator has no such CPU."""
    found = next(((name, part) for name, part in board.parts.items() if part.kind == "cpu"), None)
    if found is None:
        raise refused(board, "its board file tells of no part of kind 'cpu'")
    name, part = found
    if part.cpu_class not in CLASSES or part.clock is None:
        raise refused(board, f"the simulator has CPUs of class {' and '.join(CLASSES)} only, not {part.cpu_class}")
    return name, part.cpu_class, part.clock


def refused(board: Board, why: str) -> UsageError:
    """No circuit, and why."""
    return UsageError(f"no circuit can be derived for {board.board}: {why}; --circuit takes one you write")


def roles(board: Board) -> dict[str, str]:
    """Net of the board file to the simulator's name for it; nets without a role are left out."""
    found: dict[str, str] = {}
    _, cpu_class, _ = cpu_of(board)
    for part in board.parts.values():
        if part.select is not None and part.kind in SELECTS and not KNOWN.fullmatch(part.select):
            found.setdefault(part.select, SELECTS[part.kind])
        for net, out in part.outs.items():
            if out.how in ("picture", "composite"):
                found.setdefault(net, "PICTURE" if out.how == "picture" else "VIDEO")
        if part.kind == "data buffer":
            found |= {net: f"M{bit}" for bit, net in enumerate(part.source[:8])}
    memory = [net for part in board.parts.values() if part.kind == "ram" for net in part.bit]
    found |= {net: f"M{bit}" for bit, net in enumerate(memory[:8]) if net not in found}
    if board.reset is not None:
        found[board.reset.line] = "RES" if cpu_class == "S" else "RESET"
    if board.video is not None:
        found |= video_roles(board)
    own = {net: net for net in board.nets() if KNOWN.fullmatch(net)}
    return {**own, **found, **{clock: clock for clock in board.clocks}}


def video_roles(board: Board) -> dict[str, str]:
    """Nets of sync and output."""
    assert board.video is not None
    sync, output = board.video.sync, board.video.output
    found: dict[str, str] = {}
    if sync is not None:
        names = ("CSYNC", "CSYNC") if sync.composite else ("HSYNC", "VSYNC")
        for source, role in zip((sync.line_source, sync.field_source), names, strict=True):
            found[source.net] = role
    if output is not None:
        found[output.net] = "VIDEO"
    return found


def clock_tree(board: Board) -> tuple[str, float, dict[str, int]]:
    """Net and hertz of the master clock, and what every other clock divides it by; raises `UsageError`."""
    masters = [name for name, clock in board.clocks.items() if clock.of is None]
    if len(masters) != 1:
        raise refused(board, f"one clock must be the master of all others, not {len(masters)}")
    master = masters[0]
    divided: dict[str, int] = {}
    for name in board.clocks:
        ratio = board.master(name)[1]
        if name != master:
            if ratio.numerator != 1:
                raise refused(board, f"{name} is no whole division of {master}")
            divided[name] = ratio.denominator
    clock = cpu_of(board)[2]
    if clock not in board.clocks:
        raise refused(board, f"the CPU's clock {clock} is not under 'clocks'")
    if clock == master:
        divided[clock] = 1
        return MASTER, board.nominal(master), divided
    return master, board.nominal(master), divided


def signals_of(board: Board) -> dict[str, Any]:
    """The `signals` section."""
    _, cpu_class, cpu_clock = cpu_of(board)
    net, hertz, divided = clock_tree(board)
    found: dict[str, Any] = {
        "cpu": cpu_class,
        "master": {"net": net, "frequency": f"{hertz!r} Hz", "spread": "30 ppm"},
        "divided": {name: str(ratio) for name, ratio in divided.items()},
        "cpu clock": cpu_clock,
    }
    if board.architecture.wait_source != "none" and cpu_class == "R":
        found["waits"] = "4"
    controller = [part for part in board.parts.values() if part.kind == "video controller"]
    if controller:
        found["controller writes"] = "14 .. 18"
    video = video_clock(board, divided)
    found["video"] = timing(board, video, hertz / divided[video])
    if board.architecture.ram_type != "static":
        found["memory"] = memory_of(board)
    mix = dict(pair.split(": ") for pair in MIXES[cpu_class].split(", "))
    rest = "0 %" if cpu_class == "S" else "2 %"
    found["firmware"] = {"rest": rest, "start up": "30 ms", "mix": mix}
    return found


def memory_of(board: Board) -> dict[str, str]:
    """How the time of a dynamic RAM is shared, by who refreshes it and who else reads it (invented slots)."""
    lines = sum(1 for net in board.nets() if re.fullmatch("MA[0-7]", net)) or 7
    if board.architecture.cpu_class == "S":
        return {"lines": str(lines), "slots": "2", "video every": "1", "video at": "0", "refresh": "video"}
    own = board.architecture.refresh_source == "cpu"
    every = "8" if board.architecture.wait_source == "none" else "4"
    shared = {"lines": str(lines), "slots": "1", "video every": every, "video at": "0"}
    return {**shared, "refresh": "cpu" if own else "video"}


def video_clock(board: Board, divided: dict[str, int]) -> str:
    """The clock that video counts by: that of the part that makes the sync, if it is a divided one."""
    kinds = ("video controller", "video", "gate array")
    wanted = [part.clock for kind in kinds for part in board.parts.values() if part.kind == kind]
    return next((clock for clock in wanted if clock in divided), min(divided, key=lambda name: divided[name]))


def timing(board: Board, clock: str, hertz: float) -> dict[str, Any]:
    """One field in periods of its clock, by the rates of the board file."""
    sync = board.video.sync if board.video is not None else None
    line_rate = LINE_RATE if sync is None else middle(sync.line_rate)
    field_rate = FIELD_RATE if sync is None else middle(sync.field_rate)
    pulse = PULSE if sync is None else middle(sync.pulse)
    line, lines = max(16, round(hertz / line_rate)), round(line_rate / field_rate)
    kind = "programmable" if board.architecture.video_timing == "programmable" else "fixed"
    return {
        "timing": kind,
        "clock": clock,
        "line": str(line),
        "lines": str(lines),
        "pulse": f"{pulse * hertz:.3f}",
        "broad": f"{BROAD * line:.3f}",
        "field lines": str(FIELD_LINES),
        "interrupt": f"{interrupt_seconds(board) * hertz:.3f}",
        "picture": {
            "dots": str(max(1, round(256 / (SHOWN["wide"] * line)))),
            **{key: str(round(SHOWN[key] * (line if key in ("first", "wide") else lines))) for key in SHOWN},
        },
    }


def interrupt_seconds(board: Board) -> float:
    """How long the frame interrupt is low: a little more than the shortest pulse the board file allows for."""
    shortest = [line.shortest.value for name, line in board.lines.items() if name in ("INT", "IRQ") and line.shortest]
    return max([INTERRUPT, *(1.2 * seconds for seconds in shortest)])
