"""What one fault does to a board: which part stops, which net is held, which leg is open. Values only.

An effect knows no readings: those follow from `autobench.diagnosis.simulation`.
"""

from __future__ import annotations

from dataclasses import dataclass

Leg = tuple[str, str]  # part, net


@dataclass(frozen=True)
class RailTrouble:
    """Trouble of one rail: `open` or `resistance` behind `part`, `short` (a hard one), `soft short`, `ripple`, `loose`
    (open now and then, behind `part`); of one the board makes itself also `missing`, `low` and `high`."""

    rail: str
    kind: str
    part: str | None = None


@dataclass(frozen=True)
class Effect:
    """One way a fault may turn out; `weight` is its chance among the ways of that fault.

    `dead`: parts whose outputs do nothing but stay at `dead_level`; they draw `dead_draw` of their amps. `held`: nets
    that nothing can move, with their level; `grounded`: those of them that a short holds, lower than any output does.
    `outputs`: single outputs of parts that stay at a level. `cut`: legs that
    touch nothing; with `in_socket` the probe still touches the board's side. `fetched`: what the CPU reads where the
    ROM answers (`garbage`). `later`: the start-up program runs, then the CPU ends in this state. `extra`: share of
    the rail's nominal current that flows besides. `fought`: nets on which outputs fight now and then; `joined`: two
    that are one.
    """

    weight: float = 1.0
    dead: tuple[str, ...] = ()
    dead_level: str = "static"
    dead_draw: float = 0.6
    held: tuple[tuple[str, str], ...] = ()
    grounded: tuple[str, ...] = ()
    outputs: tuple[tuple[Leg, str], ...] = ()
    cut: tuple[Leg, ...] = ()
    in_socket: bool = False
    rail: RailTrouble | None = None
    fetched: str | None = None
    later: str | None = None
    extra: float = 0.0
    fought: tuple[str, ...] = ()
    joined: tuple[str, ...] = ()


HEALTHY = Effect()
