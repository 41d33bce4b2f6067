"""What a fault changes on a board that stands powered, told by comparing the specimen with its healthy twin.

For scoring and for whoever writes sequences, as the truth is; no instrument may see it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from simulated_instruments.board.circuit import Circuit
from simulated_instruments.devices.terminals import OutputSetting
from simulated_instruments.world import World

SETTLED = 6.0  # s after power-on
WINDOW, LOOKS = 40e-3, 8192  # s; two fields, looked at so many times
AMPLE = 5.0  # A; the supply is not to limit
# What counts as different: V of a node, V of a net's mean and of its extremes, share of a current.
NODE_VOLTS, MEAN_VOLTS, EXTREME_VOLTS, CURRENT_SHARE = 0.03, 0.15, 0.5, 0.05


@dataclass(frozen=True)
class Difference:
    """`net` (a net, or a rail with `what` volts or amps) as it is with the fault and without it, in words."""

    net: str
    what: str
    healthy: str
    faulty: str


def differences(
    board: str,
    options: Mapping[str, str],
    faults: Sequence[str],
    seed: int,
    circuit: Path | Circuit | None = None,
    plate: Mapping[str, int] | None = None,
) -> list[Difference]:
    """Everything of a settled board that `faults` change, supply first. Raises as `SimulatedBench.open` does."""
    from simulated_instruments.bench import SimulatedBench

    worlds = []
    for done in ((), tuple(faults)):
        bench = SimulatedBench.open(board, options=options, faults=done, seed=seed, circuit=circuit, plate=plate)
        power(bench.world)
        bench.clock.sleep(SETTLED)
        worlds.append(bench.world)
    return [*supply_differences(*worlds), *net_differences(*worlds)]


def power(world: World) -> None:
    """Every rail at its nominal volts."""
    rails = world.board.circuit.rails
    for feed in world.wiring.supply.feeds:
        if feed.rail in world.board.assembly.fed:
            world.apply(feed.output, OutputSetting(True, abs(rails[feed.rail].nominal), AMPLE))


def supply_differences(healthy: World, faulty: World) -> list[Difference]:
    """Currents of the outputs, and volts of the supply nodes."""
    before, after = healthy.truth(), faulty.truth()
    found = []
    for number, output in before.outputs.items():
        amps = after.outputs[number].amps
        if abs(amps - output.amps) > CURRENT_SHARE * max(abs(output.amps), 0.05):
            rail = next((feed.rail for feed in healthy.wiring.supply.feeds if feed.output == number), "")
            found.append(Difference(rail, "amps", f"{output.amps:.3f} A", f"{amps:.3f} A"))
    for node, volts in before.nodes.items():
        there = after.nodes.get(node, volts)
        if abs(there - volts) > NODE_VOLTS and "." in node:
            found.append(Difference(node, "volts", f"{volts:.2f} V", f"{there:.2f} V"))
    return found


def net_differences(healthy: World, faulty: World) -> list[Difference]:
    """Nets whose mean or extremes differ over two fields."""
    times = SETTLED - WINDOW + WINDOW * np.sort(np.random.default_rng(0).random(LOOKS))
    found = []
    for net in sorted(healthy.nets.nets):
        try:
            one = healthy.nets.net(net, SETTLED).samples(times)
            other = faulty.nets.net(net, SETTLED).samples(times)
        except KeyError:
            continue  # a net that only the mains moves: on a bench that feeds direct current nothing is known of it
        apart = abs(float(one.mean() - other.mean())) > MEAN_VOLTS
        ends = np.abs(np.percentile(one, (2, 98)) - np.percentile(other, (2, 98)))
        if apart or float(ends.max()) > EXTREME_VOLTS:
            found.append(Difference(net, "waveform", in_words(one), in_words(other)))
    return found


def in_words(volts: np.ndarray) -> str:
    """A waveform as low and high, or as the one level it stands at."""
    low, high = (float(end) for end in np.percentile(volts, (2, 98)))
    return f"at {volts.mean():.1f} V" if high - low < EXTREME_VOLTS else f"moving from {low:.1f} V to {high:.1f} V"
