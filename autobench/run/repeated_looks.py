"""The same looks again and again: as the board is, and with one part cold or warm. It leaves readings only.

What fails may come and go by itself, so one look that is well proves nothing.
"""

from __future__ import annotations

from autobench.diagnosis.result import NextCheck
from autobench.errors import InterlockRefusedError, TrippedError
from autobench.judgement.verdict import Verdict
from autobench.plan.extra_looks import ExtraLooks
from autobench.plan.scope_steps import ResetJob
from autobench.plan.steps import CurrentJob, Plan, PlannedStep, RailJob
from autobench.run.actions import Bench
from autobench.run.runner import Runner
from autobench.run.worked_board import GLOVES, SPRAY, WorkedBoard

# On a board that is live, with what hurts: hands, chips and boards (trade practice; not below -50 degC, not above 70).
LIVE = "The board is live: put every tip down and touch nothing. "
TEMPER = {
    "cool": f"{LIVE}Then {GLOVES}{SPRAY}",
    "warm": f"{LIVE}Then warm {{part}} alone with air of 60 °C, 70 °C at most, from 5 cm for half a minute, never "
    "while it is still cold. Enter at once.",
}
CONTACTS = ("connector", "switch")
RAIL_TURNS, LINE_TURNS, STARTS = 30, 6, 4  # looks at what may be well for a moment
BETWEEN_TURNS = 0.25  # s


class RepeatedLooks:
    """Repeated looks at one board at one bench."""

    def __init__(self, plan: Plan, bench: Bench, runner: Runner, looks: ExtraLooks, board: WorkedBoard) -> None:
        self._plan = plan
        self._bench = bench
        self._runner = runner
        self._looks = looks
        self._board = board

    def cool(self, check: NextCheck) -> None:
        """One part made cold, or warm where all is well for the moment: does what failed on a net follow it?"""
        steps = self._watched(check)
        contact = self._looks.board.parts[check.part].kind in CONTACTS
        before = True if contact else self._as_it_is(check.part, steps)
        if before is None:
            return
        how, done = ("cool", f"with {check.part} cold") if before else ("warm", f"with {check.part} warm")
        if contact:
            self._board.hands(how, check.part, "", check.point)
        else:
            self._temper(how, check)
        try:
            if not contact:
                self._bench.power.make_off()  # a program that went astray does not come back without a start
            self._board.powered(after=done, touched=contact)
            after = self._fails(steps, done)
        finally:
            self._board.hands("dry", check.part, "", check.point)
        if after is None:
            return
        state = "follows" if after != before else "as before"
        words = f"{check.net} is {wrong_or_well(before)}, and {wrong_or_well(after)} {done}"
        self._board.keep(f"{how} {check.part}", check.net, check.part, "cool", state, words)

    def _as_it_is(self, part: str, steps: list[PlannedStep]) -> bool | None:
        """Whether it fails now; a joint of the supply did, and is left alone: while it comes and goes the supply may be
        switched off for what the board draws each time it is back."""
        self._board.powered()
        return self._fails(steps, f"with {part} as it is")

    def _temper(self, how: str, check: NextCheck) -> None:
        """Have a part of the live board made cold or warm."""
        person = self._bench.person
        if person is None:
            raise InterlockRefusedError("nobody is there to do it")
        if self._bench.hand is not None:
            self._bench.hand.let_go()
        person.step = f"{how} {check.part}"
        person.done(how, TEMPER[how].format(part=check.part), part=check.part, net=check.net)

    def once_more(self, check: NextCheck) -> None:
        """What failed on a net several times more, with nothing done to the board: is it well now and then?"""
        steps, fails = self._watched(check), list[bool]()
        for _ in range(self._turns(steps)):
            if self._from_start(steps):
                self._bench.power.make_off()
            self._board.powered(after="to look once more", touched=False)
            fails += self._turn(steps, "once more")
        if len(fails) > 1:  # the supply may have been switched off at once
            both = any(fails) and not all(fails)
            words = f"{check.net} is outside its limits in {sum(fails)} of {len(fails)} further looks"
            state = "comes and goes" if both or not any(fails) else "as before"
            self._board.keep(f"again {check.net}", check.net, check.point, "again", state, words)

    def _fails(self, steps: list[PlannedStep], done: str) -> bool | None:
        """Whether any of these steps is outside its limits, looked at several times; None where nothing was learnt."""
        learnt = None
        for _ in range(self._turns(steps)):
            fails = self._turn(steps, done)
            if fails == [True]:
                return True
            learnt = False if fails else learnt
        return learnt

    def _turns(self, steps: list[PlannedStep]) -> int:
        """How often to look: a rail is soon read, and what is read from power-on takes the power off and on."""
        rails = all(isinstance(step.job, RailJob) for step in steps)
        return RAIL_TURNS if rails else STARTS if self._from_start(steps) else LINE_TURNS

    def _turn(self, steps: list[PlannedStep], done: str) -> list[bool]:
        """Whether any of these steps is outside its limits now; empty where nothing was learnt."""
        if self._runner.unpowered is not None:
            return []
        if self._bench.captures is not None:
            self._bench.captures.forget()
        try:
            self._bench.power.wait(BETWEEN_TURNS)
        except TrippedError as error:
            self._runner.lost_power(error)
            return [True]  # what has the supply switched off is no board that is well
        readings = [reading for step in steps for reading in self._board.again(step, done)]
        judged = [reading for reading in readings if reading.verdict not in (Verdict.VOID, Verdict.SKIPPED)]
        return [any(reading.verdict is Verdict.OUTSIDE for reading in judged)] if judged else []

    def _watched(self, check: NextCheck) -> list[PlannedStep]:
        """What is looked at again and again: the volts of a rail at a point, else the steps that speak against the
        board on a net. Never one that sets the supply by what it reads: a contact that opens would have it raised."""
        rails = [step for step in self._plan.steps if isinstance(step.job, RailJob) and step.job.rail == check.net]
        there = [step for step in rails if isinstance(step.job, RailJob) and step.job.target.point == check.point]
        return there or [step for step in self._board.accusing(check.net) if not isinstance(step.job, CurrentJob)]

    def _from_start(self, steps: list[PlannedStep]) -> bool:
        """Whether any of these is read from power-on."""
        return any(isinstance(step.job, ResetJob) for step in steps)


def wrong_or_well(fails: bool) -> str:
    """How something stands, in words."""
    return "outside its limits" if fails else "within its limits"
