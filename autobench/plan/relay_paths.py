"""What hangs on the relays of each slot, and the most that can flow through their contacts. Pure; moves nothing.

A bench's relays carry measuring currents. What the board's volts drive into an input counts; a meter's own ohms source
does not, since it is put to rest before anything moves. A supply whose leads somebody took through relays counts with
all that its output may give.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from autobench.documents.bench import POSITIONS_A_SLOT, Bench
from autobench.documents.driver import Driver
from autobench.errors import InterlockRefusedError
from autobench.quantity import show

MOST_AMPS = 0.1  # A through contacts that move (common practice: a contact that breaks more burns, or welds)
SCOPE_OHMS = 1e6  # of an input of a scope or a counter without its probe (common practice)


@dataclass(frozen=True)
class RelayPath:
    """One slot: the instrument's `input` on it (`meter high`) and the amps it can take from the board or give to it.

    `supply` and `output` are those of a supply taken through relays, which count only while that output may be live.
    """

    slot: int
    input: str
    amps: float
    supply: str | None = None
    output: int = 0


def relay_paths(bench: Bench, drivers: Mapping[str, Driver], volts: float) -> tuple[RelayPath, ...]:
    """One path for each slot of the bench; `volts` is the most there can be on the board."""
    slots = bench.routes.slots if bench.routes is not None else {}
    return tuple(path_of(name, slot, bench, drivers, volts) for name, slot in slots.items())


def path_of(name: str, slot: int, bench: Bench, drivers: Mapping[str, Driver], volts: float) -> RelayPath:
    """The path of one slot."""
    instrument, _, which = name.rpartition(" ")
    driver = drivers[instrument]
    if driver.kind == "meter" and driver.measures is not None:
        return RelayPath(slot, name, volts / driver.measures.input.value)
    if driver.kind in ("scope", "counter"):
        return RelayPath(slot, name, volts / (SCOPE_OHMS * float(bench.instruments[instrument].probe or 1)))
    number = int(which) if which.isdigit() else 0
    caps = [feed.most_amps for feed in bench.feeds.values() if feed.supply == instrument and feed.output == number]
    rated = driver.outputs.amps.high if driver.outputs is not None else None
    return RelayPath(slot, name, max(caps, default=rated or float("inf")), instrument, number)


def require_apart(paths: Mapping[int, RelayPath], channels: Iterable[int]) -> None:
    """Raise `InterlockRefusedError` where closing `channels` at once would join two points of the board.

    Two channels of one slot meet at the input they share: with a rail on each, that is a short between two rails.
    """
    by_slot: dict[int, int] = {}
    for channel in channels:
        slot = channel // POSITIONS_A_SLOT
        if paths and slot not in paths:
            raise InterlockRefusedError(f"relay {channel} refused: the bench file does not say what is on slot {slot}")
        other = by_slot.setdefault(slot, channel)
        if other != channel:
            name = paths[slot].input if slot in paths else f"slot {slot}"
            raise InterlockRefusedError(
                f"relays {other} and {channel} refused: both lead to '{name}', which would join two points of the board"
            )


def require_small(paths: Iterable[RelayPath]) -> None:
    """Raise `InterlockRefusedError` where more than 100 mA may flow through contacts that are to move."""
    for path in paths:
        if path.amps > MOST_AMPS:
            raise InterlockRefusedError(
                f"relays of '{path.input}' must not move now: up to {show(path.amps, 'A')} may flow through them, and "
                f"{show(MOST_AMPS, 'A')} is the most they may break"
            )
