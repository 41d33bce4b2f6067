"""A plan for one quick question: what is at this point now? Power as in a round, and what is known of the point.

Pure. What the board file says of the point decides how it is looked at and by what it is judged.
"""

from __future__ import annotations

from dataclasses import replace

from autobench.documents.nets import GROUND
from autobench.documents.rails import MadeRail
from autobench.documents.sequence import Sequence
from autobench.documents.words import choice_text, quoted
from autobench.errors import UsageError
from autobench.plan.limits import Limits
from autobench.plan.planner import Planner
from autobench.plan.scope_steps import LineJob
from autobench.plan.spots import spot_of
from autobench.plan.steps import OhmsJob, Plan, PlannedStep, PolarityJob, PowerJob, RailJob
from autobench.quantity import Span

SAFE = (OhmsJob, PolarityJob, PowerJob)
FAMILY = "TTL"  # the levels a line is held to where the board file does not say what hears it
SECONDS = 1.0


def plan_of_point(planner: Planner, sequence: Sequence, point: str) -> Plan:
    """Power on as in `sequence`, the steps that measure at `point`, power off.

    A point that no step measures is looked at as a pin of its net: a rail in volts, anything else as a logic line.
    Raises `UsageError` for a point the board file does not tell of.
    """
    whole = planner.plan(sequence)
    net = net_of(planner, point)
    here = [step for step in whole.steps if point_of(step) == point and not isinstance(step.job, SAFE)]
    here = here or [unlisted(planner, net, point)]
    safe = [step for step in whole.steps if isinstance(step.job, SAFE)]
    off = [step for step in safe if isinstance(step.job, PowerJob) and not step.job.on]
    before = [step for step in safe if step not in off]
    spots = {**whole.spots, point: spot_of(planner.board, point)}
    return replace(whole, sequence="measure", steps=(*before, *here, *off), spots=spots)


def point_of(step: PlannedStep) -> str | None:
    """Where a step measures."""
    target = getattr(step.job, "target", None)
    return target.point if target is not None else getattr(step.job, "point", None)


def net_of(planner: Planner, point: str) -> str:
    """The net a point is on; raises `UsageError` where the board file does not say."""
    nets = planner.board.nets()
    found = next((net for net, points in nets.items() if point in points), None)
    if found is None:
        known = list(dict.fromkeys(each for points in nets.values() for each in points))
        raise UsageError(f"{planner.board.board} tells of no point {quoted(point)}; {choice_text(point, known)}")
    return found


def unlisted(planner: Planner, net: str, point: str) -> PlannedStep:
    """The step for a point that no step of the round measures."""
    if net in planner.sights.rails or net == GROUND:
        return volts_at(planner, net, point)
    sight = planner.sights.any_line(net, point)
    unlimited = Limits(Span(None, None, "Hz"), "for information")
    job = LineJob(net, point, sight, "any", FAMILY, unlimited, side="output")
    cannot = planner.sights.lacking([point])
    return PlannedStep(f"point {point}", "bus", job, f"{net} at {point}", SECONDS, cannot)


def volts_at(planner: Planner, net: str, point: str) -> PlannedStep:
    """Volts of a rail's pin against the same part's own ground, held to the widest limits of the rail's places."""
    board, rails = planner.board, planner.sights.rails
    ground = spot_of(board, point).ground if net != GROUND else board.places()[0].ground
    target = planner.target_at(net, point, ground)
    span, source = Span(None, None, "V"), "for information"
    rail = next(iter(rails)) if net == GROUND else net
    if net != GROUND:
        places = list(rails[net].places.values())
        lows, highs = [place.limits.low or 0.0 for place in places], [place.limits.high or 0.0 for place in places]
        span, source = Span(min(lows), max(highs), "V"), "board file: the widest of this rail's places"
    line = rails[rail]
    fed_by = line.source if isinstance(line, MadeRail) else rail
    job = RailJob(rail, point, target, Limits(span, source), 0.0 if net == GROUND else line.nominal.value, fed_by)
    words = f"{net} at {point}, against {ground}"
    return PlannedStep(f"point {point}", "rails", job, words, SECONDS, planner.unreachable(target))
