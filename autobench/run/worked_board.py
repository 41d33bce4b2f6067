"""A board that is worked on beyond the round: power that comes back by its rules, hands asked for, steps taken again.

It leaves readings with the runner; it chooses nothing and draws no conclusion.
"""

from __future__ import annotations

from dataclasses import replace

from autobench.errors import InterlockRefusedError
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.plan.extra_looks import ExtraLooks
from autobench.plan.planner import partners
from autobench.plan.steps import OhmsJob, Plan, PlannedStep, PolarityJob, PowerJob
from autobench.run.actions import Bench
from autobench.run.dead_board import DeadBoard
from autobench.run.runner import Runner

DEAD = "Power is off, proved. Put every tip down, "
# What hurts hands, chips and boards, as the trade says it.
GLOVES = "glasses and gloves on, and "
SPRAY = (
    "cool {part} alone with freezer spray that does not burn, in short bursts from 10 cm until it is white. "
    "Enter at once."
)
PROMPTS = {
    "reseat": DEAD + "take {part} out, clean its legs and its socket, and press it home.",
    "swap": DEAD + "put a known good {part} into the socket; keep the old one.",
    "lift": DEAD + "bend out the {net} leg of {part}, at {point}, so that it touches nothing.",
    "put back": DEAD + "and the {net} leg of {part} back where it was.",
    "cool": DEAD + GLOVES + SPRAY,
    "dry": DEAD + "and wait until {part} is as warm as its neighbours and dry: water between legs leaks.",
}


class WorkedBoard:
    """One board at one bench, between checks."""

    def __init__(self, plan: Plan, bench: Bench, runner: Runner, looks: ExtraLooks) -> None:
        self._plan = plan
        self._bench = bench
        self._runner = runner
        self.dead = DeadBoard(plan, bench, runner, looks)

    def again(self, step: PlannedStep, done: str) -> list[Reading]:
        """One step of the round once more, on a board that something was done to."""
        again = replace(step, name=f"{step.name}, {done}", required=False)
        return self._runner.take(again, f"taken {done}")

    def accusing(self, net: str | None = None) -> list[PlannedStep]:
        """The steps of the round that speak against the board; with `net`, those that do on that net."""
        names = {
            reading.step
            for reading in self._runner.readings
            if reading.verdict is Verdict.OUTSIDE and not reading.conditional and reading.required
            and net in (None, reading.net)
        }  # fmt: skip
        fixed = (PowerJob, PolarityJob, OhmsJob)
        names |= partners(self._plan.steps, names)
        return [step for step in self._plan.steps if step.name in names and not isinstance(step.job, fixed)]

    def hands(self, kind: str, part: str, net: str, point: str | None) -> None:
        """Ask for something that is done by hand, with every rail proved off."""
        person = self._bench.person
        if person is None:
            raise InterlockRefusedError("nobody is there to do it")
        self.dead.prove()
        if self._bench.hand is not None:
            self._bench.hand.let_go()
        person.step = f"{kind} {part}"
        words = PROMPTS[kind].format(part=part, net=net, point=point)
        person.done(kind, words, part=part, net=net or None)

    def powered(self, after: str = "", *, touched: bool = True) -> None:
        """The power on, by the rules of the round: after hands `touched` the board its ohms are looked at first."""
        if all(output.interlock.state == "on" for output in self._bench.power.outputs.values()):
            return
        for step in self._plan.steps:
            on = isinstance(step.job, PowerJob) and step.job.on
            if on or (after and touched and isinstance(step.job, OhmsJob)):
                name = f"{step.name} again" + (f", {after}" if after else "")
                self._runner.take(replace(step, name=name, required=False), after or None)

    def keep(self, step: str, net: str | None, point: str | None, quantity: str, state: str, words: str) -> None:
        """What a check came to, as a reading: for information, since its meaning depends on what is broken."""
        self._runner.keep(
            Reading(
                step=step, stage="bus", net=net, point=point, quantity=quantity, value=None, unit="", uncertainty=None,
                low=None, high=None, limit_from="for information", verdict=Verdict.WITHIN, state=state, reason=words,
                required=False,
            )
        )  # fmt: skip
