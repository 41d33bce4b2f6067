"""The relays' present route: which channels are closed, moved only when it must. Measures nothing."""

from __future__ import annotations

from collections.abc import Iterable

from autobench.instruments.relays import Relays

POSITIONS_A_SLOT = 100  # channel = 100 x slot + position


class Route:
    """One relay multiplexer. Channels of one slot belong to one instrument input, so only one of them may be closed."""

    def __init__(self, relays: Relays) -> None:
        self._relays = relays
        self._closed: frozenset[int] | None = None

    def prepare(self) -> None:
        """Errors cleared, every channel open."""
        self._closed = None
        self._relays.prepare()
        self._closed = frozenset()

    def let_go(self) -> None:
        """Every channel open: the inputs are free for tips that a hand holds."""
        if self._closed != frozenset():
            self._closed = None
            self._relays.open_all()
            self._closed = frozenset()

    def take(self, channels: Iterable[int]) -> None:
        """See to it that `channels` are closed, and no other channel of their slots. What is already so is not moved.

        Channels of other slots may stay closed: they lead other instruments to other points.
        """
        wanted = frozenset(channels)
        slots = {channel // POSITIONS_A_SLOT for channel in wanted}
        if self._closed is not None:
            there = {channel for channel in self._closed if channel // POSITIONS_A_SLOT in slots}
            if there == wanted:
                return
        # Unknown until the relays say done: an error in between must not leave us believing the old route.
        self._closed = None
        self._relays.close(sorted(wanted))
        self._closed = wanted
