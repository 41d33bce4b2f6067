"""When a step of a sequence is taken at all, and when it is taken again: by verdicts of readings. No expressions."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from autobench.documents.fields import Listed, Seconds
from autobench.documents.section import Complaint, Section
from autobench.documents.words import quoted
from autobench.quantity import Quantity

VerdictWord = Literal["within", "unusual", "marginal", "outside", "void", "skipped"]
Verdicts = Annotated[tuple[VerdictWord, ...], Listed(by_space=True), Field(min_length=1)]
# A stage, or the name of an earlier step as it is written -> the verdicts the worst of its readings may have.
Conditions = dict[str, Verdicts]

SHORTEST_PAUSE = 0.1  # s; without one a turn may take no time at all
LONGEST_REPEAT = 86_400.0  # s; a soak of one day


class Repeat(Section):
    """A step that is taken again until its readings are as wanted, or the time is over."""

    until: Verdicts
    """Verdicts that end it: `within unusual`. What counts is the worst reading of the step."""
    every: Seconds = Quantity(1.0, "s")
    """The wait between two turns."""
    within: Seconds
    """The longest time for all turns; the readings of the last one count."""

    def check(self) -> Iterator[Complaint]:
        if self.within.value <= 0:
            yield Complaint(("within",), "needs some time, such as '60 s'")
        elif self.within.value > LONGEST_REPEAT:
            yield Complaint(("within",), f"{self.within} is longer than a day")
        elif self.every.value < SHORTEST_PAUSE:
            yield Complaint(("every",), f"{self.every} is no pause; at least {SHORTEST_PAUSE:g} s is wanted")
        elif self.every.value > self.within.value:
            yield Complaint(("every",), f"{self.every} is longer than all turns together may take, {self.within}")
        twice = next((word for number, word in enumerate(self.until) if word in self.until[:number]), None)
        if twice is not None:
            yield Complaint(("until",), f"names {quoted(twice)} twice")
