"""What each fault of the catalogue does at one place of one board: a table from fault to weighted effects.

Levels of dead outputs and the ways a disturbed program ends are common practice on boards of this kind; weights are
first guesses. It spreads no priors and predicts no readings.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from autobench.diagnosis import cpu
from autobench.diagnosis.board_model import CPU_ADDRESSES, CPU_DATA, GROUND, BoardModel
from autobench.diagnosis.effects import Effect, RailTrouble

Ways = tuple[Effect, ...]
Rule = Callable[[BoardModel, str, str], Ways]

# A dead output is held low hard, floats as an open input makes it, or stays high through a pull-up.
DEAD_LEVELS = (("low", 0.4), ("floating", 0.35), ("high", 0.25))
# What a program that starts and then meets bad memory ends in.
AFTER_START = ((cpu.CRASHED, 0.6), (cpu.RUNNING, 0.4))


def effects_of(board: BoardModel, fault: str, part: str | None, net: str | None) -> Ways:
    """The ways `fault` turns out at a place; none where nothing known of the board would change."""
    rule = RULES.get(fault)
    return rule(board, part or "", net or "") if rule is not None else ()


def on_rail(kind: str, extra: float = 0.0) -> Rule:
    """Trouble of the rail a place belongs to."""

    def ways(board: BoardModel, part: str, net: str) -> Ways:
        rail = net or (board.parts[part].rail if part in board.parts else None) or next(iter(board.rails), "")
        return (Effect(rail=RailTrouble(rail, kind, part), extra=extra),) if rail in board.rails else ()

    return ways


def dead(level: str = "static", draw: float = 0.6) -> Rule:
    """The whole part does nothing."""

    def ways(board: BoardModel, part: str, net: str) -> Ways:
        return (Effect(dead=(part,), dead_level=level, dead_draw=draw),)

    return ways


def chip_short(board: BoardModel, part: str, net: str) -> Ways:
    """Hard, or soft enough to let the rail live."""
    hard = RailTrouble(net, "short", part)
    soft = RailTrouble(net, "soft short", part)
    return (Effect(0.6, rail=hard, dead=(part,)), Effect(0.4, rail=soft, dead=(part,), extra=0.8))


def clock_word(word: str) -> Rule:
    """The CPU clock, or what follows the crystal, carries another word."""

    def ways(board: BoardModel, part: str, net: str) -> Ways:
        if board.parts[part].kind == "crystal":
            legs = tuple(((part, fed), word) for fed in board.parts[part].feeds)
            return (Effect(outputs=legs),) if legs else ()
        clock = board.cpu.clock if board.cpu else None
        return (Effect(outputs=(((part, clock), word),)),) if clock else ()

    return ways


def divider_dead(board: BoardModel, part: str, net: str) -> Ways:
    """One branch still, every branch still, or one at half its rate."""
    clocks = [out.net for out in board.parts[part].outputs if out.how == "divide"]
    if not clocks:
        return ()
    each = 1.0 / len(clocks)
    still = [Effect(0.6 * each, outputs=(((part, clock), "static"),)) for clock in clocks]
    half = [Effect(0.15 * each, outputs=(((part, clock), "half"),)) for clock in clocks]
    every = Effect(0.25, outputs=tuple(((part, clock), "static") for clock in clocks))
    return (*still, *half, every)


def reset_word(word: str) -> Rule:
    """The reset part gives another word."""

    def ways(board: BoardModel, part: str, net: str) -> Ways:
        nets = [out.net for out in board.parts[part].outputs if out.how == "power-on"]
        return (Effect(outputs=tuple(((part, each), word) for each in nets)),) if nets else ()

    return ways


def one_output(board: BoardModel, part: str, net: str) -> Ways:
    """One output at each level a dead one can have."""
    return tuple(Effect(weight, outputs=(((part, net), level),)) for level, weight in DEAD_LEVELS)


def cpu_pin(board: BoardModel, part: str, net: str) -> Ways:
    """A pin of the CPU: a strobe that is not the fetch strobe, an address line or a data line, each as likely."""
    strobes = [line for line in ("REFRESH", "MEMREQ", "RD", "WR", "IORQ") if line in board.nets]
    pins = [*strobes, *CPU_ADDRESSES, *CPU_DATA]
    each = 1.0 / len(pins)
    ways = []
    for pin in pins:
        fetched = None if pin in ("REFRESH", "IORQ") else "garbage"
        if pin in CPU_DATA:
            ways.append(Effect(each, cut=((part, pin),), in_socket=True))
            continue
        for level, weight in DEAD_LEVELS[:2]:
            ways.append(Effect(0.5 * each * weight / 0.375, outputs=(((part, pin), level),), fetched=fetched))
    return tuple(ways)


def held(level: str) -> Rule:
    """A net that nothing can move."""

    def ways(board: BoardModel, part: str, net: str) -> Ways:
        return (Effect(held=((net, level),)),)

    return ways


def data_short(board: BoardModel, part: str, net: str) -> Ways:
    """A data line at ground: whatever drives it high draws more."""
    return (Effect(held=((net, "low"),), extra=0.04),)


def contention(board: BoardModel, part: str, net: str) -> Ways:
    """Outputs fight: some lines of the bus stand half-way, or all of them move through half-levels."""
    lines = tuple((line, "half-level") for line in CPU_DATA)
    return (
        Effect(0.5, held=lines, fetched="garbage", extra=0.15),
        Effect(0.2, fetched="garbage", extra=0.08),
        Effect(0.3, fetched="garbage", extra=0.18),
    )


def bridged(board: BoardModel, part: str, net: str) -> Ways:
    """A line and its neighbour fight whenever they differ."""
    bus = CPU_DATA if net in CPU_DATA else CPU_ADDRESSES
    if bus.index(net) + 1 >= len(bus):
        return ()
    pair = ((net, "half-level"), (bus[bus.index(net) + 1], "half-level"))
    return (Effect(0.5, held=pair, extra=0.04), Effect(0.5, fetched="garbage", extra=0.04))


def decoder_dead(board: BoardModel, part: str, net: str) -> Ways:
    """No select at all, all of them together, or all floating."""
    nets = [out.net for out in board.parts[part].outputs]
    return tuple(
        Effect(weight, outputs=tuple(((part, each), level) for each in nets), dead_draw=0.8)
        for level, weight in (("high", 0.5), ("low", 0.3), ("floating", 0.2))
    )


def open_leg(in_socket: bool) -> Rule:
    """A leg that touches nothing; what is not known to matter is left out."""

    def ways(board: BoardModel, part: str, net: str) -> Ways:
        owner = board.parts[part]
        supply = net in (owner.rail, GROUND)
        if not matters(board, part, net) and not supply:
            return ()
        return (Effect(cut=((part, net),), in_socket=in_socket),)

    return ways


def matters(board: BoardModel, part: str, net: str) -> bool:
    """Whether an open leg changes anything that the simulation knows of."""
    if board.point_of(net) is not None and board.point_of(net) == f"{part}.{net}":
        return True
    owner = board.parts[part]
    if owner.kind in ("ram", "port", "address multiplexer", "gates"):
        return False
    return net in board.drivers or net in CPU_DATA


def after_start(extra: float = 0.0, fetched: str | None = None) -> Rule:
    """The start-up program runs out of the ROM and comes to grief, or not, when it uses the memory."""

    def ways(board: BoardModel, part: str, net: str) -> Ways:
        return tuple(Effect(weight, later=state, extra=extra) for state, weight in AFTER_START)

    return ways


def bits_lost(board: BoardModel, part: str, net: str) -> Ways:
    """The program goes astray at once, or later on."""
    return (Effect(0.7, fetched="garbage"), Effect(0.3, later=cpu.CRASHED))


def cpu_dead(board: BoardModel, part: str, net: str) -> Ways:
    """Every output still; it draws less, seldom more."""
    return (Effect(0.8, dead=(part,), dead_draw=0.7), Effect(0.2, dead=(part,), dead_draw=0.7, extra=0.1))


def port_damaged(board: BoardModel, part: str, net: str) -> Ways:
    """Mostly nothing that the round sees; sometimes the interrupt or a data line suffers."""
    return (Effect(0.75), Effect(0.15, held=(("INT", "low"),)), Effect(0.1, held=(("D0", "low"),), extra=0.05))


def program_hangs(board: BoardModel, part: str, net: str) -> Ways:
    """The program never gets beyond its first steps."""
    return (Effect(0.7, later=cpu.CRASHED), Effect(0.3, fetched="garbage"))


RULES: Mapping[str, Rule] = {
    "decoupler-short": on_rail("short"),
    "chip-supply-short": chip_short,
    "inlet-open": on_rail("open"),
    "connector-resistance": on_rail("resistance"),
    "bulk-capacitor-open": on_rail("ripple"),
    "master-clock-dead": dead(draw=1.0),
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
    "interrupt-stuck": held("low"),
    "data-line-short": data_short,
    "bus-contention": contention,
    "address-buffer-bit": after_start(),
    "lines-bridged": bridged,
    "track-open": open_leg(in_socket=False),
    "decoder-dead": decoder_dead,
    "gate-output-open": lambda board, part, net: (Effect(outputs=(((part, net), "floating"),)),),
    "gate-output-stuck": lambda board, part, net: tuple(
        Effect(0.5, outputs=(((part, net), level),)) for level in ("low", "high")
    ),
    "rom-not-driving": dead(level="floating", draw=0.8),
    "rom-bits-lost": bits_lost,
    "socket-contact": open_leg(in_socket=True),
    "ram-dead": after_start(),
    "ram-shorted": after_start(extra=0.15),
    "ram-several": after_start(extra=0.05),
    "ram-strobe-missing": after_start(extra=-0.1),
    "ram-marginal": after_start(),
    "video-chip-dead": dead(draw=0.4),
    "sync-output-dead": dead(draw=0.9),
    "video-ram-bad": dead(draw=1.0),
    "video-controller-dead": dead(draw=0.7),
    "port-chip-damaged": port_damaged,
}
