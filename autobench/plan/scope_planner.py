"""Steps that look with a scope, from documents: each with its sight and limits, or why it cannot be taken."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from autobench.documents.board import Board
from autobench.documents.lines import Line
from autobench.documents.rails import MadeRail, Rail, Ripple
from autobench.documents.reset import Reset
from autobench.documents.sequence import Step
from autobench.documents.video import PictureOutput, Sync
from autobench.plan.bus_planner import BusPlanner
from autobench.plan.bus_sights import BusSights
from autobench.plan.counting import Counting
from autobench.plan.limits import Limits
from autobench.plan.scope_steps import (
    ClockJob,
    HeldLine,
    LineJob,
    PictureJob,
    RatioJob,
    ResetJob,
    RippleJob,
    ScopeJob,
    SyncJob,
)
from autobench.plan.sights import COMPOSITE, LOGIC, SYNC_SECONDS, Sights, sync_rate
from autobench.plan.steps import PlannedStep
from autobench.plan.target import HAND_SECONDS
from autobench.quantity import Span, show
from autobench.signals.families import family

BOARD_FILE = "board file"
# Share of an exact ratio by which a measured one may differ (common practice for divided clocks).
RATIO_TOLERANCE = 1e-3
RAIL_UP = 0.9  # share of nominal from which the reset pulse counts
MOST_HELD = 2.5  # pulses in reset that a glitch or two may make; a CPU that runs makes thousands
RIPPLE_SECONDS, RIPPLE_RATE = 60e-3, 2e6
# Edges of these families pass between the levels in tens of ns (common practice); a fight lasts as long as an access.
LONGEST_STAY = 150e-9
NO_MAINS = "needs an inlet fed with the mains' own rate, and this bench feeds direct current"


class ScopePlanner:
    """Makes the scope's steps of one board on one bench."""

    def __init__(self, board: Board, sights: Sights, counting: Counting) -> None:
        self.board = board
        self.sights = sights
        self.counting = counting
        self._clocks = sights.clocks()
        bus = BusSights(sights)
        self._lines = {**sights.lines(), **bus.own()}
        self._bus = BusPlanner(board, bus)
        self._start = sights.start()

    def expand(self, step: Step) -> Iterator[PlannedStep]:
        """The steps a template that measures with the scope stands for."""
        video = self.board.video
        match step.measure:
            case "ripple":
                for name, rail in self.sights.rails.items():
                    if rail.ripple is not None:
                        yield self.ripple(step, name, rail, rail.ripple)
            case "clock":
                for name in self.board.clocks:
                    yield self.clock(step, name)
            case "reset" if self.board.reset is not None:
                yield self.reset(step, self.board.reset)
            case "sync" if video is not None and video.sync is not None:
                yield self.sync(step, video.sync)
            case "picture" if video is not None and video.output is not None:
                yield self.picture(step, video.output, video.output_line_rate)
            case "line":
                for name, line in self.board.lines.items():
                    if step.takes(line.stage, line.side):
                        yield self.line(step, name, line)
            case "ratio":
                yield from self.ratios(step)
            case _:
                yield from self._bus.expand(step)

    def planned(self, step: Step, name: str, job: ScopeJob, words: str, points: list[str]) -> PlannedStep:
        """A planned step, with the reason where a point cannot be reached."""
        sight = getattr(job, "sight", None)
        seconds = 0.4 + (sight.seconds + HAND_SECONDS * len(sight.by_hand) if sight is not None else 0.0)
        return PlannedStep(name, step.stage, job, words, seconds, self.cannot(points))

    def cannot(self, points: list[str]) -> str | None:
        """Why the scope cannot get to `points` together, or None."""
        return self.sights.lacking(points)

    def ripple(self, step: Step, name: str, rail: Rail | MadeRail, asked: Ripple) -> PlannedStep:
        """Ripple at the place the board file names."""
        place = rail.places[asked.place]
        span = place.limits
        window = ((span.low or 0.0) - 0.3, (span.high or 0.0) + 0.1)
        sight = self.sights.sight([(name, place.point, window)], RIPPLE_SECONDS, RIPPLE_RATE, bandwidth_limit=True)
        job = RippleJob(name, sight, place.point, Limits(asked.limits, BOARD_FILE, asked.usual))
        words = f"ripple of {name} at {asked.place}, {place.point}"
        return self.planned(step, step.name({"rail": name}), job, words, [place.point])

    def clock(self, step: Step, name: str) -> PlannedStep:
        """One clock, in the sight of all clocks."""
        clock = self.board.clocks[name]
        limits, related = self.board.clock_limits(name), self.board.ratio(name)
        sight = self._clocks[name]
        other = related[0] if related is not None and sight.shows(related[0]) else None
        ratio = related[1] if related is not None else None
        counted = self.counting.at(name, clock.point, clock.family, self.board.nominal(name), limits)
        job = ClockJob(
            clock=name,
            point=clock.point,
            sight=sight,
            nominal=self.board.nominal(name),
            family=clock.family,
            frequency=Limits(limits, BOARD_FILE if related is None else f"{BOARD_FILE}: {ratio} of {related[0]}"),
            counted=counted,
            other=other,
            ratio=ratio,
            ratio_limits=exact(float(ratio)) if ratio is not None and other is not None else None,
            duty=Limits(clock.duty, BOARD_FILE) if clock.duty is not None else None,
            high=Limits(clock.high, BOARD_FILE) if clock.high is not None else None,
            low=Limits(clock.low, BOARD_FILE) if clock.low is not None else None,
        )
        words = f"clock {name} at {clock.point}, {show(job.nominal, 'Hz', 6)}"
        planned = self.planned(step, step.name({"clock": name}), job, words, [clock.point])
        if counted is None:
            return planned
        # By the counter alone as well: then duty and levels are what this bench cannot show.
        return replace(planned, seconds=planned.seconds + counted.gate, cannot=None)

    def reset(self, step: Step, reset: Reset) -> PlannedStep:
        """The reset pulse, from the start capture."""
        rail_name = self.sights.reset_rail()
        rail = self.sights.rails[rail_name]
        job = ResetJob(
            net=reset.line,
            point=reset.point,
            rail=rail_name,
            rail_up=RAIL_UP * rail.nominal.value,
            active_low=reset.active == "low",
            family=reset.family,
            limits=Limits(reset.width, BOARD_FILE, reset.usual),
            holds=self.held_line(reset),
        )
        points = [reset.point, list(rail.places.values())[-1].point]
        return self.planned(step, step.name({}), job, f"reset {reset.line} at {reset.point}, from power-on", points)

    def held_line(self, reset: Reset) -> HeldLine | None:
        """The line that stands still in reset, where the start capture shows it."""
        start = self.sights.start()
        if reset.holds is None or start is None or all(each.net != reset.holds for each in start.sight.points):
            return None
        line = self.board.lines[reset.holds]
        return HeldLine(reset.holds, line.point, line.family, Limits(Span(None, MOST_HELD, ""), "a CPU that is held"))

    def sync(self, step: Step, sync: Sync) -> PlannedStep:
        """Sync at its source."""
        line, field = sync.line_source, sync.field_source
        named = [(line.net, line.point, LOGIC)]
        if not sync.composite:
            named.append((field.net, field.point, LOGIC))
        sight = self.sights.sight(named, SYNC_SECONDS, sync_rate(self.board))
        job = SyncJob(
            net=line.net,
            point=line.point,
            sight=sight,
            line_rate=Limits(sync.line_rate, BOARD_FILE),
            field_rate=Limits(sync.field_rate, BOARD_FILE),
            pulse=Limits(sync.pulse, BOARD_FILE),
            field_net=None if sync.composite else field.net,
            field_point=None if sync.composite else field.point,
        )
        points = [point for _, point, _ in named]
        return self.planned(step, step.name({}), job, f"sync {line.net} at {line.point}", points)

    def picture(self, step: Step, output: PictureOutput, line_rate: Span | None) -> PlannedStep:
        """The composite output."""
        sight = self.sights.sight([(output.net, output.point, COMPOSITE)], SYNC_SECONDS, sync_rate(self.board))
        job = PictureJob(
            net=output.net,
            point=output.point,
            sight=sight,
            line_rate=Limits(line_rate or Span(None, None, "Hz"), BOARD_FILE),
            sync_amplitude=Limits(output.sync_amplitude, f"{BOARD_FILE}, into {output.terminated}"),
            amplitude=Limits(output.amplitude, f"{BOARD_FILE}, into {output.terminated}"),
        )
        words = f"video output {output.net} at {output.point}"
        return self.planned(step, step.name({}), job, words, [output.point])

    def line(self, step: Step, name: str, line: Line) -> PlannedStep:
        """One logic line; a line judged at the start comes from the start capture."""
        sight = self._lines.get(name) or self.sights.line_sight([name], fast=True)
        job = LineJob(
            line=name,
            point=line.point,
            sight=sight,
            expected=line.state,
            family=line.family,
            rate=Limits(line.rate or Span(None, None, "Hz"), BOARD_FILE, line.usual),
            side=line.side,
            shortest=line.shortest.value if line.shortest is not None else None,
            within=line.within.value if line.within is not None else None,
            pulses=Limits(line.pulses, BOARD_FILE) if line.pulses is not None else None,
            stay=stay_limits(line),
            low=low_limits(line),
        )
        planned = self.planned(step, step.name({"line": name}), job, f"line {name} at {line.point}", [line.point])
        if line.needs == "mains":
            return replace(planned, cannot=NO_MAINS, required=False)
        start = self._start
        if line.when == "start" and planned.cannot is None and (start is None or not start.sight.shows(name)):
            return replace(planned, cannot=f"{line.point} cannot be captured at power-on together with the reset line")
        return planned

    def ratios(self, step: Step) -> Iterator[PlannedStep]:
        """Ratios of the step's stage."""
        lines = self.board.lines
        for ratio in self.board.ratios:
            if step.takes(ratio.stage):
                points = [lines[name].point for name in (ratio.of, ratio.to)]
                job = RatioJob(
                    of=ratio.of,
                    to=ratio.to,
                    point=points[0],
                    sight=self.sights.ratio(ratio.of, ratio.to, self._lines),
                    families=(lines[ratio.of].family, lines[ratio.to].family),
                    limits=Limits(ratio.limits, BOARD_FILE),
                )
                name = step.name({"of": ratio.of, "to": ratio.to})
                yield self.planned(step, name, job, f"pulses of {ratio.of} for each of {ratio.to}", points)


def judged_levels(line: Line) -> bool:
    """Whether the levels of a moving line are judged: on the buses, unless it is left to itself between accesses."""
    return line.stage != "cpu" and line.state == "moving" and line.when is None and not line.floats


def stay_limits(line: Line) -> Limits | None:
    """How long a line may stay between what its family drives low and takes as high."""
    if not judged_levels(line):
        return None
    return Limits(Span(None, LONGEST_STAY, "s"), f"{line.family} levels")


def low_limits(line: Line) -> Limits | None:
    """What its receivers take as a low; above what an output guarantees, the low is fought for or overloaded."""
    if not judged_levels(line):
        return None
    receiver = family(line.family)
    usual = Span(None, receiver.raised_from, "V")
    return Limits(Span(None, receiver.low_in, "V"), f"{receiver.name} input levels", usual)


def exact(ratio: float) -> Limits:
    """Limits of an exact ratio."""
    span = Span(ratio * (1 - RATIO_TOLERANCE), ratio * (1 + RATIO_TOLERANCE), "")
    return Limits(span, "exact ratio of the board file")
