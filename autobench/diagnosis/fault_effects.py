"""What each fault of the catalogue does at one place of one board: a table from fault to weighted effects.

Levels of dead outputs and the ways a disturbed program ends are common practice on boards of this kind; weights are
first guesses. It spreads no priors and predicts no readings.
"""

from __future__ import annotations

from collections.abc import Mapping

from autobench.diagnosis import cpu
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.cpu_effects import cpu_dead, cpu_pin, interrupt_held
from autobench.diagnosis.effects import Effect
from autobench.diagnosis.memory_effects import (
    AFTER_START,
    AT_MEMORY,
    DEAD_LEVELS,
    Rule,
    Spot,
    Ways,
    address_bit,
    after_start,
    asks_memory,
    bad_memory,
    lost_strobe,
    open_at_memory,
    several_bad,
    shorted_memory,
)
from autobench.diagnosis.parts import CPU_ADDRESSES, CPU_DATA
from autobench.diagnosis.rail_effects import (
    chip_short,
    cracked,
    made_rail,
    on_rail,
    own_rail,
    shorted_rail,
    too_many_volts,
)
from autobench.documents.nets import GROUND


def effects_of(board: BoardModel, fault: str, part: str | None, net: str | None) -> Ways:
    """The ways `fault` turns out at a place; none where nothing known of the board would change."""
    rule = RULES.get(fault, ())
    return rule if isinstance(rule, tuple) else rule(Spot(board, part or "", net or ""))


def dead(level: str = "static", draw: float = 0.6) -> Rule:
    """The whole part does nothing."""

    def ways(at: Spot) -> Ways:
        return (Effect(dead=(at.part,), dead_level=level, dead_draw=draw),)

    return ways


def clock_word(word: str) -> Rule:
    """The CPU clock, or what follows the crystal, carries another word."""

    def ways(at: Spot) -> Ways:
        if at.board.parts[at.part].kind == "crystal":
            legs = tuple(((at.part, fed), word) for fed in at.board.parts[at.part].feeds)
            return (Effect(outputs=legs),) if legs else ()
        clock = at.board.cpu.clock if at.board.cpu else None
        if not clock:
            return ()
        legs = (((at.part, clock), word),)
        if word != "weak":
            return (Effect(outputs=legs),)
        # A CPU on a weak clock mostly runs, for a while, and then reads what is not there.
        return (Effect(0.6, outputs=legs), Effect(0.4, outputs=legs, fetched="garbage"))

    return ways


def master_dead(at: Spot) -> Ways:
    """An amplifier without its crystal idles at its threshold, and so does its output; a dead one is mostly stuck."""
    crystal = at.board.parts[at.part].kind == "crystal"
    names = at.board.parts[at.part].feeds if crystal else (at.part,)
    legs = [(name, out.net) for name in names if name in at.board.parts for out in at.board.parts[name].outputs]
    if not legs:
        return (Effect(dead=(at.part,), dead_draw=1.0),)
    idles = 0.85 if crystal else 0.15
    return tuple(
        Effect(weight, outputs=tuple((leg, level) for leg in legs))
        for level, weight in (("half-level", idles), ("static", 1.0 - idles))
    )


def divider_dead(at: Spot) -> Ways:
    """One branch still (its output stuck, or open), every branch still, or one at half its rate."""
    clocks = [out.net for out in at.board.parts[at.part].outputs if out.how == "divide"]
    if not clocks:
        return ()
    each = 1.0 / len(clocks)
    still = [
        Effect(0.6 * each * share, outputs=(((at.part, clock), level),))
        for clock in clocks
        for level, share in (("static", 0.75), ("floating", 0.25))
    ]
    half = [Effect(0.15 * each, outputs=(((at.part, clock), "half"),)) for clock in clocks]
    every = Effect(0.25, outputs=tuple(((at.part, clock), "static") for clock in clocks))
    return (*still, *half, every)


def reset_word(word: str) -> Rule:
    """The reset part gives another word."""

    def ways(at: Spot) -> Ways:
        nets = [out.net for out in at.board.parts[at.part].outputs if out.how == "power-on"]
        return (Effect(outputs=tuple(((at.part, each), word) for each in nets)),) if nets else ()

    return ways


def one_output(at: Spot) -> Ways:
    """One output at each level a dead one can have."""
    return tuple(Effect(weight, outputs=(((at.part, at.net), level),)) for level, weight in DEAD_LEVELS)


def held(level: str) -> Rule:
    """A net that nothing can move."""

    def ways(at: Spot) -> Ways:
        return (Effect(held=((at.net, level),)),)

    return ways


def data_short(at: Spot) -> Ways:
    """A data line at ground: whatever drives it high draws more."""
    return (Effect(held=((at.net, "low"),), grounded=(at.net,), extra=0.04),)


def bridged(at: Spot) -> Ways:
    """A line and its neighbour are one, and fight whenever they should differ."""
    bus = CPU_DATA if at.net in CPU_DATA else CPU_ADDRESSES
    if bus.index(at.net) + 1 >= len(bus):
        return ()
    pair = (at.net, bus[bus.index(at.net) + 1])
    return (Effect(fetched="garbage", extra=0.02, fought=pair, joined=pair),)


def gate_output(*levels: str) -> Rule:
    """One output of a logic chip at a level; one at the memory, or the memory's select, spoils what the program reads
    from there. A select that stays low has the memory answer what the ROM is asked."""

    def ways(at: Spot) -> Ways:
        each = 1.0 / len(levels)
        selects = asks_memory(at.board, at.net)
        spoils = selects or at.board.parts[at.part].kind in ("data buffer", "gates")
        ends = AFTER_START if spoils else ((None, 1.0),)
        return tuple(
            Effect(each * weight, outputs=(((at.part, at.net), level),), later=state)
            for level in levels
            for state, weight in ends
        ) + (always_selected(at, each) if selects and "low" in levels else ())

    return ways


def always_selected(at: Spot, weight: float) -> Ways:
    """Memory and ROM answer at once: what is fetched is garbage, and what fights takes current."""
    held = (((at.part, at.net), "low"),)
    return tuple(Effect(0.5 * weight, outputs=held, fetched="garbage", extra=extra) for extra in (0.03, 0.1))


def decoder_dead(at: Spot) -> Ways:
    """No select at all, all of them together, or all floating."""
    nets = [out.net for out in at.board.parts[at.part].outputs]
    # All low: ROM and memory answer whatever is read, so what is fetched is garbage, and what fights takes current.
    ways = (("high", 0.5, None, 0.0), ("low", 0.2, "garbage", 0.04), ("low", 0.1, "garbage", 0.14),
            ("floating", 0.2, None, 0.0))  # fmt: skip
    return tuple(
        Effect(weight, outputs=tuple(((at.part, each), level) for each in nets), fetched=fetched, extra=extra)
        for level, weight, fetched, extra in ways
    )


def open_leg(in_socket: bool) -> Rule:
    """A leg that touches nothing; what is not known to matter is left out."""

    def ways(at: Spot) -> Ways:
        owner = at.board.parts[at.part]
        supply = at.net in (owner.rail, GROUND)
        if not matters(at.board, at.part, at.net) and not supply:
            return ()
        if (owner.kind in AT_MEMORY or (asks_memory(at.board, at.net) and at.net in owner.drives)) and not supply:
            return open_at_memory(at, ((at.part, at.net),), in_socket)
        return (Effect(cut=((at.part, at.net),), in_socket=in_socket),)

    return ways


def matters(board: BoardModel, part: str, net: str) -> bool:
    """Whether an open leg changes anything that the simulation knows of."""
    if board.parts[part].kind == "port":
        return False
    return net in board.drivers or net in CPU_DATA


# The program goes astray at once, or later on.
BITS_LOST = (Effect(0.7, fetched="garbage"), Effect(0.3, later=cpu.CRASHED))
PORT_DRAWS = (0.0, 0.05, 0.1, 0.15)  # a damaged one draws up to so much more of the board's current (common practice)
# Outputs fight: the lines of the bus move through half-levels, now and then one stands half-way, or all of them do.
CONTENTION = (
    Effect(0.1, held=tuple((line, "half-level") for line in CPU_DATA), extra=0.15),
    *(
        Effect(0.1, held=tuple((line, "fought") for line in CPU_DATA), extra=extra, fought=CPU_DATA)
        for extra in (0.05, 0.1, 0.18)
    ),
    *(Effect(0.15, fetched="garbage", extra=extra, fought=CPU_DATA) for extra in (0.03, 0.07, 0.13, 0.2)),
)


def port_damaged(at: Spot) -> Ways:
    """Mostly nothing that the round sees but its current; sometimes the interrupt or one of the data lines suffers."""
    asked = "IRQ" if at.board.cpu_class == "S" else "INT"
    each = 1.0 / len(PORT_DRAWS)
    nothing = (Effect(0.7 * each, extra=extra) for extra in PORT_DRAWS)
    interrupt = (Effect(0.2 * each, held=((asked, "low"),), extra=extra) for extra in PORT_DRAWS)
    data = (Effect(0.1 / len(CPU_DATA), held=((line, "low"),), extra=0.05) for line in CPU_DATA)
    return (*nothing, *interrupt, *data)


# Times its own amps that a chip draws the wrong way round (common practice: it gets hot, and few survive it).
REVERSED = (2.5, 4.0, 6.0)


def reversed_chip(at: Spot) -> Ways:
    """A chip that somebody put in the wrong way round does nothing, and draws a multiple of its amps."""
    own = at.board.parts[at.part]
    spoils = own.kind in ("ram", "data buffer")
    levels: tuple[str, ...] = ("low", "high", "floating") if own.kind == "ram" else ("static", "floating")
    return tuple(
        Effect(weight, dead=(own.name,), dead_level=level, dead_draw=draw, later=state,
               outputs=tuple(((own.name, net), level) for net in own.data) if own.kind == "ram" else ())
        for draw in REVERSED
        for level in levels
        for state, weight in (AFTER_START if spoils else ((None, 1.0),))
    )  # fmt: skip


# What does not depend on the place stands as it is.
RULES: Mapping[str, Rule | Ways] = {
    "decoupler-short": shorted_rail,
    "chip-supply-short": chip_short,
    "inlet-open": on_rail("open"),
    "connector-resistance": on_rail("resistance"),
    "cracked-joint": cracked,
    "regulator-low": own_rail("low"),
    "regulator-high": too_many_volts,
    "bias-rail-missing": made_rail("-5V", "missing", cpu.CRASHED),
    "plus12-missing": made_rail("+12V", "missing", cpu.CRASHED),
    "reservoir-dry": on_rail("ripple"),
    "bulk-capacitor-open": on_rail("ripple"),
    "master-clock-dead": master_dead,
    "wrong-crystal": clock_word("other"),
    "cpu-clock-weak": clock_word("weak"),
    "divider-dead": divider_dead,
    "reset-stuck": reset_word("low"),
    "reset-missing": reset_word("high"),
    "reset-looping": reset_word("slow"),
    "cpu-dead": cpu_dead,
    "fetch-strobe-dead": one_output,
    "cpu-pin-dead": cpu_pin,
    "wait-held": held("low"),
    "bus-request-held": held("low"),
    "interrupt-stuck": interrupt_held,
    "data-line-short": data_short,
    "bus-contention": CONTENTION,
    "address-buffer-bit": address_bit,
    "lines-bridged": bridged,
    "track-open": open_leg(in_socket=False),
    "decoder-dead": decoder_dead,
    "gate-output-open": gate_output("floating"),
    "gate-output-stuck": gate_output("low", "high"),
    "rom-not-driving": dead(level="floating", draw=0.8),
    "rom-bits-lost": BITS_LOST,
    "socket-contact": open_leg(in_socket=True),
    "ram-dead": bad_memory(),
    "ram-shorted": shorted_memory,
    "ram-several": several_bad,
    "ram-strobe-missing": lost_strobe,
    "ram-marginal": after_start(),
    "video-chip-dead": dead(draw=0.4),
    "sync-output-dead": dead(draw=0.9),
    "video-ram-bad": dead(draw=1.0),
    "video-controller-dead": dead(draw=0.7),
    "port-chip-damaged": port_damaged,
    "repair-damage": reversed_chip,
}
