"""Which chip is too hot for a finger, from the watts it turns into heat beside what its kind does. It measures nothing.

A plastic package of 14 to 40 legs gets 30 to 60 degrees warmer a watt (from memory); a finger stays on 55 °C for some
seconds, and every large chip is warm, so only what is far above its like stands out.
"""

from __future__ import annotations

from simulated_instruments.board.board import Board, supply_nodes

TOO_MANY_WATTS = 0.5  # more than a healthy one of its kind: some 25 degrees on top of what is usual


def hottest(board: Board, time: float) -> str | None:
    """The part whose heat stands out most at `time`; None where none does."""
    found: dict[str, float] = {}
    circuit, assembly = board.circuit, board.assembly
    scales = dict(zip(assembly.amps, board.scales(time).tolist(), strict=True))
    for name, amps in assembly.amps.items():
        part = circuit.drawer(name)
        nominal = abs(circuit.rails[part.rail or ""].nominal)
        volts = abs(board.volts(time, *supply_nodes(assembly, name)))
        drawn = amps * scales[name] * volts / nominal + volts * assembly.siemens.get(name, 0.0)
        found[name] = volts * drawn - nominal * part.draws
    name = max(found, key=lambda each: found[each])
    return name if found[name] > TOO_MANY_WATTS else None
