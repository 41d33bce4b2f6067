"""Work beside the run's own thread: who does it, in which order it is told, and how it ends."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest

from autobench.clock import RealClock
from autobench.errors import InterlockRefusedError, LinkLostError, NoReplyError, StoppedError
from autobench.events import Event, Notice
from autobench.run.errands import BrokenOffError, Errands
from autobench.run.guard import NoGuard
from autobench.run.route import Route
from autobench.run.stop import StopSignals

LONG = 10.0  # s; nothing here takes as long unless something is wrong


class Stand:
    """Errands whose events and looks of the watch are counted."""

    def __init__(self) -> None:
        self.told: list[str] = []
        self.looks = 0
        self.stop: Exception | None = None
        self.errands = Errands(RealClock(), self.tell, self.watch, beside=True)

    def tell(self, event: Event) -> None:
        assert threading.current_thread() is threading.main_thread()
        assert isinstance(event, Notice)
        self.told.append(event.words)

    def watch(self) -> None:
        assert threading.current_thread() is threading.main_thread()
        self.looks += 1
        if self.stop is not None:
            raise self.stop

    def say(self, words: str) -> None:
        self.errands.emit(Notice(0.0, words))

    def until_broken_off(self) -> None:
        """What an exchange does before it begins, again and again."""
        while self.errands.away():
            threading.Event().wait(0.002)


@pytest.fixture
def stand() -> Iterator[Stand]:
    made = Stand()
    yield made
    made.stop = None
    made.errands.quiet()
    made.errands.end()


def test_each_owner_does_its_errands_on_one_thread_in_order(stand: Stand) -> None:
    """Two instruments have two threads, neither of them the run's own; one instrument's errands keep their order."""
    seen: list[tuple[str, int]] = []

    def note(name: str) -> int:
        seen.append((name, threading.get_ident()))
        return len(name)

    given = [stand.errands.give(owner, lambda name=owner: note(name)) for owner in ("scope", "meter", "scope")]
    assert [stand.errands.outcome(errand) for errand in given] == [5, 5, 5]
    threads = {name: {thread for each, thread in seen if each == name} for name in ("scope", "meter")}
    assert all(len(found) == 1 for found in threads.values())
    assert len({threading.get_ident()} | threads["scope"] | threads["meter"]) == 3


def test_what_is_urgent_comes_before_what_waits_and_after_what_is_under_way(stand: Stand) -> None:
    """Nobody's errand is interrupted, and who waits is served first."""
    begun, gate, order = threading.Event(), threading.Event(), []

    def work() -> None:
        begun.set()
        gate.wait(LONG)
        order.append("first")

    first = stand.errands.give("scope", work)
    assert begun.wait(LONG)
    later = stand.errands.give("scope", lambda: order.append("later"))
    urgent = stand.errands.give("scope", lambda: order.append("urgent"), urgent=True)
    gate.set()
    for errand in (first, later, urgent):
        stand.errands.settle(errand)
    assert order == ["first", "urgent", "later"]


def test_events_are_told_by_the_runs_own_thread_when_the_outcome_is_asked_for(stand: Stand) -> None:
    """What was done ahead is told at its place: the record has the events in the order of those who asked."""
    second = stand.errands.give("scope", lambda: stand.say("done ahead"))
    assert second.done.wait(LONG)
    stand.say("before")
    stand.errands.done_by("desk", lambda: stand.say("first asked for"))
    assert stand.told == ["before", "first asked for"]
    stand.errands.outcome(second)
    assert stand.told == ["before", "first asked for", "done ahead"]


def test_an_errand_that_asks_another_one_carries_its_events(stand: Stand) -> None:
    """Arithmetic at the desk asks the scope: told is first what came of that, once."""

    def at_the_desk() -> None:
        stand.errands.done_by("scope", lambda: stand.say("captured"))
        stand.say("worked out")

    stand.errands.done_by("desk", at_the_desk)
    stand.errands.quiet()
    assert stand.told == ["captured", "worked out"]


def test_the_watch_is_kept_while_the_run_waits_and_may_end_the_waiting(stand: Stand) -> None:
    """Whatever the watch raises reaches the run at once, though the errand still goes on; it ends by being quieted."""
    errand = stand.errands.give("desk", stand.until_broken_off)
    stand.stop = StoppedError("stopped by Ctrl-C")
    with pytest.raises(StoppedError, match="Ctrl-C"):
        stand.errands.outcome(errand)
    assert not errand.done.is_set()
    stand.stop = None  # as while outputs are made safe
    stand.errands.quiet()
    assert errand.done.is_set()
    assert stand.looks > 0


@pytest.mark.parametrize("error", [LinkLostError("scope", "gone"), InterlockRefusedError("no"), MemoryError()])
def test_an_error_is_raised_by_the_outcome(stand: Stand, error: Exception) -> None:
    """An instrument that is lost, a refusal, a lack of memory: each is met where the outcome is wanted, as it was."""

    def fails() -> None:
        stand.say("tried")
        raise error

    errand = stand.errands.give("scope", fails)
    with pytest.raises(type(error)):
        stand.errands.outcome(errand)
    assert stand.told == ["tried"]


def test_a_connection_that_broke_ahead_is_known_before_anybody_asks(stand: Stand) -> None:
    """While the board is on the run must not wait for the step that would have met it; any other error may wait."""

    def fails(error: Exception) -> None:
        raise error

    for owner, error in (("meter", NoReplyError("meter", "silent")), ("scope", LinkLostError("scope", "gone"))):
        assert stand.errands.lost() is None
        assert stand.errands.give(owner, lambda error=error: fails(error)).done.wait(LONG)
    assert stand.errands.lost() == "scope"


def test_quiet_ends_what_is_under_way_and_what_waits_and_tells_what_was_done(stand: Stand) -> None:
    """No thread talks to an instrument any more; what one of them did is told; new errands are possible afterwards."""
    begun, never = threading.Event(), []

    def work() -> None:
        stand.say("begun")
        begun.set()
        stand.until_broken_off()

    under_way = stand.errands.give("scope", work)
    waiting = stand.errands.give("scope", lambda: never.append(1))
    assert begun.wait(LONG)
    stand.errands.quiet()
    assert under_way.done.is_set()
    assert waiting.done.is_set()
    assert not never
    assert stand.told == ["begun"]
    with pytest.raises(BrokenOffError):
        stand.errands.outcome(waiting)
    assert stand.errands.done_by("scope", lambda: 7) == 7


def test_an_errand_that_is_broken_off_gives_no_more_errands(stand: Stand) -> None:
    """What the desk still wants of the scope when the run has ended is not begun."""
    begun, asked = threading.Event(), []

    def at_the_desk() -> None:
        begun.set()
        while not asked and not errand.broken:
            threading.Event().wait(0.002)
        stand.errands.done_by("scope", lambda: asked.append(1))

    errand = stand.errands.give("desk", at_the_desk)
    assert begun.wait(LONG)
    stand.errands.quiet()
    assert not asked


def test_without_other_threads_everything_is_done_by_who_asks() -> None:
    """On a stepped clock: at once, in the order asked, told as it happens."""
    told: list[Event] = []
    errands = Errands(RealClock(), told.append)
    notice = Notice(0.0, "here")

    def work() -> int:
        errands.emit(notice)
        return threading.get_ident()

    assert errands.done_by("scope", work) == threading.get_ident()
    assert told == [notice]


def test_contacts_that_are_held_wait_for_nobody_but_the_holder() -> None:
    """A reading's route does not change under it: who wants other contacts waits, and keeps the watch meanwhile."""
    moves: list[list[int]] = []

    class Relays:
        def close(self, channels: list[int]) -> None:
            moves.append(channels)

    route, looks = Route(Relays()), threading.Event()  # type: ignore[arg-type]
    route.attend = looks.set
    with route.held():
        route.take([101])
        other = threading.Thread(target=route.take, args=([102],))
        other.start()
        assert looks.wait(LONG)
        assert moves == [[101]]
    other.join(LONG)
    assert moves == [[101], [102]]


def test_the_lease_is_renewed_by_the_runs_own_thread_alone() -> None:
    """A thread that goes on while the run hangs must not keep the guard quiet."""

    class Beats(NoGuard):
        count = 0

        def beat(self, extra: float = 0.0) -> str | None:
            self.count += 1
            return None

    with StopSignals() as stop:
        stop.guard = beats = Beats()
        other = threading.Thread(target=stop.renew)
        other.start()
        other.join()
        assert beats.count == 0
        stop.renew()
    assert beats.count == 1
