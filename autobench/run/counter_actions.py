"""Rates by the counter: through its own relay, held against what the scope shows where there is one. Judges the rate
and nothing else.

A counter knows no waveform. Where its number contradicts the scope's, its level, its way to the point or its probe is
wrong, and the scope's counts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from autobench.instruments.counter import Counter, CounterReading
from autobench.judgement.reading import Reading
from autobench.judgement.uncertainty import Component
from autobench.judgement.verdict import Judgement, Verdict
from autobench.plan.scope_steps import ClockJob, CountedPoint
from autobench.plan.sights import NO_SCOPE
from autobench.plan.steps import PlannedStep
from autobench.quantity import Estimate, show
from autobench.run.errands import COUNTER, Errands
from autobench.run.place import Place
from autobench.run.readings import judged_estimate
from autobench.run.route import Route

AGREED = 1e-3  # relative; an edge more or less within a gate makes no more
FARTHEST = 5.0  # standard uncertainties of the scope's rate


@dataclass
class LiveCounter:
    """The counter of the bench, and the relays that lead to it."""

    counter: Counter
    route: Route
    errands: Errands

    def prepare(self) -> None:
        """Counter into its known state."""
        self.counter.prepare()

    def rate(self, at: CountedPoint) -> CounterReading:
        """The rate at a point; where there are threads its own one counts, and the run's keeps the watch."""
        return self.errands.done_by(COUNTER, lambda: self._counted(at))

    def _counted(self, at: CountedPoint) -> CounterReading:
        """The same; no contact moves meanwhile."""
        with self.route.held():
            self.route.take((at.relay,))
            return self.counter.rate(at.channel, at.level, at.gate)


def live_counter(counters: Mapping[str, Counter], route: Route | None, errands: Errands) -> LiveCounter | None:
    """The first counter of a bench, where relays lead to it."""
    counter = next(iter(counters.values()), None)
    return LiveCounter(counter, route, errands) if counter is not None and route is not None else None


def preferred(
    counting: LiveCounter | None, at: CountedPoint | None, seen: Estimate, parts: tuple[Component, ...]
) -> tuple[Estimate, tuple[Component, ...], str | None]:
    """The counter's rate with its parts, where it has one that fits what the scope has `seen`; else the scope's, with
    the reason why not the counter's."""
    if counting is None or at is None:
        return seen, parts, None
    found = counting.rate(at)
    if found.estimate is None:
        return seen, parts, f"by the scope, since {found.reason}"
    apart = abs(found.estimate.value - seen.value)
    if apart > max(AGREED * seen.value, FARTHEST * seen.uncertainty):
        told = show(found.estimate.value, "Hz", 6)
        why = f"by the scope, since {at.instrument} counts {told} there: its level, its probe or its way is wrong"
        return seen, parts, why
    return found.estimate, found.components, None


def counted_alone(counting: LiveCounter, step: PlannedStep, job: ClockJob, at: CountedPoint) -> list[Reading]:
    """A clock on a bench without a scope: its frequency, and what could not be seen of it."""
    place = Place(step, job.clock, job.point)
    found = counting.rate(at)
    if found.estimate is None:
        why = f"{found.reason}; without a scope nothing tells a dead clock from a way that is open"
        return [place.void("frequency", "Hz", job.frequency, why)]
    readings = [
        judged_estimate(step, job.clock, job.point, "frequency", found.estimate, found.components, job.frequency)
    ]
    skipped = Judgement(Verdict.SKIPPED, None, NO_SCOPE)
    unseen = (
        ("duty", "%", job.duty),
        ("high level", "V", job.high),
        ("low level", "V", job.low),
        ("ratio", "", job.ratio_limits),
    )
    return [*readings, *(place.untaken(what, unit, limits, skipped) for what, unit, limits in unseen if limits)]
