"""Faults of memory, reset and what a bare board hardly shows: each changes what a part does or draws."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from simulated_instruments.board.bus_faults import bridge, legs_of, part_places
from simulated_instruments.board.circuit import Circuit
from simulated_instruments.board.condition import OPEN_OUTPUT, STUCK_HIGH, STUCK_LOW
from simulated_instruments.board.fault_place import BoardFault, FaultPlace
from simulated_instruments.board.joints import Joint
from simulated_instruments.board.net_faults import answer, cut, hold, outputs_of
from simulated_instruments.board.secondary import kill, kill_bit, kill_memory

if TYPE_CHECKING:  # a list of faults needs no arithmetic
    from simulated_instruments.board.assembly import Assembly

RESETS = ("reset timer", "reset supervisor")
TOO_SHORT = (20e-6, 0.8e-3)  # s
LOOP_LOW, LOOP_HIGH = (0.02, 0.12), (0.05, 0.25)  # s of a reset that comes again
SHORTED_DRAWS = (0.10, 0.28)  # A that a shorted memory chip takes besides its own, at 5 V
DORMANT = 0.6  # how often a cracked joint conducts all through a round on the bench
FAILS_WARM = (30.0, 45.0)  # °C above cold, as in a closed case or under hot air; a bare board gets to 25
CRACKED_OHMS = 40.0  # Ω of a joint that just touches


def lose_reset(assembly: Assembly, part: str) -> None:  # noqa: ARG001 (every fault is told its part)
    """The reset is over before the oscillator swings: the CPU begins anywhere."""
    assembly.reset = assembly.tolerance.uniform("short reset", *TOO_SHORT)
    assembly.condition.unreset = True


def loop_reset(assembly: Assembly, part: str) -> None:  # noqa: ARG001 (every fault is told its part)
    """The reset comes again and again."""
    tolerance = assembly.tolerance
    assembly.condition.reset_loop = tolerance.uniform("loop low", *LOOP_LOW), tolerance.uniform("loop high", *LOOP_HIGH)


def lose_bits(assembly: Assembly, part: str) -> None:  # noqa: ARG001 (every fault is told its part)
    """Cells of the ROM have let their charge go: one or two bits read as 1 here and there."""
    generator = assembly.tolerance.generator("lost bits")
    bits = generator.choice(8, size=int(generator.integers(1, 3)), replace=False)
    assembly.condition.spoil(lost=sum(1 << int(bit) for bit in bits))


def kill_ram(assembly: Assembly, part: str) -> None:
    """One bit of every byte is not what was written."""
    kill_bit(assembly, assembly.circuit.parts[part])


def short_ram(assembly: Assembly, part: str) -> None:
    """A memory chip that gets hot: it draws far too much and its bit stays low."""
    chip = assembly.circuit.parts[part]
    rail = assembly.circuit.rails[chip.rail or ""]
    assembly.amps[part] += assembly.tolerance.uniform("shorted memory", *SHORTED_DRAWS) * 5.0 / abs(rail.nominal)
    assembly.states[part] = {}
    for net in outputs_of(chip):
        answer(assembly, net, STUCK_LOW)


def array_places(circuit: Circuit) -> list[FaultPlace]:
    """The memory as a whole, named by its first chip."""
    chips = [part for part in circuit.parts.values() if part.kind == "dram"] if circuit.signals else []
    words = "and others of its row are dead after trouble on a rail"
    return [
        FaultPlace("ram-several", part.name, None, "board", f"{part.words} {part.name} {words}") for part in chips[:1]
    ]


def kill_several(assembly: Assembly, part: str) -> None:  # noqa: ARG001 (the seed picks)
    """Two to six chips are dead, and some of them leak."""
    for name in kill_memory(assembly, 2, 6):
        assembly.amps[name] *= assembly.tolerance.uniform(f"leaks {name}", 0.5, 2.2)


def lose_strobe(assembly: Assembly, part: str) -> None:
    """A strobe of the memory never comes: without RAS or CAS it answers nothing and draws less, without WE it keeps
    nothing."""
    tolerance = assembly.tolerance
    strobes = [net for net in assembly.circuit.parts[part].logic.values() if net in ("RAS", "CAS", "WE")]
    net = tolerance.choice("lost strobe", strobes or ["RAS"])
    share = tolerance.uniform("lost strobe level", 0.0, 1.0)
    hold(assembly, net, STUCK_HIGH if share < 0.5 else OPEN_OUTPUT)
    rest = {"RAS": "standby", "CAS": "refreshed"}.get(net)
    for name, states in assembly.states.items():
        if rest and assembly.circuit.parts.get(name) and assembly.circuit.parts[name].kind == "dram":
            idle = states.get(rest, 1.0)
            states.update({state: min(factor, idle) for state, factor in states.items()})


def spoil_picture(assembly: Assembly, part: str) -> None:  # noqa: ARG001 (every fault is told its part)
    """The picture path gives black, white, or nothing of what the memory holds."""
    share = assembly.tolerance.uniform("picture path", 0.0, 1.0)
    assembly.condition.picture_code = STUCK_LOW if share < 0.7 else OPEN_OUTPUT


def hurt_port(assembly: Assembly, part: str) -> None:
    """Struck at its connector: mostly nothing a bare board shows, sometimes its interrupt or a data pin."""
    tolerance, signals = assembly.tolerance, assembly.circuit.signals
    share = tolerance.uniform("port damage", 0.0, 1.0)
    assembly.amps[part] *= tolerance.uniform("port draws", 1.0, 1.5)
    if share < 0.2 and signals is not None:
        hold(assembly, signals.interrupted_by, STUCK_LOW)
    elif share < 0.3:
        hold(assembly, f"D{int(tolerance.uniform('port bit', 0.0, 8.0))}", STUCK_LOW)


def fail_warm(assembly: Assembly, part: str) -> None:
    """Loses its bit when it is warmer than a bare board ever gets by itself."""
    assembly.fails_warm[part] = assembly.tolerance.uniform(f"fails warm {part}", *FAILS_WARM)


def leave(assembly: Assembly, part: str) -> None:
    """What is broken is outside what a bare board does."""


def joint_places(circuit: Circuit) -> list[FaultPlace]:
    """Contacts and tracks of the first rail."""
    rail = next(name for name, one in circuit.rails.items() if one.fed is not None)
    return [
        FaultPlace(
            "cracked-joint", element.part or "", rail, "board", f"{element.kind} {element.part} has a cracked joint"
        )
        for element in circuit.copper
        if element.net == rail and element.worn
    ]


def crack(assembly: Assembly, part: str) -> None:
    """A joint that comes and goes: with time, once warm, or when somebody bends the board; mostly it sleeps."""
    tolerance = assembly.tolerance
    element = next(one for one in assembly.circuit.copper if one.part == part and one.worn)
    if tolerance.uniform("dormant joint", 0.0, 1.0) < DORMANT:
        kind = tolerance.choice("sleeping joint", ("warm", "bent"))
        warmth, flexed = (21.0, 0.0) if kind == "warm" else (0.0, float("inf"))
    else:
        warmth, flexed = 0.0, 0.0
    on, off = tolerance.uniform("joint on", 0.5, 4.0), tolerance.uniform("joint off", 0.05, 0.6)
    assembly.joints.append(Joint(element.name, CRACKED_OHMS, on, off, warmth, flexed))


def mistake_places(circuit: Circuit) -> list[FaultPlace]:
    """Chips that somebody had in hand."""
    kinds = ("data buffer", "decoder", "rom", "cpu", "dram")
    words = "bears the marks of an earlier repair"
    return part_places("repair-damage", words, *kinds)(circuit)


def botch(assembly: Assembly, name: str) -> None:
    """A chip put in the wrong way round, a bridge of solder, or a lifted pad."""
    part, tolerance = assembly.circuit.parts[name], assembly.tolerance
    share = tolerance.uniform("repair damage", 0.0, 1.0)
    if share < 0.4:
        assembly.amps[name] *= tolerance.uniform("reversed chip", 2.5, 6.0)
        assembly.states[name] = {}
        kill(assembly, part)
    elif share < 0.7:
        bridge(assembly, tolerance.choice("solder bridge", [f"D{bit}" for bit in range(7)]))
    else:
        cut(assembly, part, tolerance.choice("lifted pad", legs_of(part)), in_socket=False)


MEMORY_FAULTS: Mapping[str, BoardFault] = {
    "reset-missing": BoardFault(part_places("reset-missing", "gives no reset worth the name", *RESETS), lose_reset),
    "reset-looping": BoardFault(part_places("reset-looping", "resets again and again", *RESETS), loop_reset),
    "rom-bits-lost": BoardFault(part_places("rom-bits-lost", "has lost bits", "rom"), lose_bits),
    "ram-dead": BoardFault(part_places("ram-dead", "is dead", "dram"), kill_ram),
    "ram-shorted": BoardFault(part_places("ram-shorted", "gets hot", "dram"), short_ram),
    "ram-several": BoardFault(array_places, kill_several),
    "ram-strobe-missing": BoardFault(part_places("ram-strobe-missing", "makes no strobe", "gates"), lose_strobe),
    "ram-marginal": BoardFault(part_places("ram-marginal", "fails when warm", "dram"), fail_warm),
    "video-ram-bad": BoardFault(part_places("video-ram-bad", "spoils the picture", "shifter"), spoil_picture),
    "colour-lost": BoardFault(part_places("colour-lost", "makes no colour", "colour crystal", "colour encoder"), leave),
    "port-chip-damaged": BoardFault(part_places("port-chip-damaged", "is damaged", "port"), hurt_port),
    "keyboard-open": BoardFault(part_places("keyboard-open", "has an open row", "keyboard connector"), leave),
    "sound-stage-dead": BoardFault(part_places("sound-stage-dead", "makes no sound", "sound stage"), leave),
    "cracked-joint": BoardFault(joint_places, crack),
    "repair-damage": BoardFault(mistake_places, botch),
    "peripheral-fault": BoardFault(
        part_places("peripheral-fault", "is good, what was plugged in is not", "port"), leave
    ),
}
