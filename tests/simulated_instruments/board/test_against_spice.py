"""The DC network of every board against ngspice (Debian package `ngspice`): healthy, and with three faults each.

Long, so the ordinary run does without the package; here it fails where ngspice is missing, and `.ci/run` installs it.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from simulated_instruments.bench import SimulatedBench
from simulated_instruments.benches.wiring import read_wiring
from simulated_instruments.devices.terminals import OutputSetting
from tests.simulated_instruments.board.spice import netlist, solved

pytestmark = pytest.mark.long

AGREES = 1e-3  # relative, of every node's volts
LEAST = 20e-6  # V; below that a node is 0 V
CASES = [
    ("tarnbeck-8", {}, ""),
    ("tarnbeck-8", {"video": "early"}, "connector-resistance@SW1"),
    ("tarnbeck-8", {}, "chip-supply-short@U12"),
    ("tarnbeck-8", {}, "decoupler-short@C12"),
    ("pellin-600", {}, ""),
    ("pellin-600", {}, "connector-resistance@J1"),
    ("pellin-600", {}, "plus12-missing@J1"),
    ("pellin-600", {}, "ram-shorted@U15"),
    ("wexcombe-2", {}, ""),
    ("wexcombe-2", {}, "plus12-missing@BR1"),
    ("wexcombe-2", {}, "connector-resistance@J4"),
    ("wexcombe-2", {}, "chip-supply-short@U20"),
    ("orrin-tk", {"power": "converter"}, ""),
    ("orrin-tk", {"power": "converter"}, "regulator-low@VR1"),
    ("orrin-tk", {"power": "converter"}, "bias-rail-missing@U22"),
    ("orrin-tk", {"power": "converter"}, "connector-resistance@J1"),
    ("orrin-tk", {"power": "bench"}, ""),
]


@pytest.mark.parametrize(("board", "options", "fault"), CASES)
def test_every_node_agrees_with_ngspice(tmp_path: Path, board: str, options: dict[str, str], fault: str) -> None:
    """Eight seconds after power-on every node's volts are those of ngspice for the same circuit, within 0.1 %."""
    assert shutil.which("ngspice"), "ngspice is not installed: apt-get update && apt-get install -y ngspice"
    with SimulatedBench.open(board, options=options, faults=(fault,) if fault else (), seed=3) as bench:
        world, rails = bench.world, bench.world.board.circuit.rails
        for feed in read_wiring().supply.feeds:
            if feed.rail in world.board.assembly.fed:
                world.apply(feed.output, OutputSetting(True, abs(rails[feed.rail].nominal), 1.5))
        bench.clock.sleep(8.0)
        moment = world.board.moment(bench.clock.now())
        network = world.board.network
        network.scale = world.board.scales(moment.time)
        ours = network.solve(moment.time, moment.volts)
        theirs = solved(netlist(network, moment.time, ours), tmp_path)
    nodes = {name: place for name, place in network.index.items() if place != network.size and name[:5] != "meter"}
    wrong = [
        f"{name}: {float(ours[place]):.6f} V, ngspice {theirs[place]:.6f} V"
        for name, place in nodes.items()
        if place in theirs and float(ours[place]) != pytest.approx(theirs[place], rel=AGREES, abs=LEAST)
    ]
    assert wrong == []
    bare = [name for name, place in nodes.items() if place not in theirs]
    assert len(bare) <= 2, bare  # nodes that nothing leads to, such as an empty socket of the bench
