"""The simulator's own wiring file: which instruments there are, and what their terminals are joined to.

It reads no bench file: what a bench says about its wiring may be wrong, and finding that out is the program's job.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from simulated_instruments.benches.copper import wire_ohms
from simulated_instruments.benches.touches import scope_input
from simulated_instruments.board.document import Entry, read_entries

FOLDER = Path(__file__).parent
FIXTURE = "fixture"


@dataclass(frozen=True)
class InstrumentPlace:
    """An instrument by the name of its dialect, and its address."""

    name: str
    device: str
    address: str


@dataclass(frozen=True)
class Feed:
    """A supply output and the rail it feeds, through two leads of `lead_ohms` each, of which `plug_ohms` are in the
    contact at the inlet."""

    rail: str
    output: int
    lead_ohms: float
    plug_ohms: float


@dataclass(frozen=True)
class SupplyWiring:
    """Supplies: outputs, output resistance (Ω), time constants (s), feeds. `instruments` gives of each the number here
    of what it calls its output 1; there are none for one that is worked by its knobs."""

    instruments: Mapping[str, int]
    outputs: tuple[int, ...]
    ohms: float
    rise: float
    fall: float
    feeds: tuple[Feed, ...]

    @property
    def instrument(self) -> str | None:
        """The first supply, None for one that is worked by its knobs."""
        return next(iter(self.instruments), None)


@dataclass(frozen=True)
class Routes:
    """Relay slots behind the meter's HI and LO and behind each input of scope and counter, and the resistance (Ω) of
    one closed path."""

    relays: str
    meter: str
    high: int
    low: int
    path_ohms: float
    scope: tuple[int, ...]
    counter: tuple[int, ...] = ()


@dataclass(frozen=True)
class Hand:
    """A person at the bench: the tips that are held, the resistance (Ω) of a tip's contact, and how long (s) it takes
    from a request until it is done."""

    tips: tuple[str, ...]
    contact_ohms: float
    reach: float


@dataclass(frozen=True)
class Wiring:
    """A whole bench, with relays behind a plate (`routes`, `fixtures`), a person (`hand`) or both on the same inputs.
    `fixtures` is board → point → position."""

    name: str
    line_hertz: float
    instruments: Mapping[str, InstrumentPlace]
    supply: SupplyWiring
    routes: Routes | None
    hand: Hand | None
    fixtures: Mapping[str, Mapping[str, int]]

    @property
    def meter(self) -> str:
        """The name of the meter."""
        return self.routes.meter if self.routes else "meter"

    @property
    def path_ohms(self) -> float:
        """Ω between a meter input and the point it touches."""
        return self.routes.path_ohms if self.routes else self.hand.contact_ohms if self.hand else 0.0

    @property
    def scope_inputs(self) -> list[str]:
        """The scope's inputs that have a probe."""
        if self.routes is not None:
            return [scope_input(number) for number, _ in enumerate(self.routes.scope, start=1)]
        return [tip for tip in self.hand.tips if tip.startswith("scope ")] if self.hand else []

    def channels(self, board: str) -> list[int]:
        """Every relay channel that leads to a point of `board`."""
        if self.routes is None:
            return []
        slots = (self.routes.high, self.routes.low)
        return [100 * slot + position for slot in slots for position in self.fixtures.get(board, {}).values()]


def list_wirings() -> list[str]:
    """The names of the wirings there are."""
    return sorted(path.stem for path in FOLDER.glob("*.yaml"))


@lru_cache(maxsize=8)
def read_wiring(name: str | Path = FIXTURE) -> Wiring:
    """The wiring called `name`, or that in the file at a path; raises `FileError`."""
    top = read_entries(name if isinstance(name, Path) else FOLDER / f"{name}.yaml")
    top.only("wiring", "words", "line", "ambient", "instruments", "supply", "routes", "hand", "fixtures")
    if top.get("routes") is None and top.get("hand") is None:
        raise top.wrong("'routes', 'hand' or both are wanted")
    ambient = top["ambient"].number("°C")
    return Wiring(
        name=top["wiring"].words(),
        line_hertz=top["line"].number("Hz"),
        instruments={
            name: InstrumentPlace(name, entry["device"].words(), entry["address"].words())
            for name, entry in top["instruments"].pairs()
        },
        supply=read_supply(top["supply"], ambient),
        routes=read_routes(routes) if (routes := top.get("routes")) else None,
        hand=read_hand(hand) if (hand := top.get("hand")) else None,
        fixtures=read_fixtures(fixtures) if (fixtures := top.get("fixtures")) else {},
    )


def read_supply(entry: Entry, ambient: float) -> SupplyWiring:
    """The supply and its leads."""
    entry.only("instruments", "outputs", "ohms", "rise", "fall", "feeds")
    feeds = []
    for rail, feed in entry["feeds"].pairs():
        feed.only("output", "leads")
        leads = feed["leads"]
        leads.only("metres", "square millimetres", "contacts")
        wire = wire_ohms(leads["metres"].number(""), leads["square millimetres"].number(""), ambient)
        contacts = leads["contacts"].number("ohm")
        feeds.append(Feed(rail, feed["output"].whole(), wire + contacts, contacts / 2.0))
    return SupplyWiring(
        instruments={name: first.whole() for name, first in named.pairs()}
        if (named := entry.get("instruments"))
        else {},
        outputs=tuple(int(word) for word in entry["outputs"].words().split(",")),
        ohms=entry["ohms"].number("ohm"),
        rise=entry["rise"].number("s"),
        fall=entry["fall"].number("s"),
        feeds=tuple(feeds),
    )


def read_routes(entry: Entry) -> Routes:
    """The relay slots."""
    entry.only("relays", "meter", "high", "low", "scope", "counter", "path")
    counter = entry.get("counter")
    return Routes(
        relays=entry["relays"].words(),
        meter=entry["meter"].words(),
        high=entry["high"].whole(),
        low=entry["low"].whole(),
        path_ohms=entry["path"].number("ohm"),
        scope=tuple(int(word) for word in entry["scope"].words().split(",")),
        counter=tuple(int(word) for word in counter.words().split(",")) if counter else (),
    )


def read_fixtures(entry: Entry) -> dict[str, dict[str, int]]:
    """The plates: board → point → position; or the name of a wiring that has the same ones."""
    if entry.text is not None:
        return {board: dict(plate) for board, plate in read_wiring(entry.words()).fixtures.items()}
    return {board: {point: position.whole() for point, position in plate.pairs()} for board, plate in entry.pairs()}


def read_hand(entry: Entry) -> Hand:
    """The person's tips."""
    entry.only("tips", "contact", "reach")
    return Hand(
        tips=tuple(word.strip() for word in entry["tips"].words().split(",")),
        contact_ohms=entry["contact"].number("ohm"),
        reach=entry["reach"].number("s"),
    )
