"""The instruments of a bench, opened: documents to links, dialects and roles. Switches nothing, measures nothing."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from autobench.clock import Clock
from autobench.documents.bench import Bench
from autobench.documents.driver import Driver
from autobench.errors import BenchError, LinkError
from autobench.instruments.connection import connect
from autobench.instruments.counter import Counter
from autobench.instruments.dialect import Dialect
from autobench.instruments.exchange import Exchange
from autobench.instruments.meter import Meter
from autobench.instruments.relays import Relays
from autobench.instruments.scope import Scope
from autobench.instruments.supply import Supply
from autobench.instruments.visa import unwatched

if TYPE_CHECKING:
    from autobench.instruments.visa import VisaLibraryBase


@dataclass
class Opened:
    """Everything that was opened, by its name in the bench file."""

    dialects: dict[str, Dialect] = field(default_factory=dict)
    supplies: dict[str, Supply] = field(default_factory=dict)
    meters: dict[str, Meter] = field(default_factory=dict)
    relays: dict[str, Relays] = field(default_factory=dict)
    scopes: dict[str, Scope] = field(default_factory=dict)
    counters: dict[str, Counter] = field(default_factory=dict)
    identities: dict[str, str] = field(default_factory=dict)

    def close(self) -> list[str]:
        """Hand every panel back and close every link; returns what went wrong, in words."""
        troubles = []
        for dialect in self.dialects.values():
            try:
                dialect.close()
            except LinkError as error:
                troubles.append(str(error))
        self.dialects.clear()
        return troubles


@dataclass(frozen=True)
class Opener:
    """How instruments are opened: over which library, on which clock, who hears the exchanges, who may break in.

    `renew` hears that the program is alive while it waits for a reply; see `visa.open_session`.
    """

    library: VisaLibraryBase | None
    clock: Clock
    on_exchange: Callable[[Exchange], None]
    check: Callable[[], None]
    renew: Callable[[float], None] = unwatched

    def open(self, bench: Bench, drivers: Mapping[str, Driver], *, only_supplies: bool = False) -> Opened:
        """Open and identify every instrument of the bench; on an error close what was opened and raise `LinkError`.

        Supplies come first: whatever fails later, they can be switched off.
        """
        opened = Opened()
        kinds = ("supply",) if only_supplies else ("supply", "meter", "relays", "scope", "counter")
        try:
            for kind in kinds:
                for name, driver in drivers.items():
                    if driver.kind == kind:
                        self._open_one(opened, bench, name, driver)
        except BaseException:
            with contextlib.suppress(BenchError):
                opened.close()
            raise
        return opened

    def _open_one(self, opened: Opened, bench: Bench, name: str, driver: Driver) -> None:
        instrument = bench.instruments[name]
        link = connect(
            driver,
            instrument.address,
            name,
            self.clock,
            self.library,
            on_exchange=self.on_exchange,
            check=self.check,
            renew=self.renew,
            line=instrument.serial_line,
            own_ends=instrument.ends,
        )
        dialect = Dialect(driver, link, self.clock)
        opened.dialects[name] = dialect
        identity = dialect.identify()
        opened.identities[name] = identity
        dialect.clear()  # errors left over from somebody else's session must not accuse our first command
        dialect.recognise()
        if instrument.serial is not None and instrument.serial not in identity.split(","):
            raise LinkError(name, f"serial number {instrument.serial} is wanted, but '{identity}' answers")
        if driver.kind == "supply":
            fed = [feed for feed in bench.feeds.values() if feed.supply == name]
            used = {feed.output: feed.negative for feed in fed if feed.output is not None}
            turned = [output for output, negative in used.items() if negative]
            opened.supplies[name] = Supply(dialect, tuple(used), turned)
        elif driver.kind == "meter":
            opened.meters[name] = Meter(dialect, bench.line_frequency.value)
        elif driver.kind == "scope":
            opened.scopes[name] = Scope(dialect, float(instrument.probe or 1))
        elif driver.kind == "counter":
            opened.counters[name] = Counter(dialect, float(instrument.probe or 1))
        else:
            settle = bench.routes.settle.value if bench.routes is not None else 0.0
            opened.relays[name] = Relays(dialect, settle)
