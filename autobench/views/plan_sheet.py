"""A plan as rows for people and programs: each step with instrument, range, route, limits and where those come from.

Pure. It computes from the ratings of the drivers what the instruments would be set to; it talks to none.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from autobench.documents.bench import Bench
from autobench.documents.driver import Driver
from autobench.documents.driver_samples import Samples
from autobench.instruments.meter import range_for
from autobench.instruments.scope_setup import foreseen_interval, time_scale, vertical
from autobench.plan.limits import Limits
from autobench.plan.scope_steps import CountedPoint, Sight
from autobench.plan.steps import (
    AskJob,
    CurrentJob,
    DropJob,
    OhmsJob,
    Plan,
    PlannedStep,
    PolarityJob,
    PowerJob,
    RailJob,
)
from autobench.plan.target import Target
from autobench.quantity import Span, show
from autobench.run.captures import setup_of

LIMITS = (
    ("limits", ""),
    ("frequency", ""),
    ("ratio_limits", "ratio"),
    ("duty", "duty"),
    ("high", "high"),
    ("low", "low"),
    ("line_rate", "line rate"),
    ("field_rate", "field rate"),
    ("pulse", "pulse"),
    ("sync_amplitude", "sync"),
    ("amplitude", "picture"),
    ("rate", ""),
    ("pulses", "pulses"),
)


@dataclass(frozen=True)
class Held:
    """One limit: what it is of, in words (empty for the step's own quantity), the span and its source."""

    what: str
    span: str
    source: str
    usual: str | None
    data_sheet: str | None


@dataclass(frozen=True)
class Row:
    """One step as it would be taken."""

    step: str
    stage: str
    words: str
    where: str
    instrument: str
    range: str
    route: str
    held: tuple[Held, ...]
    seconds: float
    cannot: str | None
    required: bool
    terms: str


class Sheet:
    """Rows for the steps of one plan on one bench."""

    def __init__(self, plan: Plan, bench: Bench, drivers: Mapping[str, Driver]) -> None:
        self.plan = plan
        self.drivers = drivers
        kinds = {driver.kind: name for name, driver in reversed(list(drivers.items()))}
        self.meter, self.scope = kinds.get("meter", "no meter"), kinds.get("scope", "no scope")
        self.probe = float(bench.instruments[self.scope].probe or 1) if self.scope in bench.instruments else 1.0

    def rows(self) -> list[Row]:
        """All steps, in order."""
        return [self.row(step) for step in self.plan.steps]

    def row(self, step: PlannedStep) -> Row:
        """One step."""
        instrument, span, route = self.taken_with(step)
        return Row(
            step=step.name,
            stage=step.stage,
            words=step.words,
            where=where_of(step),
            instrument=instrument,
            range=span,
            route=route,
            held=held_of(step),
            seconds=step.seconds,
            cannot=step.cannot,
            required=step.required,
            terms=terms_of(step),
        )

    def taken_with(self, step: PlannedStep) -> tuple[str, str, str]:
        """Instrument, range and route of a step."""
        job = step.job
        if isinstance(job, OhmsJob):
            return self.meter, self.meter_range("ohms", job.limits.span.high or 1e3), route_of(job.target)
        if isinstance(job, RailJob):
            return self.meter, self.meter_range("volts", job.nominal), route_of(job.target)
        if isinstance(job, PolarityJob | CurrentJob):
            feed = next(feed for feed in self.plan.feeds if feed.rail == job.rail)
            return ("a person" if feed.by_hand else f"{feed.supply} output {feed.output}"), "", ""
        if isinstance(job, PowerJob):
            return ("with the scope armed before" if job.start is not None else ""), "", ""
        if isinstance(job, AskJob):
            return f"a person is asked: {job.words}", "", ""
        if isinstance(job, DropJob):
            return "from the readings before", "", ""
        sight, counted = getattr(job, "sight", None), getattr(job, "counted", None)
        if isinstance(sight, Sight) and isinstance(counted, CountedPoint):
            return self.counted_with(sight, counted)
        if isinstance(sight, Sight):
            return self.scope, self.scope_range(sight), sight_route(sight)
        if step.stage == "reset" or hasattr(job, "rail_up"):
            return self.scope, "captured from before power-on", ""
        return "", "", ""

    def counted_with(self, sight: Sight, counted: CountedPoint) -> tuple[str, str, str]:
        """A rate by the counter, and the rest by the scope where there is one."""
        span = f"gate {show(counted.gate, 's')} at {show(counted.level, 'V', 3)}"
        route = f"{counted.net} on input {counted.channel} (relay {counted.relay})"
        if not sight.points:
            return f"{counted.instrument} alone: duty and levels are left out without a scope", span, route
        beside = f"frequency by {counted.instrument}, {span}, {route}; the rest by {self.scope}"
        return beside, self.scope_range(sight), sight_route(sight)

    def meter_range(self, function: str, expected: float) -> str:
        """`10 V range`; nothing where the driver has no such function."""
        driver = self.drivers.get(self.meter)
        found = getattr(driver.measures, function) if driver is not None and driver.measures is not None else None
        if found is None:
            return ""
        entry = found.ranges[range_for(found, expected)]
        return f"{show(entry.range.value, entry.range.unit, 3)} range"

    def scope_range(self, sight: Sight) -> str:
        """`1 V/div, 5 µs/div, 250 MSa/s`; why not, where the scope cannot be set so."""
        driver = self.drivers.get(self.scope)
        samples = driver.samples if driver is not None else None
        if samples is None or not sight.points:
            return ""
        try:
            return scope_setting(samples, sight, self.probe)
        except ValueError as error:
            return f"beyond this scope: {error}"


def scope_setting(samples: Samples, sight: Sight, probe: float) -> str:
    """What the scope would be set to; raises `ValueError` where its ratings do not reach."""
    first = sight.points[0]
    volts, _ = vertical(samples, first.low, first.high, probe)
    base = time_scale(samples, sight.seconds)
    rate = 1.0 / foreseen_interval(samples, setup_of(sight))
    parts = [f"{show(volts, 'V', 2)}/div", f"{show(base, 's', 2)}/div", show(rate, "Sa/s", 3)]
    parts += ["peak detection"] if sight.peak else []
    parts += ["20 MHz limit"] if sight.bandwidth_limit else []
    return ", ".join(parts)


def where_of(step: PlannedStep) -> str:
    """Where a step touches the board."""
    target = getattr(step.job, "target", None)
    if isinstance(target, Target):
        return f"{target.point} against {target.against}"
    return str(getattr(step.job, "point", None) or "")


def route_of(target: Target) -> str:
    """How the meter gets there."""
    if target.by_hand:
        return "tips held by hand"
    return f"relays {', '.join(map(str, target.channels))}" if target.channels else ""


def sight_route(sight: Sight) -> str:
    """Which nets are on which channels, and through which relays."""
    told = [
        f"{point.net} on channel {point.channel}{' by hand' if point.by_hand else f' (relay {point.relay})'}"
        for point in sight.points
    ]
    return ", ".join(told)


def held_of(step: PlannedStep) -> tuple[Held, ...]:
    """Everything that a step's readings are held to."""
    found = []
    for name, what in LIMITS:
        limits = getattr(step.job, name, None)
        if isinstance(limits, Limits) and (limits.span.low is not None or limits.span.high is not None):
            usual, sheet = limits.usual, limits.data_sheet
            found.append(
                Held(
                    what,
                    span_text(limits.span),
                    limits.source,
                    None if usual is None else span_text(usual),
                    None if sheet is None else span_text(sheet),
                )
            )
    expected = getattr(step.job, "expected", None)
    if expected in ("high", "low", "moving") and not found:
        found.append(Held("", str(expected), "board file", None, None))
    return tuple(found)


def span_text(span: Span) -> str:
    """A span in so many digits that its two ends differ."""
    if span.low is None or span.high is None or span.low == span.high:
        return str(span)
    pairs = ((show(span.low, span.unit, digits), show(span.high, span.unit, digits)) for digits in range(4, 12))
    low, high = next(((low, high) for low, high in pairs if low != high), (str(span.low), str(span.high)))
    return f"{low} .. {high}"


def terms_of(step: PlannedStep) -> str:
    """Conditions and repeats in words; empty for a step that is simply taken once."""
    parts = [f"only if {condition.of} is {' or '.join(condition.verdicts)}" for condition in step.only_if]
    if step.again is not None:
        wanted = " or ".join(step.again.verdicts)
        parts.append(f"again every {show(step.again.every, 's', 2)} until {wanted}, {show(step.again.within, 's', 3)}")
    return "; ".join(parts)
