"""Steps that compare lines of the buses and of the memory, from documents: neighbours, drivers, delays, refresh."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from autobench.documents.board import Board
from autobench.documents.bus import Delay, Driver, Refresh
from autobench.documents.sequence import Step
from autobench.plan.bus_sights import STROBE_SECONDS, BusSights, told_by
from autobench.plan.limits import Limits
from autobench.plan.scope_steps import BusJob, DelayJob, DrivingJob, LikenessJob, RefreshJob
from autobench.plan.steps import PlannedStep
from autobench.plan.target import HAND_SECONDS
from autobench.quantity import Span
from autobench.signals.likeness import ALIKE

BUS_MEASURES = ("likeness", "driving", "delay", "refresh")
BOARD_FILE = "board file"
# Dozens of comparisons with two or three tips each: half an hour for what the lines one by one mostly show as well.
MANY = (LikenessJob, DrivingJob)
NOT_BY_HAND = "by hand the lines are looked at one by one; compare them where one looks wrong"
# Varied traffic makes neighbours differ; that they never do means that they are one (common practice).
NOT_ALIKE = Limits(Span(None, ALIKE, ""), "two lines of one bus")
# A few looks may fall into an edge (common practice).
AT_A_LEVEL = Limits(Span(95.0, None, "%"), "a driven line is at a level")


class BusPlanner:
    """Makes these steps for one board on one bench."""

    def __init__(self, board: Board, bus: BusSights) -> None:
        self.board = board
        self.bus = bus

    def expand(self, step: Step) -> Iterator[PlannedStep]:
        """The steps a template stands for."""
        match step.measure:
            case "likeness" if step.stage == "bus":
                for of, to in self.bus.pairs:
                    yield self.likeness(step, of, to)
            case "driving":
                for driver in self.bus.drivers:
                    if step.takes(driver.stage):
                        yield self.driving(step, driver)
            case "delay":
                for delay in self.board.delays:
                    if step.takes(delay.stage):
                        yield self.delay(step, delay)
            case "refresh" if self.board.refresh is not None:
                yield self.refresh(step, self.board.refresh)
            case _:
                return

    def planned(self, step: Step, name: str, job: BusJob, words: str, nets: Sequence[str]) -> PlannedStep:
        """A planned step. What a hand cannot show together is no gap in the round: each line is looked at alone too."""
        points = [self.board.lines[net].point for net in nets]
        cannot = self.bus.sights.lacking(points)
        if cannot is None and not all(job.sight.shows(net) for net in nets):
            cannot = f"{', '.join(nets)} together need {len(nets)} scope channels"
        if cannot is None and job.sight.by_hand and isinstance(job, MANY):
            cannot = NOT_BY_HAND
        seconds = 0.4 + job.sight.seconds + HAND_SECONDS * len(job.sight.by_hand)
        return PlannedStep(name, step.stage, job, words, seconds, cannot, required=cannot is None)

    def family(self, net: str) -> str:
        """The family of what listens on a line."""
        return self.board.lines[net].family

    def likeness(self, step: Step, of: str, to: str) -> PlannedStep:
        """Two neighbours, captured together."""
        job = LikenessJob(
            of=of,
            to=to,
            point=self.board.lines[of].point,
            sight=self.bus.together([of, to], 1e-3),
            families=(self.family(of), self.family(to)),
            limits=NOT_ALIKE,
        )
        words = f"whether {of} and {to} are one line"
        return self.planned(step, step.name({"of": of, "to": to}), job, words, [of, to])

    def driving(self, step: Step, driver: Driver) -> PlannedStep:
        """A part and a line it drives when it is told to."""
        names = told_by(driver)
        job = DrivingJob(
            part=driver.part,
            line=driver.line,
            point=self.board.lines[driver.line].point,
            select=driver.select,
            gate=driver.gate,
            sight=self.bus.of_driver(driver),
            families={name: self.family(name) for name in names},
            limits=AT_A_LEVEL,
        )
        words = f"whether {driver.part} drives {driver.line} while {driver.select} is low"
        return self.planned(step, step.name({"part": driver.part, "line": driver.line}), job, words, names)

    def delay(self, step: Step, delay: Delay) -> PlannedStep:
        """From the fall of one line to that of another."""
        names = [delay.start, delay.end]
        job = DelayJob(
            net=delay.start,
            end=delay.end,
            point=self.board.lines[delay.end].point,
            sight=self.bus.together(names, STROBE_SECONDS),
            families=(self.family(delay.start), self.family(delay.end)),
            limits=Limits(delay.limits, BOARD_FILE),
        )
        name = step.name({"from": delay.start, "to": delay.end})
        return self.planned(step, name, job, f"from the fall of {delay.start} to that of {delay.end}", names)

    def refresh(self, step: Step, refresh: Refresh) -> PlannedStep:
        """Rows that somebody refreshes."""
        names = [refresh.strobe, refresh.line]
        job = RefreshJob(
            net=refresh.strobe,
            tells=refresh.line,
            level=refresh.level,
            point=self.board.lines[refresh.strobe].point,
            sight=self.bus.together(names, STROBE_SECONDS),
            families=(self.family(refresh.strobe), self.family(refresh.line)),
            limits=Limits(refresh.limits, BOARD_FILE),
        )
        words = f"rows refreshed by {refresh.strobe} while {refresh.line} is {refresh.level}"
        return self.planned(step, step.name({}), job, words, names)
