"""Faults of single nets and legs: CPU pins and inputs, buffers, bridges, broken tracks, sockets, outputs of gates.

Each holds a net or cuts a leg; what that means for the rest of the board is `net_faults`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from simulated_instruments.board.circuit import Circuit, Part
from simulated_instruments.board.condition import OPEN_OUTPUT, STUCK_HIGH, STUCK_LOW
from simulated_instruments.board.fault_place import BoardFault, FaultPlace
from simulated_instruments.board.net_faults import bit_of, cut, drives, hold

if TYPE_CHECKING:  # a list of faults needs no arithmetic
    from simulated_instruments.board.assembly import Assembly

Places = Callable[[Circuit], list[FaultPlace]]
GATE_KINDS = ("decoder", "gates", "data buffer", "shifter")
NOT_WIRED = ("connector", "switch", "crystal")
WEAK_CLOCK = (3.3, 3.9)  # V; what a clock driver reaches whose pull-up is open


def net_places(fault: str, words: str, *nets: str) -> Places:
    """Nets of the circuit's CPU by name."""

    def places(circuit: Circuit) -> list[FaultPlace]:
        legs = {net for part in circuit.parts.values() if part.kind == "cpu" for net in part.logic.values()}
        return [FaultPlace(fault, net, net, "board", f"{net} {words}") for net in nets if net in legs]

    return places


def part_places(fault: str, words: str, *kinds: str) -> Places:
    """Parts by kind."""

    def places(circuit: Circuit) -> list[FaultPlace]:
        found = [part for part in circuit.parts.values() if part.kind in kinds] if circuit.signals else []
        return [FaultPlace(fault, part.name, None, "board", f"{part.words} {part.name} {words}") for part in found]

    return places


def hold_low(assembly: Assembly, net: str) -> None:
    """An output somewhere holds the net."""
    hold(assembly, net, STUCK_LOW)


def clock_places(circuit: Circuit) -> list[FaultPlace]:
    """What drives the CPU clock, where its pin wants more than a TTL high: on class R."""
    if circuit.signals is None or circuit.signals.cpu != "R":
        return []
    return part_places("cpu-clock-weak", "drives the CPU clock weakly", "divider", "gate array")(circuit)


def weaken_clock(assembly: Assembly, part: str) -> None:  # noqa: ARG001 (every fault is told its part)
    """The pull-up of the CPU clock's driver is open: the clock looks fine and does not reach its level."""
    assembly.condition.clock_volts = assembly.tolerance.uniform("weak clock", *WEAK_CLOCK)


def kill_pin(assembly: Assembly, part: str) -> None:
    """One pin of the CPU that is not its fetch strobe: a strobe, an address line or a data line."""
    cpu = assembly.circuit.parts[part]
    signals = assembly.circuit.signals
    inputs = {"WAIT", "BUSRQ", "NMI", "INT", "RDY", "IRQ", "SO", "HALT", "BUSAK", "FETCH", "SYNC", "PHI1"}
    own = {signals.cpu_clock, signals.reset} if signals else set()
    pins = [net for net in cpu.logic.values() if net not in inputs | own]
    net = assembly.tolerance.choice("dead pin", pins)
    if bit_of(net, "D") is not None:
        cut(assembly, cpu, net, in_socket=True)
    else:
        share = assembly.tolerance.uniform("dead pin level", 0.0, 1.0)
        hold(assembly, net, STUCK_LOW if share < 0.55 else OPEN_OUTPUT)


def stick_address(assembly: Assembly, part: str) -> None:
    """One bit of the memory's address stays where it is: half the cells answer for the other half."""
    tolerance = assembly.tolerance
    bits = sorted(drives(assembly, assembly.circuit.parts[part]))
    if not bits:
        assembly.condition.ram_scrambled = True
        return
    share = tolerance.uniform("address bit level", 0.0, 1.0)
    code = STUCK_LOW if share < 0.4 else STUCK_HIGH if share < 0.65 else OPEN_OUTPUT
    hold(assembly, tolerance.choice(f"address bit {part}", bits), code)


def bridge_places(circuit: Circuit) -> list[FaultPlace]:
    """Neighbouring lines of the CPU's buses."""
    if circuit.signals is None:
        return []
    lines = [f"D{bit}" for bit in range(7)] + [f"A{bit}" for bit in range(15)]
    return [
        FaultPlace("lines-bridged", net, net, "board", f"{net} touches {net[0]}{int(net[1:]) + 1}") for net in lines
    ]


def bridge(assembly: Assembly, net: str) -> None:
    """A line and the one above it are one: a low on either pulls both."""
    pair = 0b11 << int(net[1:])
    assembly.condition.spoil(**{"joined" if net[0] == "D" else "joined_address": pair})
    for name in ("data buffer", "rom"):
        for part in assembly.circuit.parts.values():
            if part.kind == name:
                assembly.amps[part.name] += assembly.tolerance.uniform(f"bridge feeds {part.name}", 0.002, 0.010)


def legs_of(part: Part) -> list[str]:
    """The nets of a part whose loss changes anything."""
    return [net for net in part.logic.values() if net not in idle_nets(part)]


def tracked_legs(circuit: Circuit, part: Part) -> list[str]:
    """Those of them with a track to somewhere: an output that nothing listens to has none that could break."""
    others = {net for other in circuit.parts.values() if other.name != part.name for net in other.logic.values()}
    return [net for net in legs_of(part) if net in others]


def idle_nets(part: Part) -> frozenset[str]:
    """Nets whose leg does nothing at this part that a bare board would show."""
    if part.kind == "cpu":
        return frozenset({"NMI", "WAIT", "BUSRQ", "RDY", "SO", "PHI1"})
    if part.kind == "port":
        return frozenset(part.logic.values())
    if part.kind == "gates":
        return frozenset({"FETCH"})
    return frozenset()


def leg_places(fault: str, words: str, socketed: bool) -> Places:
    """Parts with legs that matter: those in sockets, or all the others."""

    def places(circuit: Circuit) -> list[FaultPlace]:
        sockets = {element.part for element in circuit.copper if element.kind == "socket"}
        found = []
        for part in circuit.parts.values():
            wired = part.kind not in NOT_WIRED and (legs_of(part) if socketed else tracked_legs(circuit, part))
            if wired and (part.name in sockets or not socketed):
                found.append(FaultPlace(fault, part.name, None, "board", f"{part.words} {part.name}: {words}"))
        return found

    return places


def open_leg(in_socket: bool) -> Callable[[Assembly, str], None]:
    """One leg touches nothing, in its socket or because its track is broken."""

    def damage(assembly: Assembly, name: str) -> None:
        part = assembly.circuit.parts[name]
        legs = legs_of(part) if in_socket else tracked_legs(assembly.circuit, part)
        net = assembly.tolerance.choice(f"open leg {name}", legs)
        cut(assembly, part, net, in_socket)

    return damage


def gate_output(stuck: bool) -> Callable[[Assembly, str], None]:
    """One output of a logic chip is open inside, or stays at a level."""

    def damage(assembly: Assembly, name: str) -> None:
        part = assembly.circuit.parts[name]
        outputs = sorted(drives(assembly, part)) or [net for net in part.logic.values() if bit_of(net, "D") is not None]
        if not outputs:  # strobes that no file gives a net
            assembly.condition.ram_silent = True
            return
        net = assembly.tolerance.choice(f"gate output {name}", outputs)
        code = OPEN_OUTPUT
        if stuck:
            code = STUCK_LOW if assembly.tolerance.uniform("gate level", 0.0, 1.0) < 0.6 else STUCK_HIGH
        bit = bit_of(net, "D")
        if bit is not None:
            assembly.condition.spoil(**{"ram_low" if code == STUCK_LOW else "ram_high": bit})
        else:
            hold(assembly, net, code)

    return damage


BUS_FAULTS: Mapping[str, BoardFault] = {
    "cpu-pin-dead": BoardFault(part_places("cpu-pin-dead", "has lost a pin", "cpu"), kill_pin),
    "wait-held": BoardFault(net_places("wait-held", "is held low", "WAIT", "RDY"), hold_low),
    "bus-request-held": BoardFault(net_places("bus-request-held", "is held low", "BUSRQ"), hold_low),
    "interrupt-stuck": BoardFault(net_places("interrupt-stuck", "is held low", "INT", "IRQ", "NMI"), hold_low),
    "address-buffer-bit": BoardFault(
        part_places("address-buffer-bit", "has lost a bit of the memory's address", "mux"), stick_address
    ),
    "lines-bridged": BoardFault(bridge_places, bridge),
    "track-open": BoardFault(
        leg_places("track-open", "the track to one leg is broken", socketed=False), open_leg(False)
    ),
    "gate-output-open": BoardFault(
        part_places("gate-output-open", "has an open output", *GATE_KINDS), gate_output(stuck=False)
    ),
    "gate-output-stuck": BoardFault(
        part_places("gate-output-stuck", "has a stuck output", *GATE_KINDS), gate_output(stuck=True)
    ),
    "socket-contact": BoardFault(leg_places("socket-contact", "one contact is bad", socketed=True), open_leg(True)),
    "cpu-clock-weak": BoardFault(clock_places, weaken_clock),
}
