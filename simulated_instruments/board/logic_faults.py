"""Faults of a board's logic: what each does to the condition of one specimen and to what the broken part draws.

As with all faults, nothing here knows a reading: a part stops doing its work, and every net and current follows.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from simulated_instruments.board.circuit import Circuit, Part
from simulated_instruments.board.condition import OPEN_OUTPUT, STUCK_HIGH, STUCK_LOW
from simulated_instruments.board.fault_place import BoardFault, FaultPlace
from simulated_instruments.board.net_faults import SHORTED, hold

if TYPE_CHECKING:  # a list of faults needs no arithmetic
    from simulated_instruments.board.assembly import Assembly

DATA_NET = "D{}"
# What a crystal of the drawer next to the right one would be.
OTHER_CRYSTALS = (8.867238e6, 12.0e6, 14.318182e6, 15.0e6, 16.0e6, 17.734475e6)
# A fetch strobe that does not move: shorted, open at the pin with an LS input behind, or stuck high.
FETCH_LEVELS = (0.05, 1.4, 4.8)


def parts_of(circuit: Circuit, *kinds: str) -> list[Part]:
    """The parts of `kinds`, in the circuit's order."""
    return [part for part in circuit.parts.values() if part.kind in kinds] if circuit.signals else []


def at(fault: str, words: str, *kinds: str, net: str | None = None) -> Callable[[Circuit], list[FaultPlace]]:
    """The places of a fault that sits in parts of `kinds`."""

    def places(circuit: Circuit) -> list[FaultPlace]:
        return [
            FaultPlace(fault, part.name, net, "board", f"{part.words} {part.name} {words}")
            for part in parts_of(circuit, *kinds)
        ]

    return places


def stuck_code(assembly: Assembly, name: str) -> int:
    """What a dead LS output is left at: mostly low, sometimes high or open."""
    share = assembly.tolerance.uniform(name, 0.0, 1.0)
    return STUCK_LOW if share < 0.5 else STUCK_HIGH if share < 0.8 else OPEN_OUTPUT


def draws(assembly: Assembly, part: str, low: float, high: float) -> None:
    """The part draws `low` to `high` times what it did."""
    if part in assembly.amps:
        assembly.amps[part] *= assembly.tolerance.uniform(f"dead draw {part}", low, high)


def kill_master(assembly: Assembly, part: str) -> None:
    """The crystal does not swing, or its amplifier is dead.

    A good amplifier without its crystal idles at its own threshold (1.2 to 1.6 V for LS), and the gate behind it too; a
    dead one is stuck.
    """
    condition = assembly.condition
    condition.master_dead = True
    low = assembly.tolerance.uniform("dead oscillator", 0.0, 1.0) < 0.6
    condition.clock_code = (STUCK_LOW if low else STUCK_HIGH) if part in assembly.amps else OPEN_OUTPUT


def wrong_crystal(assembly: Assembly, part: str) -> None:  # noqa: ARG001 (every fault is told its part)
    """An aged crystal some hundred ppm off, or one of another frequency."""
    tolerance, signals = assembly.tolerance, assembly.circuit.signals
    assert signals is not None
    share = tolerance.uniform("wrong crystal", 0.0, 1.0)
    if share < 0.3:
        factor = 1.0 - tolerance.uniform("low crystal", 400e-6, 900e-6)
    elif share < 0.6:
        factor = 1.0 + tolerance.uniform("high crystal", 400e-6, 3000e-6)
    else:
        near = [hertz for hertz in OTHER_CRYSTALS if 0.02 < abs(hertz / signals.master - 1.0) < 0.5]
        factor = float(tolerance.choice("other crystal", [repr(hertz) for hertz in near])) / signals.master
    assembly.condition.master_factor = factor


def kill_branch(assembly: Assembly, part: str) -> None:  # noqa: ARG001 (every fault is told its part)
    """One output of the divider is dead or runs at half its rate."""
    tolerance, signals, condition = assembly.tolerance, assembly.circuit.signals, assembly.condition
    assert signals is not None
    net = tolerance.choice("dead branch", list(signals.divided))
    condition.branches[net] = 0.0 if tolerance.uniform("branch", 0.0, 1.0) < 0.65 else 0.5
    condition.branch_code = stuck_code(assembly, "branch level")


def hold_reset(assembly: Assembly, part: str) -> None:  # noqa: ARG001 (every fault is told its part)
    """Reset is never released."""
    assembly.condition.reset_stuck = True


def kill_cpu(assembly: Assembly, part: str) -> None:
    """The CPU does nothing any more; its outputs stay where they are."""
    assembly.condition.cpu_dead = True
    draws(assembly, part, 0.75, 1.25)


def kill_fetch(assembly: Assembly, part: str) -> None:  # noqa: ARG001 (every fault is told its part)
    """The driver of one output is dead; all the rest works."""
    level = assembly.tolerance.choice("fetch level", [str(volts) for volts in FETCH_LEVELS])
    assembly.condition.fetch_volts = float(level)


def fetch_places(circuit: Circuit) -> list[FaultPlace]:
    """The CPU's fetch output, by the name its class gives it."""
    net = "SYNC" if circuit.signals is not None and circuit.signals.cpu == "S" else "FETCH"
    return at("fetch-strobe-dead", "has lost its fetch output", "cpu", net=net)(circuit)


def kill_rom(assembly: Assembly, part: str) -> None:
    """The ROM's outputs never leave their third state."""
    assembly.condition.rom_dead = True
    draws(assembly, part, 0.4, 1.0)


def data_places(circuit: Circuit) -> list[FaultPlace]:
    """The eight data lines."""
    if circuit.signals is None:
        return []
    nets = [DATA_NET.format(bit) for bit in range(8)]
    return [
        FaultPlace("data-line-short", net, net, "board", f"data line {net} is shorted to 0 V inside a part on the bus")
        for net in nets
    ]


def short_data_line(assembly: Assembly, part: str) -> None:
    """One data line is at 0 V for everybody."""
    hold(assembly, part, SHORTED)
    # Every output that tries to pull the line up feeds the short: ROM or buffer in reads, the CPU in writes.
    for kind in ("rom", "data buffer"):
        for one in parts_of(assembly.circuit, kind):
            assembly.amps[one.name] += assembly.tolerance.uniform(f"short feeds {one.name}", 0.008, 0.020)


def kill_video(assembly: Assembly, part: str) -> None:
    """No sync, no picture, no interrupt; writes still arrive."""
    assembly.condition.video_dead = True
    assembly.condition.sync_code = stuck_code(assembly, "dead sync")
    draws(assembly, part, 0.05, 0.5)


def kill_output(assembly: Assembly, part: str) -> None:
    """The output stage passes nothing on: no signal at all, or a flat level."""
    tolerance = assembly.tolerance
    flat = tolerance.uniform("flat output", 0.0, 1.0) < 0.5
    assembly.condition.output_volts = tolerance.uniform("output level", 0.2, 1.1) if flat else 0.0
    draws(assembly, part, 0.0, 0.8)


def enable_always(assembly: Assembly, part: str) -> None:  # noqa: ARG001 (every fault is told its part)
    """The buffer from RAM drives the data bus whatever its enables say."""
    assembly.condition.buffer_always_on = True


def kill_decoder(assembly: Assembly, part: str) -> None:
    """No select ever, or all of them low."""
    none = assembly.tolerance.uniform("dead decoder", 0.0, 1.0) < 0.6
    assembly.condition.decoder = "none" if none else "all"
    draws(assembly, part, 0.0, 0.6)


def bulk_places(circuit: Circuit) -> list[FaultPlace]:
    """The bulk capacitors across a rail."""
    if circuit.signals is None:
        return []
    return [
        FaultPlace("bulk-capacitor-open", one.name, one.net, "board", f"bulk capacitor {one.name} has dried out")
        for one in circuit.capacitors.values()
        if one.kind == "electrolytic" and one.net in circuit.rails
    ]


def open_bulk(assembly: Assembly, part: str) -> None:
    """The capacitor is gone, so the load's own changes show on the rail."""
    assembly.farads[part] = 0.0
    assembly.condition.bulk_open = True


LOGIC_FAULTS: Mapping[str, BoardFault] = {
    "bulk-capacitor-open": BoardFault(bulk_places, open_bulk),
    "master-clock-dead": BoardFault(
        at("master-clock-dead", "does not oscillate", "crystal", "oscillator"), kill_master
    ),
    "wrong-crystal": BoardFault(at("wrong-crystal", "is off its frequency", "crystal"), wrong_crystal),
    "divider-dead": BoardFault(at("divider-dead", "has lost a clock output", "divider", "gate array"), kill_branch),
    "reset-stuck": BoardFault(
        at("reset-stuck", "never releases reset", "reset timer", "reset supervisor", net="RESET"), hold_reset
    ),
    "cpu-dead": BoardFault(at("cpu-dead", "does nothing", "cpu"), kill_cpu),
    "fetch-strobe-dead": BoardFault(fetch_places, kill_fetch),
    "data-line-short": BoardFault(data_places, short_data_line),
    "bus-contention": BoardFault(at("bus-contention", "drives the bus all the time", "data buffer"), enable_always),
    "decoder-dead": BoardFault(at("decoder-dead", "selects nothing or everything", "decoder"), kill_decoder),
    "rom-not-driving": BoardFault(at("rom-not-driving", "does not drive the bus", "rom"), kill_rom),
    "video-chip-dead": BoardFault(at("video-chip-dead", "makes no sync", "video"), kill_video),
    "sync-output-dead": BoardFault(at("sync-output-dead", "passes nothing on", "video output"), kill_output),
    "video-controller-dead": BoardFault(at("video-controller-dead", "makes no sync", "video controller"), kill_video),
}
