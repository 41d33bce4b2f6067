"""Which look of the scope a step wants. It judges nothing: each kind of look has a module of its own."""

from __future__ import annotations

from autobench.judgement.reading import Reading
from autobench.plan.scope_steps import (
    ClockJob,
    LineJob,
    PictureJob,
    RatioJob,
    ResetJob,
    RippleJob,
    ScopeJob,
    SyncJob,
)
from autobench.plan.steps import PlannedStep, PlugRippleJob
from autobench.run import bus_actions, line_actions, plug_actions, scope_actions
from autobench.run.actions import Bench
from autobench.run.captures import Captures


def look(bench: Bench, captures: Captures, step: PlannedStep, job: ScopeJob | PlugRippleJob) -> list[Reading]:
    """The readings of a step that looks with the scope."""
    match job:
        case PlugRippleJob():
            return plug_actions.plug_ripple(bench, captures, step, job)
        case RippleJob():
            return scope_actions.ripple(captures, step, job, bench.line_hertz)
        case ClockJob():
            return scope_actions.clock(captures, step, job, bench.counting)
        case ResetJob():
            limited = next((output.feed.rail for output in bench.power.outputs.values() if output.retried), None)
            return scope_actions.reset(captures, step, job, limited)
        case SyncJob():
            return scope_actions.sync(captures, step, job)
        case PictureJob():
            return scope_actions.picture(captures, step, job)
        case LineJob():
            return line_actions.line(captures, step, job)
        case RatioJob():
            return line_actions.ratio(captures, step, job)
        case _:
            return bus_actions.bus(captures, step, job)
