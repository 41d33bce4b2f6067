"""Where a reading of a step was taken, and the readings there that have no value. Measures nothing."""

from __future__ import annotations

from dataclasses import dataclass

from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Judgement, Verdict, void
from autobench.plan.limits import Limits
from autobench.plan.steps import PlannedStep
from autobench.run.readings import unread


@dataclass(frozen=True)
class Place:
    """Where a reading of a step was taken."""

    step: PlannedStep
    net: str
    point: str

    def void(self, quantity: str, unit: str, limits: Limits, why: str) -> Reading:
        """A reading that says nothing, and why."""
        return unread(self.step, self.net, self.point, quantity, unit, limits, void(why))

    def untaken(self, quantity: str, unit: str, limits: Limits, judgement: Judgement) -> Reading:
        """A reading that was not taken, judged so."""
        return unread(self.step, self.net, self.point, quantity, unit, limits, judgement)

    def absent(self, quantity: str, unit: str, limits: Limits, why: str, state: str | None = None) -> Reading:
        """What should be there is not: a value of zero, outside."""
        judgement = Judgement(Verdict.OUTSIDE, 0.0, why)
        blank = unread(self.step, self.net, self.point, quantity, unit, limits, judgement)
        return blank.with_value(0.0, 0.0, state)
