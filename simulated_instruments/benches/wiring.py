"""The simulator's own wiring file: which instruments there are, and what their terminals are joined to.

It reads no bench file: what a bench says about its wiring may be wrong, and finding that out is the program's job.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from simulated_instruments.benches.copper import wire_ohms
from simulated_instruments.board.document import Entry, read_entries

FIXTURE = Path(__file__).parent / "fixture.yaml"


@dataclass(frozen=True)
class InstrumentPlace:
    """An instrument by the name of its dialect, and its address."""

    name: str
    device: str
    address: str


@dataclass(frozen=True)
class Feed:
    """A supply output and the rail it feeds, through two leads of `lead_ohms` each."""

    rail: str
    output: int
    lead_ohms: float


@dataclass(frozen=True)
class SupplyWiring:
    """A supply: outputs, output resistance (Ω), time constants (s), feeds."""

    instrument: str
    outputs: tuple[int, ...]
    ohms: float
    rise: float
    fall: float
    feeds: tuple[Feed, ...]


@dataclass(frozen=True)
class Routes:
    """Relay slots behind the meter's HI and LO and behind each scope input, and the resistance (Ω) of one closed
    path."""

    relays: str
    meter: str
    high: int
    low: int
    path_ohms: float
    scope: tuple[int, ...]


@dataclass(frozen=True)
class Wiring:
    """A whole bench. `fixtures` is board → point → position."""

    name: str
    line_hertz: float
    instruments: Mapping[str, InstrumentPlace]
    supply: SupplyWiring
    routes: Routes
    fixtures: Mapping[str, Mapping[str, int]]

    def channels(self, board: str) -> list[int]:
        """Every relay channel that leads to a point of `board`."""
        slots = (self.routes.high, self.routes.low)
        return [100 * slot + position for slot in slots for position in self.fixtures.get(board, {}).values()]


@lru_cache(maxsize=1)
def read_wiring(path: Path = FIXTURE) -> Wiring:
    """The wiring in the file at `path`; raises `FileError`."""
    top = read_entries(path)
    top.only("wiring", "words", "line", "ambient", "instruments", "supply", "routes", "fixtures")
    ambient = top["ambient"].number("°C")
    return Wiring(
        name=top["wiring"].words(),
        line_hertz=top["line"].number("Hz"),
        instruments={
            name: InstrumentPlace(name, entry["device"].words(), entry["address"].words())
            for name, entry in top["instruments"].pairs()
        },
        supply=read_supply(top["supply"], ambient),
        routes=read_routes(top["routes"]),
        fixtures={
            board: {point: position.whole() for point, position in entry.pairs()}
            for board, entry in top["fixtures"].pairs()
        },
    )


def read_supply(entry: Entry, ambient: float) -> SupplyWiring:
    """The supply and its leads."""
    entry.only("instrument", "outputs", "ohms", "rise", "fall", "feeds")
    feeds = []
    for rail, feed in entry["feeds"].pairs():
        feed.only("output", "leads")
        leads = feed["leads"]
        leads.only("metres", "square millimetres", "contacts")
        wire = wire_ohms(leads["metres"].number(""), leads["square millimetres"].number(""), ambient)
        feeds.append(Feed(rail, feed["output"].whole(), wire + leads["contacts"].number("ohm")))
    return SupplyWiring(
        instrument=entry["instrument"].words(),
        outputs=tuple(int(word) for word in entry["outputs"].words().split(",")),
        ohms=entry["ohms"].number("ohm"),
        rise=entry["rise"].number("s"),
        fall=entry["fall"].number("s"),
        feeds=tuple(feeds),
    )


def read_routes(entry: Entry) -> Routes:
    """The relay slots."""
    entry.only("relays", "meter", "high", "low", "scope", "path")
    return Routes(
        relays=entry["relays"].words(),
        meter=entry["meter"].words(),
        high=entry["high"].whole(),
        low=entry["low"].whole(),
        path_ohms=entry["path"].number("ohm"),
        scope=tuple(int(word) for word in entry["scope"].words().split(",")),
    )
