"""The CPU as a small state machine: from what it is given to its state, and from that to its lines.

The exact figures are those of its fixed T-states: executing all ones (RST 38h over and over) takes 11 clocks an
instruction with one fetch, one refresh and two writes; executing all zeros, or halted, 4 clocks (data sheet of
class R, from memory). One of class S takes 7 clocks for either, with one run of writes each; what is called halted
there is jammed. Waits stretch every rate, the ratios between strobes stay.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from autobench.diagnosis.board_model import BoardModel, Line
from autobench.diagnosis.parts import CPU_ADDRESSES, CPU_DATA
from autobench.documents.part_kinds import CPU_NETS

RUNNING, ONES, ZEROS, HALTED, CRASHED = "running", "all-ones loop", "all-zeros loop", "halted", "crashed"
ASTRAY = "astray"  # crashed, and yet to all appearance a program like any other
UNINTERRUPTED = "running without interrupts"  # the program waits for one, or goes on without
DEAD, STOPPED, HELD, WAITING, RELEASED = "dead", "no clock", "held in reset", "waiting", "bus released"

VARIED = frozenset({RUNNING, UNINTERRUPTED, ASTRAY})  # no short loop
FETCHING = frozenset({RUNNING, ONES, ZEROS, HALTED, CRASHED, ASTRAY, UNINTERRUPTED})

# Strobes per CPU clock where every figure is exact.
PER_CLOCK: Mapping[str, Mapping[str, float]] = {
    ONES: {
        "FETCH": 1 / 11,
        "REFRESH": 1 / 11,
        "MEMREQ": 4 / 11,
        "RD": 1 / 11,
        "WR": 2 / 11,
        "SYNC": 1 / 7,
        "RW": 1 / 7,
    },
    ZEROS: {"SYNC": 1 / 7, "RW": 1 / 7, "FETCH": 1 / 4, "REFRESH": 1 / 4, "MEMREQ": 1 / 2, "RD": 1 / 4, "WR": 0.0},
    HALTED: {"FETCH": 1 / 4, "REFRESH": 1 / 4, "MEMREQ": 1 / 2, "RD": 1 / 4, "WR": 0.0},
}
PHASES = ("PHI1", "PHI2")
STROBES = ("FETCH", "REFRESH", "MEMREQ", "RD", "WR", "IORQ")

# Whatever a CPU executes, these pulse: each opcode is fetched, and a refresh is half of every fetch (data sheets of the
# classes, from memory).
ALWAYS = frozenset({"FETCH", "REFRESH", "MEMREQ", "RD", "SYNC"})

# What its outputs are where nothing moves. In reset the strobes are inactive and the buses let go.
STILL: Mapping[str, Mapping[str, str]] = {
    HELD: {**dict.fromkeys(STROBES, "high"), "HALT": "high", "BUSAK": "high"},
    WAITING: {"FETCH": "low", "MEMREQ": "low", "RD": "low", "REFRESH": "high", "WR": "high", "IORQ": "high",
              "HALT": "high", "BUSAK": "high"},
    RELEASED: {"FETCH": "high", "REFRESH": "high", "HALT": "high", "BUSAK": "low",
               **dict.fromkeys(("MEMREQ", "RD", "WR", "IORQ"), "floating")},
    STOPPED: {**dict.fromkeys((*STROBES, "HALT", "BUSAK"), "static")},
    DEAD: {**dict.fromkeys((*STROBES, "HALT", "BUSAK"), "static")},
}  # fmt: skip

WRITES_TO_FETCHES: Mapping[str, str] = {
    RUNNING: "usual", UNINTERRUPTED: "mostly usual", ONES: "two", ZEROS: "zero", HALTED: "zero", CRASHED: "garbled",
    ASTRAY: "mostly usual",
}  # fmt: skip
CLOCKS_TO_FETCHES: Mapping[str, str] = {
    RUNNING: "usual", UNINTERRUPTED: "mostly usual", ONES: "eleven", ZEROS: "four", HALTED: "four", CRASHED: "garbled",
    ASTRAY: "mostly usual",
}  # fmt: skip

# ... of class S: a run of writes for each fetch, and seven clocks, whatever the bus is full of …
WRITES_TO_SYNCS: Mapping[str, str] = {
    RUNNING: "usual", UNINTERRUPTED: "usual", ONES: "two", ZEROS: "two", CRASHED: "garbled",
    ASTRAY: "mostly usual",
}  # fmt: skip
CLOCKS_TO_SYNCS: Mapping[str, str] = {
    RUNNING: "usual", UNINTERRUPTED: "usual", ONES: "eleven", ZEROS: "eleven", CRASHED: "garbled",
    ASTRAY: "mostly usual",
}  # fmt: skip

# ... where accesses may be stretched: those of a halted CPU need not be, those of the loop on ones always are.
STRETCHED: Mapping[str, str] = {
    RUNNING: "stretched", UNINTERRUPTED: "stretched", ASTRAY: "stretched", ONES: "stretched",
    ZEROS: "four or stretched", HALTED: "four or stretched", CRASHED: "garbled or stretched",
}  # fmt: skip


def state_of(seen: Mapping[str, str], powered: bool, dead: bool, fetched: str) -> str:
    """The state of a CPU.

    `seen`: level at its own legs `clock`, `reset`, WAIT, BUSRQ, NMI, INT. `fetched`: what its fetches find on the data
    bus: `program`, `ones`, `zeros` or `garbage`.
    """
    if dead or not powered:
        return DEAD
    if seen["clock"] not in ("moving", "half", "other", "weak"):
        return STOPPED
    if seen["reset"] == "low":
        return HELD
    if seen.get("BUSRQ") == "low":
        return RELEASED
    if "low" in (seen.get("WAIT"), seen.get("RDY")):
        return WAITING
    if fetched == "program":
        return CRASHED if seen["reset"] == "slow" else RUNNING
    return {"ones": ONES, "zeros": ZEROS}.get(fetched, CRASHED)


def strobe(net: str, state: str) -> str:
    """What output `net` does in `state`, seen by the parts it feeds: it moves, or its level."""
    if net in PHASES:
        return "static" if state in (DEAD, STOPPED) else "moving"
    if net in ("SYNC", "RW"):
        return sync_or_write(net, state)
    if state in STILL:
        return STILL[state].get(net, "floating")
    if net == "HALT":
        return {
            RUNNING: "halt pulses",
            UNINTERRUPTED: "halt pulses",
            HALTED: "low",
            CRASHED: "garbled halt",
            ASTRAY: "garbled halt",
        }.get(state, "high")
    if net == "BUSAK":
        return "high"
    if net in ("WR", "IORQ") and state in (ZEROS, HALTED):
        return "high"
    if net == "IORQ" and state == ONES:
        return "high"
    return "moving"


def sync_or_write(net: str, state: str) -> str:
    """SYNC and R/W of class S: held in reset or jammed it reads one place for ever, waiting it stands in a fetch."""
    if state in (DEAD, STOPPED):
        return "static"
    if net == "RW":
        return "high" if state in (HELD, WAITING, HALTED) else "moving"
    return {HELD: "static", WAITING: "high", HALTED: "low"}.get(state, "moving")


def address(net: str, state: str, cpu_class: str) -> str:
    """What an address line does in `state`; the upper ones stand low while a halted CPU refreshes inside the ROM.

    Class S never lets its address bus go, and stands at the last place of all when it is jammed.
    """
    if cpu_class == "S":
        if state in (HELD, HALTED):
            return "high"
        return "static" if state in (DEAD, STOPPED, WAITING) else "moving"
    if state in (DEAD, STOPPED, WAITING):
        return "static"
    if state in (HELD, RELEASED):
        return "floating"
    if state == HALTED and net in CPU_ADDRESSES[8:]:
        return "low"
    return "moving"


@cache
def outputs(state: str, cpu_class: str) -> Mapping[str, str]:
    """What every output of a CPU of that class does in `state`."""
    strobes = {net: strobe(net, state) for net in CPU_NETS[cpu_class].outputs}
    return {**strobes, **{net: address(net, state, cpu_class) for net in CPU_ADDRESSES}}


@cache
def legs(name: str, state: str, cpu_class: str = "R") -> Mapping[tuple[str, str], str]:
    """The same by leg, for a CPU of that name."""
    return {(name, net): level for net, level in outputs(state, cpu_class).items()}


def reading_of(board: BoardModel, line: Line, state: str, level: str) -> str:
    """The token of an output or select read at its pin, `level` being what the net does.

    A moving net is told by its rate only where that rate is known.
    """
    if level not in ("moving", "halt pulses", "garbled halt"):
        return level
    if state == RUNNING:
        if line.healthy == "moving":
            return "moving"
        return level if line.healthy == "any" else "either"
    if line.healthy == "any":
        return "any" if state == UNINTERRUPTED else level if level != "moving" else "either"
    ceiling = line.rate is None or line.rate.low is None  # no rate is too low for it
    if state == UNINTERRUPTED or (state == ASTRAY and level != "garbled halt"):
        return "moving" if ceiling else "mostly moving"
    if state == ASTRAY:
        return level
    if state == CRASHED and level != "garbled halt":
        if line.net in ALWAYS and not ceiling:
            return "either"
        word = (
            "garbled writes" if line.net in ("WR", "RW") else "garbled select" if line.side == "select" else "garbled"
        )
        return f"{word} below a ceiling" if ceiling else word
    if state == CRASHED:
        return level
    if state == HALTED and line.side == "select":
        return "idle or moving"  # it fetches from one place for ever
    share = PER_CLOCK.get(state, {}).get(line.net)
    if share is None or board.waits or board.cpu_hertz is None or line.rate is None:
        return "either"
    return "moving" if line.rate.holds(share * board.cpu_hertz) else "off-rate"


def is_cpu_net(net: str) -> bool:
    """Whether `net` is an address or data line by its name."""
    return net in CPU_ADDRESSES or net in CPU_DATA
