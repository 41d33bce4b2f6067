"""Which chip is too hot for a finger, from the watts it turns into heat beside what its kind does. It measures nothing.

A plastic package of 14 to 40 legs gets 30 to 60 degrees warmer a watt (from memory); a finger stays on 55 °C for some
seconds, and every large chip is warm, so only what is far above its like stands out.
"""

from __future__ import annotations

from simulated_instruments.board.board import Board, supply_nodes

LIVE = 0.7  # V; a rail in current limit still heats what pulls it down
TOO_MANY_WATTS = 0.5  # more than a healthy one of its kind: some 25 degrees on top of what is usual


STAYS_HOT = 120.0  # s; a package cools slowly once the power is gone


def hottest(board: Board, time: float) -> str | None:
    """The part whose heat stands out most at `time`, or stood out when the power went a moment ago; None where none
    does."""
    volts_now = {name: abs(board.volts(time, *supply_nodes(board.assembly, name))) for name in board.assembly.amps}
    found = standing_out(board, time, volts_now)
    if found is not None or max(volts_now.values(), default=0.0) > LIVE:
        return found
    index = board.network.index
    pairs = {name: supply_nodes(board.assembly, name) for name in board.assembly.amps}
    for moment in reversed(board.transient.history):
        if time - moment.time > STAYS_HOT:
            break
        volts = {name: abs(float(moment.volts[index[a]] - moment.volts[index[b]])) for name, (a, b) in pairs.items()}
        found = standing_out(board, moment.time, volts)
        if found is not None:
            return found
    return None


def standing_out(board: Board, time: float, across: dict[str, float]) -> str | None:
    """The part whose watts stand out most, with so many volts across each."""
    found: dict[str, float] = {}
    circuit, assembly = board.circuit, board.assembly
    scales = dict(zip(assembly.amps, board.scales(time).tolist(), strict=True))
    for name, amps in assembly.amps.items():
        part = circuit.drawer(name)
        nominal = abs(circuit.rails[part.rail or ""].nominal)
        volts = across[name]
        drawn = amps * scales[name] * volts / nominal + volts * assembly.siemens.get(name, 0.0)
        found[name] = volts * drawn - nominal * part.draws
    name = max(found, key=lambda each: found[each])
    return name if found[name] > TOO_MANY_WATTS else None
