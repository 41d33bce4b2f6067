"""The relays' present route: which channels are closed, moved only when it must and only when it may. Measures nothing.

Before any contact moves: no two channels of one slot, nothing but measuring currents through what is closed or will be,
and no meter that drives its own. All contacts open before any closes.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager

from autobench.errors import BenchError
from autobench.instruments.relays import Relays
from autobench.plan.relay_paths import RelayPath, require_apart, require_small

POSITIONS_A_SLOT = 100  # channel = 100 x slot + position
TURN_SLICE = 0.02  # s between two looks of whoever waits for the contacts
TURN_WITHIN = 30.0  # s; nobody needs the contacts for longer at a stretch


class Route:
    """One relay multiplexer. Channels of one slot belong to one instrument input, so only one of them may be closed.

    `paths` are what is on its slots, `live` tells whether a supply's output may be on, `rest` puts to rest what drives
    a current of its own through them. Whoever measures through the contacts is inside `held` meanwhile; who waits for
    that calls `attend` again and again.
    """

    def __init__(
        self,
        relays: Relays,
        paths: Iterable[RelayPath] = (),
        *,
        live: Callable[[str, int], bool] = lambda _supply, _output: True,
        rest: Callable[[], None] = lambda: None,
    ) -> None:
        self._relays = relays
        self._paths = {path.slot: path for path in paths}
        self._rest = rest
        self.live = live
        self.attend: Callable[[], None] = lambda: None
        self._turn = threading.RLock()
        self._closed: frozenset[int] | None = None

    @contextmanager
    def held(self) -> Iterator[None]:
        """While this is entered no other thread moves a contact; raises `BenchError` where none comes to its turn."""
        waited = 0.0
        while not self._turn.acquire(timeout=TURN_SLICE):
            self.attend()
            waited += TURN_SLICE
            if waited > TURN_WITHIN:
                raise BenchError("another measurement still goes on through the relays")
        try:
            yield
        finally:
            self._turn.release()

    def prepare(self) -> None:
        """Errors cleared, every channel open."""
        self._require_small(self._paths)
        self._closed = None
        self._relays.prepare()
        self._closed = frozenset()

    def exactly(self, channels: Iterable[int]) -> None:
        """Exactly `channels` closed and every other open, whatever stood before; raises as `take` does."""
        wanted = frozenset(channels)
        require_apart(self._paths, sorted(wanted))
        self._require_small(self._paths)
        self._rest()
        self._closed = None
        self._relays.close(sorted(wanted))
        self._closed = wanted

    def let_go(self) -> None:
        """Every channel open: the inputs are free for tips that a hand holds."""
        if self._closed != frozenset():
            self._closed = None
            self._relays.open_all()
            self._closed = frozenset()

    def take(self, channels: Iterable[int]) -> None:
        """See to it that `channels` are closed, and no other channel of their slots. What is already so is not moved.

        Channels of other slots may stay closed: they lead other instruments to other points. Raises
        `InterlockRefusedError` before anything moves where it must not.
        """
        with self.held():
            self._take(frozenset(channels))

    def _take(self, wanted: frozenset[int]) -> None:
        slots = slots_of(wanted)
        if self._closed is not None:
            there = {channel for channel in self._closed if channel // POSITIONS_A_SLOT in slots}
            if there == wanted:
                return
        require_apart(self._paths, sorted(wanted))
        # Unknown contacts may be those of any slot.
        self._require_small(self._paths if self._closed is None else slots | slots_of(self._closed))
        self._rest()
        # Unknown until the relays say done: an error in between must not leave us believing the old route.
        self._closed = None
        self._relays.close(sorted(wanted))
        self._closed = wanted

    def _require_small(self, slots: Iterable[int]) -> None:
        moving = (self._paths[slot] for slot in slots if slot in self._paths)
        require_small(path for path in moving if path.supply is None or self.live(path.supply, path.output))


def slots_of(channels: Iterable[int]) -> set[int]:
    """The slots of channels."""
    return {channel // POSITIONS_A_SLOT for channel in channels}
