"""What faults of the CPU and of its pins do on one board, as weighted effects.

Levels of dead outputs and the ways a disturbed program ends are common practice; weights are first guesses.
"""

from __future__ import annotations

from dataclasses import replace

from autobench.diagnosis import cpu
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.effects import Effect
from autobench.diagnosis.memory_effects import AFTER_START, DEAD_LEVELS, Spot, Ways
from autobench.diagnosis.parts import CPU_ADDRESSES, CPU_DATA


def cpu_dead(at: Spot) -> Ways:
    """Every output still; it draws less, seldom more."""
    levels = {"static": 0.35, "high": 0.3, "floating": 0.1, "low": 0.05}
    cold = tuple(Effect(weight, dead=(at.part,), dead_level=level, dead_draw=0.7) for level, weight in levels.items())
    return (*cold, Effect(0.2, dead=(at.part,), dead_draw=0.7, extra=0.1))


def cpu_pin(at: Spot) -> Ways:
    """A pin of the CPU: a strobe that is not the fetch strobe, an address line or a data line, each as likely."""
    nets = at.board.cpu_nets
    strobes = [line for line in nets.outputs if line in at.board.nets and line not in (nets.fetch, "HALT", "BUSAK")]
    pins = [*strobes, *CPU_ADDRESSES, *CPU_DATA]
    each = 1.0 / len(pins)
    ways = []
    for pin in pins:
        if pin in CPU_DATA:
            ways.append(Effect(each, cut=((at.part, pin),), in_socket=True))
            continue
        for level, share in DEAD_LEVELS[:2]:
            dead = Effect(each * share / 0.75, outputs=(((at.part, pin), level),))
            ways += lost_pin(at.board, pin, level, dead)
    return tuple(ways)


def lost_pin(board: BoardModel, pin: str, level: str, dead: Effect) -> Ways:
    """What becomes of the program without an output of the CPU that stays at `level`.

    The ROM is read without writes, without refresh, and with memory asked for all the time: what is kept in memory is
    lost, and the program with it once it needs that.
    """
    if pin in ("IORQ", "PHI1") or (pin == "REFRESH" and board.architecture.get("refresh source") != "cpu"):
        return (dead,)
    if pin in ("WR", "REFRESH", "MEMREQ") or (pin == "RW" and level != "low"):
        return tuple(replace(dead, weight=dead.weight * share, later=state) for state, share in AFTER_START)
    return (replace(dead, fetched="ones" if pin == "PHI2" else "garbage"),)


def interrupt_held(at: Spot) -> Ways:
    """An interrupt that never ends; NMI acts by its edge alone, and the one edge mostly comes before there is power."""
    low = Effect(held=((at.net, "low"),))
    if at.net != "NMI":
        return (low,)
    return (replace(low, weight=0.8), replace(low, weight=0.2, later=cpu.CRASHED))
