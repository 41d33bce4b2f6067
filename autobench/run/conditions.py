"""Whether a step is taken, by the readings before it, and whether it is taken again. Pure; takes nothing itself."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.plan.steps import PlannedStep
from autobench.plan.terms import Again

# Stages whose failure makes every later stage's readings conditional: recorded, never used to accuse.
GATES = ("rails", "clocks", "reset")
# Some forty points held by hand one after another: not asked for once an earlier stage has shown what is wrong.
LONG_STAGES = ("bus", "memory")
# From what says most against a board to what says nothing against it.
WORST_FIRST = (
    Verdict.OUTSIDE,
    Verdict.VOID,
    Verdict.MARGINAL,
    Verdict.SKIPPED,
    Verdict.UNUSUAL,
    Verdict.WITHIN,
)


def worst(readings: Iterable[Reading]) -> Verdict | None:
    """The verdict that says most against the board; `None` without readings."""
    found = {reading.verdict for reading in readings}
    return next((verdict for verdict in WORST_FIRST if verdict in found), None)


def unmet(step: PlannedStep, readings: Sequence[Reading]) -> str | None:
    """Why a step is not taken, in words; `None` where all its conditions are met.

    A condition on something that this board does not have is met.
    """
    for condition in step.only_if:
        if not condition.steps:
            continue
        found = worst(reading for reading in readings if reading.step in condition.steps)
        if found is None or found.value not in condition.verdicts:
            wanted = " or ".join(condition.verdicts)
            was = "nothing was measured there" if found is None else f"it was {found.value}"
            return f"only taken if {condition.of} is {wanted}; {was}"
    return None


def once_more(again: Again, readings: Sequence[Reading], gone: float) -> bool:
    """Whether a step is taken again, `gone` seconds after its first turn began.

    What cannot be taken now cannot be later.
    """
    found = worst(readings)
    if gone + again.every > again.within or found in (None, Verdict.SKIPPED):
        return False
    return found not in again.verdicts


def failed_gate(readings: Iterable[Reading]) -> str | None:
    """The first stage that failed of those without which nothing later counts."""
    failed = (
        reading.stage
        for reading in readings
        if reading.verdict is Verdict.OUTSIDE and reading.required and reading.stage in GATES
    )
    return next(failed, None)


def convicted(step: PlannedStep, readings: Sequence[Reading]) -> str | None:
    """For a step of the long last stages, an earlier stage's step that has already shown the board faulty."""
    if step.stage not in LONG_STAGES:
        return None
    wrong = (
        reading.step
        for reading in readings
        if reading.verdict is Verdict.OUTSIDE and not reading.conditional and reading.stage != step.stage
    )
    return next(wrong, None)
