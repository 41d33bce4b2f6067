"""A relay multiplexer by its role: everything open, or exactly the channels of one route closed.

It knows channel numbers, no nets and no points. What it reads back is what the instrument was told, not where its
contacts are: only a measurement through the route shows that.
"""

from __future__ import annotations

from collections.abc import Sequence

from autobench.documents.driver_contacts import Contacts
from autobench.errors import BenchError
from autobench.instruments.dialect import Dialect


class Relays:
    """One relay multiplexer. `settle` is what the bench's wiring needs after a move besides the contacts, s.

    Every method may raise the link's errors.
    """

    def __init__(self, dialect: Dialect, settle: float = 0.0) -> None:
        if dialect.driver.channels is None:
            raise BenchError(f"{dialect.name}: the driver '{dialect.driver.driver}' is not one of a relay multiplexer")
        self.dialect = dialect
        self.name = dialect.name
        self.contacts: Contacts = dialect.driver.channels
        self.settle = settle

    def identify(self) -> str:
        """What the instrument says it is."""
        return self.dialect.identify()

    def prepare(self) -> None:
        """Once a session: errors cleared and every channel open."""
        if self.dialect.can("remote"):
            self.dialect.perform("remote")
        self.dialect.clear()
        self.open_all()

    def local(self) -> None:
        """Give the front panel back, where the dialect has a command for it."""
        if self.dialect.can("local"):
            self.dialect.perform("local")

    def open_all(self) -> None:
        """Open every channel, wait until the instrument is done and the contacts have come to rest."""
        self.dialect.perform("open all", check=True)
        self.require_understood(())
        self.dialect.clock.sleep(self.contacts.release.value + self.settle)

    def close(self, channels: Sequence[int]) -> None:
        """Exactly `channels` closed: all open first, since the order inside one list is not guaranteed.

        Raises `BenchError` for a channel the driver file does not know, and for more than it closes at once, before
        anything moves.
        """
        self.dialect.place_text(channels)
        most = self.contacts.at_once
        if most is not None and len(channels) > most:
            listed = ", ".join(str(channel) for channel in channels)
            raise BenchError(f"{self.name}: refused to close {listed}: it can keep {most} closed at once and no more")
        self.open_all()
        if not channels:
            return
        if "channel" in self.dialect.action("close").placeholders:
            for channel in channels:
                self.dialect.perform("close", channel=channel, check=True)
        else:
            self.dialect.perform("close", channels=channels, check=True)
        self.require_understood(channels)
        self.dialect.clock.sleep(self.contacts.operate.value + self.settle)

    def require_understood(self, channels: Sequence[int]) -> None:
        """An instrument without an error queue is asked what it was told: it may not have understood a word.

        Raises `BenchError` where that is not `channels`.
        """
        if self.dialect.driver.link.errors is None and self.dialect.can("closed?"):
            told = self.closed()
            if set(told) != set(channels):
                found, wanted = (", ".join(map(str, sorted(each))) or "none" for each in (told, channels))
                raise BenchError(f"{self.name}: told to have closed {wanted}, but it says {found}")

    def closed(self) -> tuple[int, ...]:
        """The channels the instrument says are closed; raises `BenchError` where the answer is not one state each."""
        numbers = self.contacts.numbers
        answer = self.dialect.perform("closed?", channels=numbers)
        if answer is not None and answer.runs is not None:
            return self.numbers_of(answer.runs)
        states = answer.truths if answer else ()
        if len(states) != len(numbers):
            raise BenchError(f"{self.name}: answered {len(states)} states for {len(numbers)} channels")
        return tuple(number for number, state in zip(numbers, states, strict=True) if state)

    def numbers_of(self, runs: Sequence[tuple[str, str]]) -> tuple[int, ...]:
        """Channels as the dialect calls them, first and last of each run; raises `BenchError` for one it has not."""
        places = {self.contacts.name_of(number): place for place, number in enumerate(self.contacts.numbers)}
        found: list[int] = []
        for low, high in runs:
            if low not in places or high not in places:
                raise BenchError(f"{self.name}: says that a channel is closed which its driver does not know: {low}")
            found += self.contacts.numbers[places[low] : places[high] + 1]
        return tuple(sorted(found))
