"""The rules of the trade that one observation settles: which suspects it speaks for, which it clears, in words.

Each rule quotes readings. The rules rank nothing: probabilities come from `autobench.diagnosis.ranking`; a finding is
why a technician may believe them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from autobench.diagnosis.facts import ALL_OUTPUTS, Facts
from autobench.diagnosis.parts import CPU_DATA
from autobench.quantity import show

CLOCK_FAULTS = frozenset({"master-clock-dead", "divider-dead", "wrong-crystal"})
GIVEN_FAULTS = CLOCK_FAULTS | {"reset-stuck", "wait-held", "bus-request-held"}
UPSTREAM = frozenset({"cpu-dead", "rom-not-driving", "rom-bits-lost", "decoder-dead"})
PROGRAM = UPSTREAM | {"ram-dead", "ram-shorted", "ram-several", "data-line-short", "bus-contention"}

# What lies on the way to the RAM: a program may fall over it, a sync made without software never.
MEMORY_WAYS = frozenset({"ram-strobe-missing", "address-buffer-bit", "ram-marginal"})

# Volts at the load side of a strobe that does not move -> what holds it there.
STROBE_LEVELS = (
    (0.12, "a hard low: a short to 0 V, or the output stuck low"),
    (0.3, "a driven low"),
    (1.0, "low against another output: two outputs fight"),
    (1.2, "neither low nor high"),
    (1.75, "an open net seen from the load side"),
    (3.8, "a driven high"),
    (99.0, "stuck high, or an open driver with a pull-up"),
)


@dataclass(frozen=True)
class Finding:
    """One conclusion: its words, the faults it speaks for, the faults it clears."""

    words: str
    speaks_for: frozenset[str] = field(default_factory=frozenset)
    clears: frozenset[str] = field(default_factory=frozenset)


def findings(facts: Facts) -> list[Finding]:
    """Every rule that the observations allow."""
    rules = (power, clocks, reset, fixed_sync, output_stage, held_inputs, fetch_strobe, refresh_strobe, dead_cpu,
             all_ones, decoders, selects, halted, hard_low, controller_writes)  # fmt: skip
    return [finding for rule in rules for finding in rule(facts)]


def power(facts: Facts) -> Iterator[Finding]:
    """Where along the inlet the volts are lost."""
    for rail in facts.board.rails.values():
        lost = [place for place in rail.places if facts.category("rail", f"{rail.name} {place.name}") == "zero"]
        there = [place for place in rail.places if facts.category("rail", f"{rail.name} {place.name}") == "ok"]
        if lost and there:
            words = f"{rail.name} is there at {there[-1].point} and gone at {lost[0].point}: it is open between"
            yield Finding(words, frozenset({"inlet-open"}), frozenset({"decoupler-short", "chip-supply-short"}))


def clocks(facts: Facts) -> Iterator[Finding]:
    """The first clock of the tree that is missing tells the stage."""
    for clock in facts.board.clocks.values():
        if facts.category("frequency", clock.net) != "none":
            continue
        if clock.of is None:
            idle = facts.category("idle clock", clock.net)
            why = {
                "threshold": "its amplifier idles at its threshold, so the crystal does not swing",
                "rail": "its amplifier is stuck, which a missing crystal does not do",
            }.get(idle or "", "the oscillator itself stands still")
            words = f"no {clock.net} at {clock.point}: {why}"
            yield Finding(words, frozenset({"master-clock-dead"}), frozenset({"divider-dead"}))
        elif facts.category("frequency", clock.of) == "right":
            source = facts.board.clocks[clock.of].point
            words = f"{clock.of} at {source} is right and {clock.net} at {clock.point} stands still: lost in between"
            yield Finding(words, frozenset({"divider-dead"}), frozenset({"master-clock-dead"}))


def reset(facts: Facts) -> Iterator[Finding]:
    """A reset that is never released explains a CPU that does nothing."""
    if facts.category("reset", facts.board.reset_net or "") == "stuck":
        words = f"{facts.board.reset_net} at {facts.board.reset_point} is never released: the CPU obeys it"
        yield Finding(words, frozenset({"reset-stuck"}), UPSTREAM)


def fixed_sync(facts: Facts) -> Iterator[Finding]:
    """Sync that needs no software must run with the CPU taken out."""
    video = facts.board.video
    if video is None or not facts.board.fixed_video:
        return
    if facts.category("line rate", "sync") == "none":
        words = (
            f"no sync on {video.line_net} at {video.line_point}, made without software here: CPU, ROM and RAM are "
            "innocent of it"
        )
        yield Finding(words, frozenset({"video-chip-dead"}), PROGRAM | MEMORY_WAYS | {"sync-output-dead"})
    elif facts.category("line rate", "sync") == "right":
        words = f"{video.line_net} at {video.line_point} runs at its rate, so the video chip and its clock are good"
        yield Finding(words, clears=frozenset({"video-chip-dead"}))


def output_stage(facts: Facts) -> Iterator[Finding]:
    """Sync before the output stage and none behind it."""
    video = facts.board.video
    if video is None or video.output_point is None:
        return
    behind = {facts.category("picture sync", "output"), facts.category("line rate", "output")}
    if facts.category("line rate", "sync") == "right" and behind & {"none", "low"}:
        words = (
            f"{video.line_net} at {video.line_point} is right and lost before {video.output_net} at "
            f"{video.output_point}: the output stage"
        )
        yield Finding(words, frozenset({"sync-output-dead"}), frozenset({"video-chip-dead", "video-controller-dead"}))


def held_inputs(facts: Facts) -> Iterator[Finding]:
    """A CPU that obeys a held input is not dead."""
    faults = {
        "WAIT": "wait-held",
        "RDY": "wait-held",
        "IRQ": "interrupt-stuck",
        "BUSRQ": "bus-request-held",
        "INT": "interrupt-stuck",
        "NMI": "interrupt-stuck",
    }
    for net, fault in faults.items():
        if facts.category("line", net) == "low":
            yield Finding(f"{facts.line(net)}: the CPU obeys it", frozenset({fault}), frozenset({"cpu-dead"}))


def fetch_strobe(facts: Facts) -> Iterator[Finding]:
    """Fetch strobe still while the refresh runs: whose refresh is it?"""
    if not facts.still("FETCH") or not facts.moves("REFRESH"):
        return
    board = facts.board
    if not board.own_refresh:
        source = board.architecture.get("refresh source", "another part")
        words = f"{facts.line('REFRESH')}, but not at the CPU's own pin, and the refresh here is made by the {source}"
        yield Finding(words + ": it says nothing about the CPU")
        return
    level = facts.levels.get("FETCH")
    hint = f" ({next(text for most, text in STROBE_LEVELS if level <= most)})" if level is not None else ""
    cpu = board.cpu
    socketed = cpu is not None and cpu.socket
    swap = f"swap the socketed {cpu.name}" if cpu is not None and socketed else "then replace the CPU"
    words = (
        f"{facts.line('FETCH')}{hint} while the CPU's own {facts.line('REFRESH')}: refresh is the second half of every "
        "fetch, so the core is fetching and clock, reset, WAIT and BUSRQ are innocent; look at the level on the leg "
        f"itself, lift the FETCH leg and look again (pulses on the free leg accuse the net, none the CPU); {swap}"
    )
    yield Finding(words, frozenset({"fetch-strobe-dead"}), GIVEN_FAULTS | {"cpu-dead"})


def refresh_strobe(facts: Facts) -> Iterator[Finding]:
    """The converse: the core fetches and its refresh does not leave it."""
    if facts.board.own_refresh and facts.moves("FETCH") and facts.still("REFRESH"):
        words = (
            f"{facts.line('FETCH')} and {facts.line('REFRESH')}: the core runs, its refresh output or net is at fault"
        )
        yield Finding(words, frozenset({"cpu-pin-dead"}), GIVEN_FAULTS | {"cpu-dead"})


def dead_cpu(facts: Facts) -> Iterator[Finding]:
    """Everything it needs is there and nothing comes."""
    board = facts.board
    outputs = [
        net
        for net in board.cpu_nets.outputs
        if facts.category("line", net) is not None and net not in ("HALT", "BUSAK")
    ]
    if not outputs or any(facts.moves(net) for net in outputs):
        return
    good = [net for net in board.cpu_nets.inputs if facts.healthy("line", net)]
    clock = board.cpu.clock if board.cpu is not None else None
    if facts.category("frequency", clock or "") != "right" or facts.category("reset", board.reset_net or "") != "ok":
        return
    given = ", ".join([clock or "clock", board.reset_net or "reset", *good])
    others = ", ".join(outputs[1:])
    words = (
        f"{facts.line(outputs[0])} and none of the CPU's {ALL_OUTPUTS} {others} moves, although {given} are good: the "
        "CPU itself does nothing"
    )
    yield Finding(words, frozenset({"cpu-dead"}), CLOCK_FAULTS | {"reset-stuck", "rom-not-driving", "decoder-dead"})


def all_ones(facts: Facts) -> Iterator[Finding]:
    """The loop on an undriven bus proves the CPU."""
    if facts.category("writes to fetches", "cpu") != "two":
        return
    nets = facts.board.cpu_nets
    write, fetch = facts.reading("line", nets.write), facts.reading("line", nets.fetch)
    ratio = (write.value or 0.0) / (fetch.value or 1.0) if write is not None and fetch is not None else 2.0
    more, part = "", "an eleventh of" if facts.board.cpu_class == "R" else "a seventh of"
    if facts.category("clocks to fetches", "cpu") == "eleven":
        more = f" and {nets.fetch} at {show(fetch.value or 0.0, 'Hz', 3) if fetch else ''} is {part} its clock"
    what = "all ones" if facts.board.cpu_class == "R" else "nothing but ones or zeros"
    words = (
        f"{nets.write} : {nets.fetch} = {ratio:.3f}{more}: the CPU executes {what}, so it is good and nothing drives "
        "its data bus"
    )
    cleared = CLOCK_FAULTS | {"cpu-dead", "reset-stuck", "video-controller-dead", "fetch-strobe-dead"}
    yield Finding(words, frozenset({"rom-not-driving", "decoder-dead"}), cleared)


def decoders(facts: Facts) -> Iterator[Finding]:
    """A decoder none of whose selects ever changes while its inputs move."""
    if not facts.moves("MEMREQ"):
        return
    board = facts.board
    for part in (part for part in board.parts.values() if part.kind == "decoder"):
        read = [out.net for out in part.outputs if facts.category("line", out.net) or facts.category("start", out.net)]
        still = [net for net in read if facts.still(net) or facts.category("start", net) == "none"]
        if len(still) < 2 or still != read:
            continue
        quoted = ", ".join(facts.line(net) for net in still)
        asked = [rom.name for rom in board.roms if rom.select in still and facts.category("line", rom.select) != "low"]
        told = f"{asked[0]} is never asked" if asked else "all that it selects is on the bus at once"
        words = f"{quoted}, although {facts.line('MEMREQ')}: {told}, {part.name} decodes nothing"
        yield Finding(words, frozenset({"decoder-dead"}), frozenset({"rom-not-driving", "rom-bits-lost"}))


def selects(facts: Facts) -> Iterator[Finding]:
    """Is the ROM that does not answer ever asked?"""
    if facts.category("writes to fetches", "cpu") != "two":
        return
    for rom in (part for part in facts.board.roms if part.select):
        select = rom.select or ""
        if facts.moves(select):
            words = f"{facts.line(select)}: {rom.name} is selected and does not answer"
            yield Finding(words, frozenset({"rom-not-driving"}), frozenset({"decoder-dead"}))
        elif facts.still(select) and not any(decoders(facts)):
            words = f"{facts.line(select)} although {facts.line('MEMREQ')}: {rom.name} is never asked"
            yield Finding(words, frozenset({"decoder-dead"}), frozenset({"rom-not-driving", "rom-bits-lost"}))


def halted(facts: Facts) -> Iterator[Finding]:
    """A CPU that waits in a halt for an interrupt nobody makes is good: chase the interrupt."""
    quarter = facts.category("clocks to fetches", "cpu") == "four"
    if not quarter or facts.category("line", "HALT") != "low" or not facts.still("INT"):
        return
    clock = facts.board.cpu.clock if facts.board.cpu is not None else None
    words = (
        f"{facts.line('HALT')} and {facts.line('FETCH')}, a quarter of {clock or 'its clock'}: the CPU is good and "
        f"waits for an interrupt that never comes ({facts.line('INT')}); chase INT to where it is made"
    )
    makers = frozenset({"video-controller-dead", "video-chip-dead"}) if not facts.synced() else frozenset[str]()
    yield Finding(words, makers, CLOCK_FAULTS | {"cpu-dead", "reset-stuck", "rom-not-driving", "decoder-dead"})


def hard_low(facts: Facts) -> Iterator[Finding]:
    """A data line lower than any output pulls it, while its neighbours move."""
    low = [net for net in CPU_DATA if facts.category("low level", net) == "hard"]
    moving = [net for net in CPU_DATA if facts.moves(net)]
    for net in low:
        if len(moving) > len(low):
            words = f"{facts.line(net)} while other data lines move: lower than an output pulls it, a short to 0 V"
            yield Finding(words, frozenset({"data-line-short"}))


def controller_writes(facts: Facts) -> Iterator[Finding]:
    """Did software reach the video controller?"""
    for controller in (part for part in facts.board.parts.values() if part.kind == "video controller" and part.select):
        select = controller.select or ""
        seen = facts.category("start", select)
        if seen == "right":
            words = f"{facts.line(select)}: CPU, ROM, decoder and the write path are good"
            silent = frozenset[str]() if facts.synced() else frozenset({"video-controller-dead"})
            yield Finding(f"{words}{'' if facts.synced() else ', ' + facts.no_sync()}", silent, UPSTREAM | CLOCK_FAULTS)
        elif seen == "none":
            words = f"{facts.line(select)}: {controller.name} was never programmed, so look upstream of it"
            yield Finding(words, UPSTREAM, frozenset({"video-controller-dead"}))
