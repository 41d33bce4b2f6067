"""Checks beyond the round, one after another, until the suspects are told apart, no check is left or the time is over.

Which check is best is decided by the diagnosis; here it is made, under the interlock, and what it shows becomes
readings like any other. Before anybody is asked to put hands on the board every rail is proved off.
"""

from __future__ import annotations

from collections.abc import Callable

from autobench.diagnosis.means import Means
from autobench.diagnosis.result import Diagnosis, NextCheck
from autobench.errors import InterlockRefusedError, TrippedError
from autobench.events import CheckChosen, Diagnosed, Event, Investigated, Notice
from autobench.judgement.reading import Reading
from autobench.plan.extra_looks import ExtraLooks
from autobench.plan.steps import Plan
from autobench.run.actions import Bench
from autobench.run.contact import NoContactError
from autobench.run.deeds import CURED, Deeds
from autobench.run.person import BackAskedError, SkipAskedError
from autobench.run.runner import Runner

MOST_CHECKS = 40  # a bench that learns nothing from so many checks learns nothing from more

Diagnose = Callable[[list[Reading], Means], Diagnosis]


class Investigation:
    """The checks beyond one round. `minutes`: how long they may take, None for as long as it needs."""

    def __init__(
        self,
        plan: Plan,
        bench: Bench,
        runner: Runner,
        looks: ExtraLooks,
        diagnose: Diagnose,
        emit: Callable[[Event], None],
        minutes: float | None = None,
    ) -> None:
        self._bench = bench
        self._runner = runner
        self._looks = looks
        self._diagnose = diagnose
        self._emit = emit
        self._minutes = minutes
        self._deeds = Deeds(plan, bench, runner, looks)
        self._tried: set[tuple[str, str]] = set()
        self._made = 0
        points = {point: looks.reach(point) for points in looks.board.nets().values() for point in points}
        self._points = frozenset(point for point, way in points.items() if way is not None)
        self._fixture = frozenset(point for point, way in points.items() if way == "fixture")
        self._meter = frozenset(point for point in points if looks.meter_reaches(point))

    def run(self) -> None:
        """Check after check; ends with the words of how it ended. The power is as the last check left it."""
        began = self._bench.clock.now()
        found = self._judged()
        while (how := self._over(found, began)) is None:
            assert found.next_check is not None
            self._make(found.next_check)
            found = self._judged()
        minutes = (self._bench.clock.now() - began) / 60.0
        self._emit(Investigated(self._bench.clock.now(), self._made, minutes, how, ending(how, found)))

    def _judged(self) -> Diagnosis:
        """The suspects by every reading so far, told to everybody."""
        found = self._diagnose(self._runner.readings, self._means())
        if found.suspects:
            self._emit(Diagnosed(self._bench.clock.now(), found))
        return found

    def _means(self) -> Means:
        """What can be done now."""
        hand, powered = self._bench.hand is not None, self._runner.unpowered is None
        return Means(self._fixture, self._meter, self._points, hand, powered, frozenset(self._tried))

    def _over(self, found: Diagnosis, began: float) -> str | None:
        """How it has ended, or None while it goes on."""
        check = found.next_check
        if not found.suspects:
            return "nothing accused"
        if any(reading.state == CURED for reading in self._runner.readings):
            # A board that is well says nothing about any other part.
            return "told apart" if found.told_apart else "cured"
        if check is None or check.kind == "repair" or self._made >= MOST_CHECKS:
            if found.told_apart:
                return "told apart"
            return "not powered" if self._runner.unpowered is not None else "no check left"
        spent = (self._bench.clock.now() - began) / 60.0
        if self._minutes is not None and spent + check.minutes > self._minutes:
            return "out of time"
        return None

    def _make(self, check: NextCheck) -> None:
        """One check, whatever comes of it; it is not made a second time."""
        self._made += 1
        self._emit(CheckChosen(self._bench.clock.now(), self._made, check))
        self._tried.add(check.name)
        try:
            self._deeds.do(check)
        except (SkipAskedError, BackAskedError) as error:
            reason = str(error) or "left out by the operator"
            self._emit(Notice(self._bench.clock.now(), f"{check.what}: left out, {reason}"))
        except NoContactError as error:
            self._emit(Notice(self._bench.clock.now(), f"{check.what}: nothing learnt, {error}"))
        except TrippedError as error:
            self._runner.lost_power(error)
        except InterlockRefusedError as error:
            self._emit(Notice(self._bench.clock.now(), f"{check.what}: not done, {error}", urgent=True))


def ending(how: str, found: Diagnosis) -> str:
    """How it ended, in words."""
    if how == "nothing accused":
        return "no reading speaks against the board: there is nothing to tell apart"
    first = found.suspects[0]
    if how == "told apart":
        return f"told apart: {first.place}, {first.fault}"
    if how == "cured":
        return f"the board is well since then: {first.place}, {first.fault}"
    group = ", ".join(found.group) or first.place
    why = {
        "no check left": "nothing that can be reached here shows any difference between them",
        "not powered": "the board may not be powered, and what is left needs power",
        "out of time": "the time is over",
    }[how]
    return f"not told apart: {group}; {why}"
