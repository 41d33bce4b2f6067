"""From documents to a plan: every step with its instrument, route and limits, or the reason why it cannot be taken.

Pure. What can be refused is refused here, before anything is switched on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from autobench.documents.bench import Bench
from autobench.documents.board import Board
from autobench.documents.driver import Driver
from autobench.documents.rails import Drop, MadeRail, Rail, RailPlace
from autobench.documents.sequence import AT_PLUG, Step
from autobench.documents.sequence import Sequence as SequenceFile
from autobench.documents.words import choice_text, quoted
from autobench.errors import UsageError
from autobench.plan.bus_planner import BUS_MEASURES
from autobench.plan.counting import Counting
from autobench.plan.envelope import feeds_of, target_of
from autobench.plan.limits import Limits
from autobench.plan.plug_steps import PlugPlanner, plug_spot
from autobench.plan.relay_paths import relay_paths
from autobench.plan.scope_planner import ScopePlanner
from autobench.plan.scope_steps import LineJob, ResetJob
from autobench.plan.sights import Sights
from autobench.plan.spots import Spot, spot_of
from autobench.plan.steps import (
    AskJob,
    CurrentJob,
    DropJob,
    Feed,
    InjectionJob,
    Job,
    OhmsJob,
    Plan,
    PlannedStep,
    PolarityJob,
    PowerJob,
    RailJob,
    WaitJob,
)
from autobench.plan.target import HAND_SECONDS, Target
from autobench.plan.terms import Again, Condition

SCOPE_MEASURES = ("ripple", "clock", "reset", "sync", "picture", "line", "ratio", *BUS_MEASURES)
NO_ROUTE = "no meter route to {point} and {ground} on this bench, and no hand probe"
# Seconds a step takes beside what the board itself needs; for the time left, not for any verdict.
METER_SECONDS = 0.3
POLARITY_SECONDS = 1.0
HAND_LEADS = 0.2  # ohm; a pair of test leads with their tips (0.1 ohm to 0.3 ohm, common practice)


class Planner:
    """Makes one plan of one set of documents."""

    def __init__(self, bench: Bench, drivers: Mapping[str, Driver], board: Board, options: Mapping[str, str]) -> None:
        self.bench = bench
        self.board = board
        self.options = board.resolve_options(options)
        self.feeds = feeds_of(bench, drivers, board, self.options)
        scope = next((name for name, driver in drivers.items() if driver.kind == "scope"), None)
        samples = drivers[scope].samples if scope is not None else None
        channels = samples.channels if samples is not None else ()
        divisions = samples.divisions.horizontal if samples is not None else 10
        self.sights = Sights(bench, board, scope, channels, divisions, self.options)
        self.paths = relay_paths(bench, drivers, max((abs(feed.trip) for feed in self.feeds), default=0.0))
        self.scope = ScopePlanner(board, self.sights, Counting(bench, board, drivers))
        self.plugs = PlugPlanner(bench, self.sights)

    def plan(self, sequence: SequenceFile, only: Sequence[str] = ()) -> Plan:
        """The whole round; with `only`, the named steps and what keeps them safe. Raises `UsageError`."""
        steps = tuple(self.all_steps(sequence))
        self.feeds = tuple(stepped(feed, sequence) for feed in self.feeds)
        return Plan(
            board=self.board.board,
            options=self.options,
            sequence=sequence.sequence,
            bench=self.bench.bench,
            feeds=self.feeds,
            steps=pick(steps, only) if only else steps,
            instruments={name: f"{item.driver} at {item.address}" for name, item in self.bench.instruments.items()},
            line_frequency=self.bench.line_frequency.value,
            paths=self.paths,
            spots={spot.point: spot for spot in self.spots()},
            alone=sequence.alone,
            steady=self.bench.hand_probe.steady.value if self.bench.hand_probe is not None else 0.0,
        )

    def all_steps(self, sequence: SequenceFile) -> Iterator[PlannedStep]:
        """Every step in order, with the terms it is taken by."""
        made: dict[str, set[str]] = {}  # name as written, or stage, to the steps it stands for
        for _, step in sequence.own:
            conditions = tuple(Condition(of, frozenset(made.get(of, ())), words) for of, words in step.only_if.items())
            repeat = step.repeat
            for planned in self.expand(step):
                yield replace(
                    planned,
                    rule=step.rule or sequence.rule,
                    patience=step.patience.value if step.patience is not None else 0.0,
                    only_if=conditions,
                    again=Again(repeat.until, repeat.every.value, repeat.within.value) if repeat is not None else None,
                )
                made.setdefault(step.step, set()).add(planned.name)
                made.setdefault(step.stage, set()).add(planned.name)

    def spots(self) -> list[Spot]:
        """Every point that a person may be asked for, in words."""
        plugs = [plug_spot(feed.rail) for feed in self.feeds if feed.by_hand]
        return [*(spot_of(self.board, point) for point in self.board.points()), *plugs]

    def expand(self, step: Step) -> Iterator[PlannedStep]:
        """The steps a template stands for."""
        if step.measure in SCOPE_MEASURES:
            yield from self.scope.expand(step)
            return
        if step.for_each is None:
            yield self.once(step)
            return
        if step.for_each == "rail":  # only what the bench feeds has an inlet, a current and a polarity
            for name, fed in self.board.fed(self.options).items():
                feed = next(feed for feed in self.feeds if feed.rail == name)
                yield self.for_rail(step, name, fed, feed)
            return
        for rail_name, rail in self.sights.rails.items():
            if step.for_each == "place":
                for name, place in rail.places.items():
                    yield self.for_place(step, rail_name, rail, name, place)
            else:
                for drop in rail.drops:
                    yield self.for_drop(step, rail_name, rail, drop)

    def once(self, step: Step) -> PlannedStep:
        """A step that is taken once."""
        job: Job
        if step.ask is not None:
            job, words, seconds = AskJob(step.ask, step.hands), step.ask, 30.0
        elif step.wait is not None:
            job, words, seconds = WaitJob(step.wait.value), f"wait {step.wait}", step.wait.value
        else:
            on = step.power == "on"
            job, words = PowerJob(on, self.sights.start() if on else None), "every rail on" if on else "every rail off"
            seconds = sum(feed.settle for feed in self.feeds) if on else 1.0
        return PlannedStep(step.name({}), step.stage, job, words, seconds)

    def for_rail(self, step: Step, name: str, rail: Rail, feed: Feed) -> PlannedStep:
        """A step that is taken once a rail."""
        if step.measure in AT_PLUG:
            return self.plugs.step(step, name, rail, feed)
        full = step.name({"rail": name})
        place = next(iter(rail.places.values()))
        if step.power == "polarity":
            probe = PolarityJob(name, self.not_fed(rail))
            return PlannedStep(full, step.stage, probe, f"which way round is {name}?", POLARITY_SECONDS)
        if step.power == "injection":
            targets = tuple(self.target(name, each) for each in rail.places.values())
            inject = InjectionJob(name, tuple(target for target in targets if target.reachable))
            return PlannedStep(full, step.stage, inject, f"where do the volts of {name} go?", POLARITY_SECONDS)
        if step.measure == "current":
            job = CurrentJob(name, feed.current, place.point)
            return PlannedStep(full, step.stage, job, f"current of {name}", METER_SECONDS)
        target = self.target(name, place)
        limits = Limits(rail.ohms.limits, "board file", rail.ohms.usual)
        path = 2 * self.bench.routes.path.value if self.bench.routes and not target.by_hand else HAND_LEADS
        ohms = OhmsJob(name, target, limits, path)
        return PlannedStep(
            full, step.stage, ohms, f"{name} to ground, ohms", seconds_at(target), self.unreachable(target)
        )

    def not_fed(self, rail: Rail) -> tuple[str, ...]:
        """The choices of options with which the bench feeds no such rail."""
        return tuple(
            f"{option}={choice}"
            for option, wanted in rail.when.items()
            for choice in self.board.options[option].choices
            if choice != wanted
        )

    def for_place(self, step: Step, rail: str, line: Rail | MadeRail, name: str, place: RailPlace) -> PlannedStep:
        """A step that is taken at one place of a rail."""
        target = self.target(rail, place)
        limits = Limits(place.limits, "board file", place.usual, place.data_sheet)
        fed_by = line.source if isinstance(line, MadeRail) else rail
        job = RailJob(rail, name, target, limits, line.nominal.value, fed_by)
        full = step.name({"rail": rail, "place": name})
        words = f"{rail} at {name}, {place.point} against {place.ground}"
        return PlannedStep(full, step.stage, job, words, seconds_at(target), self.unreachable(target))

    def for_drop(self, step: Step, rail_name: str, rail: Rail | MadeRail, drop: Drop) -> PlannedStep:
        """A drop between two places, from readings taken before."""
        limits = Limits(drop.limits, "board file", drop.usual)
        job = DropJob(rail_name, drop.start, drop.end, rail.places[drop.end].point, limits)
        full = step.name({"rail": rail_name, "from": drop.start, "to": drop.end})
        return PlannedStep(full, step.stage, job, f"what {rail_name} loses from {drop.start} to {drop.end}", 0.0)

    def target(self, rail: str, place: RailPlace) -> Target:
        """Where the meter touches at a place of a rail."""
        return self.target_at(rail, place.point, place.ground)

    def target_at(self, net: str, point: str, ground: str) -> Target:
        """Where the meter touches at `point`, against `ground`."""
        return target_of(self.bench, self.board.board, net, point, ground)

    def unreachable(self, target: Target) -> str | None:
        """Why a target cannot be measured on this bench, or None."""
        return None if target.reachable else NO_ROUTE.format(point=target.point, ground=target.against)


def stepped(feed: Feed, sequence: SequenceFile) -> Feed:
    """A feed whose current limit goes up in the steps that a sequence for boards nobody knows asks for."""
    amps = next((step.amps for _, step in sequence.own if step.amps), ())
    if not amps or feed.by_hand:
        return feed
    ladder = tuple(dict.fromkeys(min(each.value, feed.envelope.amps) for each in amps))
    return replace(feed, amps=ladder[0], ladder=ladder)


def seconds_at(target: Target) -> float:
    """Seconds that a reading at `target` takes."""
    return HAND_SECONDS if target.by_hand else METER_SECONDS


def pick(steps: tuple[PlannedStep, ...], only: Sequence[str]) -> tuple[PlannedStep, ...]:
    """The steps named (by step or by stage) with every step that keeps power safe; raises `UsageError`."""
    names = [step.name for step in steps]
    stages = list(dict.fromkeys(step.stage for step in steps))
    for word in only:
        if word not in names and word not in stages:
            raise UsageError(f"no step is named {quoted(word)}; {choice_text(word, [*stages, *names])}")
    wanted = {step.name for step in steps if step.name in only or step.stage in only}
    needed = wanted | partners(steps, wanted)
    safe = (OhmsJob, PolarityJob, PowerJob)
    picked = [step for step in steps if step.name in needed or isinstance(step.job, safe)]
    there = {step.name for step in picked}
    return tuple(
        replace(
            step,
            required=step.required and (step.name in wanted or isinstance(step.job, safe)),
            only_if=tuple(condition for condition in step.only_if if condition.steps & there),  # nobody asked for it
        )
        for step in picked
    )


def partners(steps: tuple[PlannedStep, ...], wanted: set[str]) -> set[str]:
    """Steps a wanted step takes its numbers from.

    A drop needs the volts at both its places, a line judged from power-on the reset that its time counts from.
    """
    from_start = any(
        step.name in wanted and isinstance(step.job, LineJob) and step.job.within is not None for step in steps
    )
    places = {
        (step.job.rail, place)
        for step in steps
        if step.name in wanted and isinstance(step.job, DropJob)
        for place in (step.job.start, step.job.end)
    }
    return {
        step.name
        for step in steps
        if (isinstance(step.job, RailJob) and (step.job.rail, step.job.place) in places)
        or (isinstance(step.job, ResetJob) and from_start)
    }
