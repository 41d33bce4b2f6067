"""Work beside the run's own thread: one thread an instrument, and one for arithmetic, while the run keeps the watch.

None of these threads decides anything, tells anybody of events, looks at a supply or renews the guard's lease. What an
errand did is told by the run's own thread when its outcome is asked for, so that the record has it at the step that
wanted it. An errand that is broken off ends before its next exchange with an instrument.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from typing import Any, Generic, TypeVar

from autobench.clock import Clock, RealClock
from autobench.errors import LinkLostError, StoppedError
from autobench.events import Event

T = TypeVar("T")

# Whose errands; at the desk things are worked out.
METER, SCOPE, COUNTER, RELAYS, DESK = "meter", "scope", "counter", "relays", "desk"
SLICE = 0.02  # s between two looks of whoever waits for an errand
QUIET_WITHIN = 15.0  # s that errands may take to end when they are broken off; the longest exchange may take 10 s


class BrokenOffError(StoppedError):
    """The run wants no outcome of this errand any more."""


class Errand(Generic[T]):
    """One piece of work for another thread, what it told of, and what came of it."""

    def __init__(self, work: Callable[[], T]) -> None:
        self.events: list[Event] = []
        self.done = threading.Event()
        self._work = work
        self.broken = False
        self._value: list[T] = []
        self._error: BaseException | None = None

    def carry_out(self) -> None:
        """Do it; whatever happens is kept for whoever asks for the outcome."""
        try:
            self.check()
            self._value.append(self._work())
        except BaseException as error:  # a defect as well belongs to whoever asked, not to this thread
            self._error = error
        finally:
            self.done.set()

    def outcome(self) -> T:
        """What the work returned; raises what it raised."""
        if self._error is not None:
            raise self._error
        return self._value[0]

    @property
    def lost(self) -> str | None:
        """The instrument whose connection broke in it, if that is how it ended."""
        return self._error.instrument if isinstance(self._error, LinkLostError) else None

    def break_off(self) -> None:
        """It ends at its next exchange, or never begins."""
        self.broken = True

    def check(self) -> None:
        """Raise `BrokenOffError` where nobody wants this any more."""
        if self.broken:
            raise BrokenOffError("broken off")


class Owner:
    """One thread that does errands one after another: what it owns is never in two conversations."""

    def __init__(self, name: str, begin: Callable[[Errand[Any]], None]) -> None:
        self._begin = begin
        self._waiting: deque[Errand[Any]] = deque()
        self._changed = threading.Condition()
        self._ended = False
        self._thread = threading.Thread(target=self._work, name=f"errands of the {name}", daemon=True)
        self._thread.start()

    def give(self, errand: Errand[Any], urgent: bool) -> None:
        """One more errand: the last, or where it is `urgent` the next."""
        with self._changed:
            (self._waiting.appendleft if urgent else self._waiting.append)(errand)
            self._changed.notify()

    def end(self) -> None:
        """No errand more; the thread ends when it is done with its present one."""
        with self._changed:
            self._ended = True
            self._changed.notify()

    def _work(self) -> None:
        while True:
            with self._changed:
                while not self._waiting and not self._ended:
                    self._changed.wait()
                if not self._waiting:
                    return
                errand = self._waiting.popleft()
            self._begin(errand)


class Errands:
    """The errands of one run. `watch` is what its own thread does while it waits: it looks and may raise.

    Without `beside` there are no other threads: everything is done at once by whoever asks, in the order asked.
    """

    def __init__(
        self,
        clock: Clock | None = None,
        emit: Callable[[Event], None] = lambda _: None,
        watch: Callable[[], None] = lambda: None,
        *,
        beside: bool = False,
    ) -> None:
        self.beside = beside
        self.clock: Clock = clock if clock is not None else RealClock()
        self._emit = emit
        self._watch = watch
        self._here = threading.local()
        self._owners: dict[str, Owner] = {}
        self._untold: list[Errand[Any]] = []  # in the order in which they were given

    @property
    def _inside(self) -> Errand[Any] | None:
        """The errand that the present thread is about, or None on the run's own."""
        if not self._owners:  # nobody else has ever been given anything
            return None
        found: Errand[Any] | None = getattr(self._here, "errand", None)
        return found

    def give(self, owner: str, work: Callable[[], T], *, urgent: bool = False) -> Errand[T]:
        """Have `owner` do `work` soon, `urgent` before everything else that waits for it."""
        errand = Errand(work)
        if self.beside:
            self.away()
            self._untold.append(errand)
            if owner not in self._owners:
                self._owners[owner] = Owner(owner, self._begin)
            self._owners[owner].give(errand, urgent)
        return errand

    def outcome(self, errand: Errand[T]) -> T:
        """What came of an errand, once it is done; raises what it raised, and whatever the watch raises meanwhile."""
        if not self.beside:
            errand.carry_out()
        self.settle(errand)
        return errand.outcome()

    def done_by(self, owner: str, work: Callable[[], T]) -> T:
        """`work` done now by `owner`, with everything waiting for it and the watch kept."""
        return self.outcome(self.give(owner, work, urgent=True))

    def drop(self, errand: Errand[Any]) -> None:
        """Nobody wants the outcome; returns when its owner is free again."""
        errand.break_off()
        self.settle(errand)

    def settle(self, errand: Errand[Any]) -> None:
        """Wait until an errand is done, whatever came of it, with the watch kept; what it did is told."""
        while self.beside and not errand.done.wait(SLICE):
            self.attend()
        self._tell(errand)

    def quiet(self) -> None:
        """Break off everything and wait until no other thread talks to an instrument; only while outputs are made safe,
        when the watch raises nothing.

        What never ends in spite of its deadlines is left behind: whoever comes next finds its instrument held.
        """
        waited = 0.0
        # Looked for again and again: one that is not broken off yet may give another one in the last moment.
        while (
            going := [errand for errand in list(self._untold) if not errand.done.is_set()]
        ) and waited < QUIET_WITHIN:
            for errand in going:
                errand.break_off()
            if not going[0].done.wait(SLICE):
                self._watch()
                waited += SLICE
        for errand in list(self._untold):  # only now: until here one may still be telling another one's events
            self._tell(errand)

    def lost(self) -> str | None:
        """An instrument whose connection broke in an errand that nobody asked for yet: its link may have opened again
        since, and shows nothing."""
        return next((name for errand in list(self._untold) if (name := errand.lost) is not None), None)

    def end(self) -> None:
        """No errand more: the run is over."""
        for owner in self._owners.values():
            owner.end()

    def attend(self) -> None:
        """Between two looks of somebody who waits: the run's own thread keeps the watch, others may be broken off."""
        inside = self._inside
        if inside is None:
            self._watch()
        else:
            inside.check()

    def pausing(self, wait: Callable[[float], None]) -> Callable[[float], None]:
        """`wait` for the run's own thread, which looks at the supplies meanwhile; others just let the time pass."""

        def pause(seconds: float) -> None:
            until = self.clock.now() + seconds
            if not self.away():
                wait(seconds)
            while self.away() and (left := until - self.clock.now()) > 0:
                self.clock.sleep(min(left, SLICE))

        return pause

    def away(self) -> bool:
        """Whether the present thread is one of these; raises `BrokenOffError` where its errand was broken off."""
        inside = self._inside
        if inside is not None:
            inside.check()
        return inside is not None

    def emit(self, event: Event) -> None:
        """An event: told at once by the run's own thread, kept with the errand by any other."""
        inside = self._inside
        if inside is None:
            self._emit(event)
        else:
            inside.events.append(event)

    def _begin(self, errand: Errand[Any]) -> None:
        """Runs on the owner's thread."""
        self._here.errand = errand
        errand.carry_out()

    def _tell(self, errand: Errand[Any]) -> None:
        """Everything the errand told of, in its order, once."""
        if errand in self._untold:
            self._untold.remove(errand)
        events, errand.events = errand.events, []
        for event in events:
            self.emit(event)
