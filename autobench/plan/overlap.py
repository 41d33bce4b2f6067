"""Which steps of a plan are free to overlap: other instruments, other routes, one power state. Pure.

Power changes, prompts and waits are barriers, and a hand does one thing at a time. The runner takes the scope's
captures of one span ahead of its steps where it has threads for that; the steps themselves keep their order.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from autobench.plan.scope_steps import LineJob, ScopeJob, Sight
from autobench.plan.steps import CurrentJob, DropJob, OhmsJob, Plan, PlannedStep, RailJob

METER, SUPPLY, SCOPE, NOTHING = "meter", "supply", "scope", ""


@dataclass(frozen=True)
class Lane:
    """Steps of one span that one instrument takes, one after another; `seconds` is how long it is busy."""

    instrument: str
    steps: tuple[str, ...]
    seconds: float


@dataclass(frozen=True)
class Together:
    """Lanes between two barriers that are free to overlap, since they share neither an instrument nor a point."""

    lanes: tuple[Lane, ...]

    @property
    def serial(self) -> float:
        """Seconds of all lanes one after another."""
        return sum(lane.seconds for lane in self.lanes)

    @property
    def busiest(self) -> float:
        """Seconds of the busiest instrument: no order is faster."""
        return max(lane.seconds for lane in self.lanes)


def overlaps(plan: Plan) -> tuple[Together, ...]:
    """The spans of the plan in which more than one instrument has something to do."""
    found = []
    for span in spans(plan.steps):
        lanes = {name: [step for step in span if instrument_of(step) == name] for name in (METER, SUPPLY, SCOPE)}
        busy = [Lane(name, tuple(step.name for step in steps), total(steps)) for name, steps in lanes.items() if steps]
        if len(busy) > 1:
            found.append(Together(tuple(busy)))
    return tuple(found)


def spans(steps: tuple[PlannedStep, ...]) -> Iterator[list[PlannedStep]]:
    """Steps between barriers, those left out that cannot be done."""
    span: list[PlannedStep] = []
    for step in steps:
        if is_barrier(step):
            yield span
            span = []
        elif step.cannot is None:
            span.append(step)
    yield span


def sights_ahead(steps: Iterable[PlannedStep]) -> Iterator[Sight]:
    """What the scope will be asked to look at by the steps up to the next barrier, in their order."""
    for step in steps:
        if is_barrier(step):
            return
        started = isinstance(step.job, LineJob) and step.job.within is not None  # looks at the start capture
        sight = getattr(step.job, "sight", None)
        if sight is not None and step.cannot is None and not started:
            yield sight


def is_barrier(step: PlannedStep) -> bool:
    """Whether everything else waits for a step: power, prompts, waits, hands, and conditions on readings before it."""
    target, sight = getattr(step.job, "target", None), getattr(step.job, "sight", None)
    by_hand = bool((target is not None and target.by_hand) or (sight is not None and sight.by_hand))
    free = isinstance(step.job, OhmsJob | CurrentJob | RailJob | DropJob | ScopeJob)
    return by_hand or not free or bool(step.only_if) or step.again is not None


def instrument_of(step: PlannedStep) -> str:
    """The kind of instrument that is busy with a step; a drop is arithmetic."""
    match step.job:
        case OhmsJob() | RailJob():
            return METER
        case CurrentJob():
            return SUPPLY
        case DropJob():
            return NOTHING
        case _:
            return SCOPE


def total(steps: list[PlannedStep]) -> float:
    """Seconds of steps one after another."""
    return sum(step.seconds for step in steps)
