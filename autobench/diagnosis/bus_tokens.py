"""What the round reads of several lines of a bus at once, with an effect: who drives, who fights, which two are one.

From settled nets and the effect to tokens; it knows no readings and spreads no priors.
"""

from __future__ import annotations

from collections.abc import Iterator

from autobench.diagnosis import cpu
from autobench.diagnosis.alphabets import UNSURE, Observable
from autobench.diagnosis.parts import CPU_DATA, Part
from autobench.diagnosis.simulation import MOVING, Settled
from autobench.documents.bus import Driver

# What a line at this level looks like while it should be driven.
STUCK = {
    "low": "stuck low", "high": "stuck high", "floating": "silent", "half-level": "between", "perhaps": "perhaps",
    "static": "still",
}  # fmt: skip

ANSWERING = ("rom", "data buffer")  # what answers the CPU's reads, and may fight another that does


def bus_tokens(settled: Settled) -> Iterator[tuple[Observable, str]]:
    """Every observable of several lines, with its token."""
    board, fought = settled.board, fighting(settled)
    for line in board.lines.values():
        if line.levels:
            yield Observable("stay", line.net), stay_token(settled) if line.net in fought else "clean"
    for first, second in board.neighbours:
        yield Observable("alike", f"{first} {second}"), alike_token(settled, first, second)
    for driver in board.bus_drivers:
        yield Observable("driving", f"{driver.part} {driver.line}"), driving_token(settled, driver, fought)
    if board.refresh is not None:
        yield Observable("refresh", board.refresh[0]), refresh_token(settled)


def stay_token(settled: Settled) -> str:
    """A line that outputs fight for: one that goes round in the shortest of loops may never ask two for different
    levels."""
    return "fought in a loop" if settled.state == cpu.HALTED else "fought"


def fighting(settled: Settled) -> frozenset[str]:
    """The nets on which outputs fight, now and then: those the effect says, and a bus that somebody never lets go."""
    nets = set(settled.effect.fought)
    answering = [part for part in settled.board.parts.values() if part.kind in ANSWERING]
    words = [answers(settled, part) for part in answering]
    if settled.state in cpu.FETCHING and "always" in words and sum(word != "never" for word in words) > 1:
        nets.update(CPU_DATA)
    return frozenset(nets)


def answers(settled: Settled, part: Part) -> str:
    """Whether a part answers `always`, when it is `told`, or `never`, by its select and enable."""
    if part.name not in settled.powered or part.name in settled.effect.dead:
        return "never"
    words = [settled.seen(part.name, net) for net in (part.select, part.enable) if net]
    if any(word not in MOVING and word != "low" for word in words):
        return "never"
    return "always" if words and words[0] == "low" else "told"


def alike_token(settled: Settled, first: str, second: str) -> str:
    """Two neighbours: one line, two, or two that a short loop may leave alike."""
    if first in settled.effect.joined and second in settled.effect.joined:
        return "one"
    return "apart" if settled.state in cpu.VARIED else "mostly apart"


def driving_token(settled: Settled, driver: Driver, fought: frozenset[str]) -> str:
    """What a line does while a part should drive it; `fought` are the nets on which outputs fight."""
    part, line, effect = settled.board.parts[driver.part], driver.line, settled.effect
    held = dict(effect.held).get(line)
    if held is not None:
        return alone(STUCK.get(held, UNSURE), len(effect.held) == 1)
    own = dict(effect.outputs).get((part.name, line))
    if own is not None:
        return alone(of_level(part, STUCK.get(own, UNSURE)), len(effect.outputs) == 1)
    if part.name in effect.dead or part.name not in settled.powered or (part.name, line) in effect.cut:
        at_own_leg = settled.board.lines[line].part == part.name and not effect.in_socket
        loose = (part.name, line) in effect.cut and at_own_leg and part.kind == "ram"
        single = (part.name, line) in effect.cut
        return "both" if loose else alone(of_level(part, "silent"), single)
    told = [settled.seen(part.name, net) for net in (part.select, part.enable) if net]
    if any(word == "floating" for word in told):
        return of_level(part, "silent")  # its own leg is open, and the net at the others may well move
    stopped = passed_on(settled, part, line)
    if stopped is None and part.kind in ANSWERING and line in fought:
        return "perhaps"
    return stopped or usual(settled, part)


def alone(word: str, single: bool) -> str:
    """A line that stays at a level all by itself, where the fault is one line's."""
    return f"{word} alone" if single and word in ("stuck low", "stuck high") else word


def of_level(part: Part, word: str) -> str:
    """On the bus, which is pulled up, nobody's level is a high; at the memory's own pin it is neither."""
    if word == "silent":
        return "undriven" if part.kind == "ram" else "stuck high"
    return word


def passed_on(settled: Settled, part: Part, line: str) -> str | None:
    """What a buffer makes of a source that does not move: it takes what floats for a high."""
    if part.kind != "data buffer" or line not in part.data or len(part.source) != len(part.data):
        return None
    source = part.source[part.data.index(line)]
    word = settled.seen(part.name, source)
    if word in MOVING:
        return None
    token = STUCK.get(word, UNSURE)
    return "stuck high" if token in ("silent", "between") else token


def usual(settled: Settled, part: Part) -> str:
    """What is healthy in the CPU's present state: a short loop may leave lines at one level for ever."""
    if part.kind == "ram":
        select = settled.nets.get(part.select or "", "moving")
        return "both" if select in MOVING else UNSURE
    if settled.state in cpu.VARIED:
        return "both"
    if settled.state == cpu.ONES and part.kind == "rom":
        return "stuck high"
    return "in a loop"


def refresh_token(settled: Settled) -> str:
    """Whether rows are refreshed, and by whom."""
    board = settled.board
    assert board.refresh is not None
    strobe, tells = board.refresh
    if settled.nets.get(strobe, "moving") not in MOVING:
        return "none"
    if board.architecture.get("refresh source") == "cpu":
        listeners = [part for part in board.parts.values() if strobe in part.drives]
        heard = all(settled.seen(part.name, tells) in MOVING for part in listeners if tells in part.listens)
        if settled.state in cpu.FETCHING and heard:
            return "ok"
        return UNSURE if video_reads(settled) else "none"  # a video that reads the memory strobes rows as well
    return "ok" if video_reads(settled) else UNSURE


def video_reads(settled: Settled) -> bool:
    """Whether a video part that shares the memory is alive."""
    parts = [part for part in settled.board.parts.values() if part.kind in ("video", "video controller")]
    return any(
        part.name not in settled.effect.dead and part.name in settled.powered
        and settled.seen(part.name, part.clock) in MOVING
        for part in parts
    )  # fmt: skip
