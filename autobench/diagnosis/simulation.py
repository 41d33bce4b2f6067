"""Qualitative simulation: from a board and an effect to what every net does, by running from power-on to a fixed point.

Nets carry words (`moving`, `low`, `high`, `floating`, `half-level`, `static`: still, level unknown; `half`, `other`:
moving at a wrong rate; `weak`: moving with poor levels). Circles are allowed: the CPU is first taken to fetch, which is
what it does at power-on, and what follows decides whether it goes on. It predicts no readings and knows no instrument.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from autobench.diagnosis import cpu
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.effects import Effect
from autobench.diagnosis.parts import CPU_DATA, Output, Part

ROUNDS = 12  # a board of this kind settles in four or five
MOVING = frozenset({"moving", "half", "other", "weak"})
LOOSE = frozenset({"floating", "static"})  # a pull-up decides what becomes of these
MADE_HIGH = frozenset({"floating", "high", "static"})  # an open input acts as a high
WRITTEN = "moving"
DULL = ("no picture", "white")  # sync without a picture: on black or nobody knows what, or on white
STROBES = ("RAS", "CAS")  # without both a memory chip drives nothing


@dataclass(frozen=True)
class Settled:
    """What a board with an effect does once it has settled.

    `nets`: the word of each net; `driven`: what each part gives at its own leg; `state`: the CPU's; `started`: whether
    its start-up program ran; `powered`: parts with volts.
    """

    board: BoardModel
    effect: Effect
    nets: Mapping[str, str]
    driven: Mapping[tuple[str, str], str]
    state: str
    started: bool
    powered: frozenset[str]

    def at(self, part: str, net: str) -> str:
        """What a probe sees of `net` at the leg of `part`."""
        leg = (part, net)
        if leg not in self.effect.cut or self.effect.in_socket:
            return self.nets.get(net, "floating")
        return self.driven.get(leg, "floating")

    def seen(self, part: str, net: str | None) -> str:
        """What `part` itself sees of `net`."""
        if net is None:
            return "floating"
        return "floating" if (part, net) in self.effect.cut else self.nets.get(net, "floating")


def powered_parts(board: BoardModel, effect: Effect) -> frozenset[str]:
    """Parts that have their rail: a break or a hard short takes it from all, an open leg from one."""
    trouble = effect.rail
    lost = {part for part, net in effect.cut if net == board.parts[part].rail or net == "0V"}
    dark: set[str | None] = set()
    if trouble is not None and trouble.kind in ("open", "short", "missing"):
        dark = {trouble.rail, *(board.made_from(trouble.rail))}
    return frozenset(part.name for part in board.parts.values() if part.name not in lost and part.rail not in dark)


class Simulation:
    """One run from power-on to rest."""

    def __init__(self, board: BoardModel, effect: Effect, healthy: Settled | None) -> None:
        self.board = board
        self.effect = effect
        self.cut = frozenset(effect.cut)
        self.held = dict(effect.held)
        self.outputs = dict(effect.outputs)
        self.powered = powered_parts(board, effect)
        # Where the healthy board settles is a start as good as power-on: the CPU is taken to fetch in both.
        self.nets: dict[str, str] = dict(healthy.nets) if healthy is not None else {}
        self.driven: dict[tuple[str, str], str] = {}
        self.state = cpu.RUNNING if board.cpu else cpu.DEAD
        self.started = False
        self.forced = self.forced_data()
        self.spoilt = self.spoilt_fetches()

    def run(self) -> Settled:
        """Pass words from outputs to inputs until nothing changes."""
        changed: frozenset[str] | None = None  # at first every part has to be driven
        for _ in range(ROUNDS):
            for part in self.board.active:
                if changed is None or not changed.isdisjoint(part.listens):
                    self.drive(part)
            before, self.nets = self.nets, self.resolved()
            program = (self.state, self.started)
            self.state = self.cpu_state()
            if program != (self.state, self.started):
                changed = None
            elif before == self.nets:
                break
            else:
                changed = frozenset(net for net, word in self.nets.items() if before.get(net) != word)
        self.remember()
        return Settled(self.board, self.effect, self.nets, self.driven, self.state, self.started, self.powered)

    def seen(self, part: Part, net: str | None) -> str:
        """What `part` sees of `net`; a leg that touches nothing floats."""
        if net is None or (part.name, net) in self.cut:
            return "floating"
        # Nothing is known of a net nobody is said to drive: it is taken to be as it should be.
        return self.nets.get(net, "floating" if net in self.board.drivers else "moving")

    def drive(self, part: Part) -> None:
        """Put what `part` gives at each of its outputs."""
        name, dead = part.name, part.name in self.effect.dead
        if part.kind == "cpu":
            self.driven.update(cpu.legs(name, self.state, self.board.cpu_class))
            if dead:
                still = [
                    leg for leg, level in cpu.legs(name, self.state, self.board.cpu_class).items() if level == "static"
                ]
                self.driven.update(dict.fromkeys(still, self.effect.dead_level))
            self.driven.update({leg: level for leg, level in self.outputs.items() if leg[0] == name})
            return
        for output in part.outputs:
            if name not in self.powered:
                self.put(name, output.net, "floating")
            elif dead:
                self.put(name, output.net, self.effect.dead_level)
            else:
                self.put(name, output.net, self.output_of(part, output))

    def remember(self) -> None:
        """Memory drives its own nets while it is worked; nothing in the circle above hangs on them."""
        for part in self.board.parts.values():
            if part.kind == "ram":
                strobes = [self.seen(part, net) for net in (part.select, *part.inputs) if net in STROBES]
                asked = (
                    all(word in MOVING for word in strobes)
                    if strobes
                    else self.seen(part, part.select) in ("moving", "low")
                )
                worked = part.name in self.powered and part.name not in self.effect.dead and asked
                for net in part.data:
                    self.put(part.name, net, "moving" if worked else "floating")
                    self.nets[net] = self.held.get(
                        net, "floating" if (part.name, net) in self.cut else self.driven[(part.name, net)]
                    )

    def put(self, part: str, net: str, level: str) -> None:
        self.driven[(part, net)] = self.outputs.get((part, net), level)

    def output_of(self, part: Part, output: Output) -> str:
        """What a powered, living part gives at one output."""
        match output.how:
            case "divide" | "pattern":
                given = self.seen(part, part.clock or (part.inputs[0] if part.inputs else None))
                return given if given in MOVING else "static"
            case "follow":
                return self.following(part, output)
            case "power-on":
                return "ok"
            case "decode":
                return self.decoded(part, output)
            case "composite":
                return self.composed(part)
            case _:
                return self.timed(part, output)

    def following(self, part: Part, output: Output) -> str:
        """An oscillator follows its crystal, an interrupt its source."""
        source = output.source or ""
        if source in self.board.parts:
            if source in self.effect.dead or (source, part.name) in self.cut:
                return "static"
            return self.outputs.get((source, part.name), "moving")
        given = self.seen(part, source)
        return given if given in MOVING else "high"

    def timed(self, part: Part, output: Output) -> str:
        """Sync and picture come from a clock; a programmable controller runs wild until software has written to it.

        A part that is given the same by another only passes it on.
        """
        given = next((net for net in part.inputs if net in self.board.timing.get(output.how, ())), None)
        if given is not None:
            return self.seen(part, given) if self.seen(part, given) in MOVING else "high"
        clock = self.seen(part, part.clock) if part.clock else "moving"
        if clock not in MOVING:
            return "static"
        if part.kind == "video controller" and not self.written(part):
            return "unprogrammed"
        return clock if clock in ("half", "other") else "moving"

    def written(self, part: Part) -> bool:
        """Whether the start-up program could write to `part`. A halted CPU has written before and selects no more."""
        select, main = self.seen(part, part.select), self.board.cpu
        if main is not None and (main.name, self.board.cpu_nets.write) in self.outputs:
            return False  # a CPU whose write output is dead writes nothing
        return self.started and (select == WRITTEN or (select == "high" and self.state == cpu.HALTED))

    def composed(self, part: Part) -> str:
        """The output stage adds sync and picture; without picture the sync still comes through, on black or white."""
        sync = [self.seen(part, net) for net in part.inputs if net not in self.board.pictures]
        picture = [self.seen(part, net) for net in part.inputs if net in self.board.pictures]
        word = next((word for word in sync if word != "moving"), "moving")
        if word != "moving" or all(given in MOVING for given in picture):
            return word
        return "white" if any(given in ("high", "floating") for given in picture) else "no picture"

    def decoded(self, part: Part, output: Output) -> str:
        """Active low when every needed net has its level, moving when some of them move through it."""
        moving = False
        active = "high" if output.idle == "low" else "low"
        own = {other.net: other for other in part.outputs}
        for net, level in output.needs:
            # What it makes of another of its outputs inside does not hang on what its pin comes to.
            given = self.decoded(part, own[net]) if net in own else self.seen(part, net)
            if given in ("low", "high", "floating", "half-level"):
                if (given == "low") != (level == "low"):
                    return output.idle
            elif given == "static":
                return "static"
            else:
                moving = True
        return "moving" if moving else active

    def resolved(self) -> dict[str, str]:
        """Every net's word from what drives it, what holds it and what pulls it up."""
        nets = {net: level for (_, net), level in self.driven.items()}
        nets.update({net: "floating" for part, net in self.cut if (part, net) in self.driven})
        for net in self.board.shared:
            legs = [(part, net) for part in self.board.drivers[net]]
            given = {self.driven.get(leg, "floating") for leg in legs if leg not in self.cut} - {"floating"}
            nets[net] = "half-level" if len(given) > 1 else next(iter(given), "floating")
        for net in self.board.pulled_up:
            if nets.get(net, "floating") in LOOSE:
                nets[net] = "high"
        data = self.data_words()
        nets.update(dict.fromkeys(CPU_DATA, data))
        nets.update(self.held)
        return nets

    def data_words(self) -> str:
        """What the lines of the data bus do in the CPU's present state."""
        if self.board.cpu_class == "S" and self.state in (cpu.WAITING, cpu.HELD, cpu.HALTED):
            return "undriven"  # it reads one place for ever, and between its reads nobody drives the bus
        if self.state in (cpu.RUNNING, cpu.CRASHED, cpu.ASTRAY, cpu.HALTED, cpu.UNINTERRUPTED):
            return "moving"
        if self.state == cpu.ONES:
            return "undriven"
        if self.state == cpu.ZEROS:
            return "low"
        return "static" if self.state == cpu.WAITING else "released"

    def cpu_state(self) -> str:
        """The CPU's state from what its legs see and what its fetches find."""
        part = self.board.cpu
        if part is None:
            return cpu.DEAD
        seen = {net: self.seen(part, net) for net in part.cpu.inputs}
        seen["clock"] = self.seen(part, part.clock) if part.clock else "moving"
        seen["reset"] = self.seen(part, part.reset) if part.reset else "ok"
        state = cpu.state_of(seen, part.name in self.powered, part.name in self.effect.dead, self.fetched())
        self.started = state == cpu.RUNNING and seen["reset"] == "ok"
        if state == cpu.CRASHED and self.effect.later in (cpu.HALTED, cpu.ASTRAY):
            return self.effect.later
        if state != cpu.RUNNING:
            return state
        if not self.started:
            return cpu.CRASHED  # never reset: it starts anywhere
        if self.effect.later is not None:
            return self.effect.later
        asked = "IRQ" if "IRQ" in seen else "INT"
        line = self.board.lines.get(asked)
        if seen.get(asked) == "low":
            # After a reset nothing may interrupt until the program allows it: the storm comes when it has started. NMI
            # acts by its edge: held, it asks once at most.
            return cpu.CRASHED
        if line is not None and line.healthy == "moving" and seen[asked] not in MOVING:
            return cpu.UNINTERRUPTED
        return state

    def fetched(self) -> str:
        """What the CPU finds where its program should be."""
        if self.forced is not None:
            return self.forced
        roms = self.board.roms
        if roms and not any(self.answers(part) for part in roms):
            return "ones"
        if self.effect.fetched is not None:
            return self.effect.fetched
        return "garbage" if self.spoilt else "program"

    def forced_data(self) -> str | None:
        """What held data lines make of every fetch, whoever drives them."""
        low = [net for net in CPU_DATA if self.held.get(net) == "low"]
        if not low:
            return None
        return "zeros" if len(low) == len(CPU_DATA) else "garbage"

    def spoilt_fetches(self) -> bool:
        """Whether an open leg of the CPU or the ROM, or a held line, spoils what is read."""
        readers = {part.name for part in self.board.parts.values() if part.kind in ("cpu", "rom")}
        broken = any(part in readers and net in self.board.nets and cpu.is_cpu_net(net) for part, net in self.cut)
        return broken or any(cpu.is_cpu_net(net) for net in self.held)

    def answers(self, rom: Part) -> bool:
        """Whether a ROM drives the bus: it has power, select and output enable."""
        if rom.name not in self.powered or rom.name in self.effect.dead:
            return False
        wanted = [self.nets.get(net, "moving") for net in (rom.select, rom.enable) if net]
        cut = any((rom.name, net) in self.cut for net in (rom.select, rom.enable) if net)
        return not cut and all(word in ("moving", "low", "half", "other") for word in wanted)


def settle(board: BoardModel, effect: Effect, healthy: Settled | None = None) -> Settled:
    """What `board` does with `effect`, at rest; sooner there with the `healthy` board at rest."""
    return Simulation(board, effect, healthy).run()
