"""The runner: takes a plan through its steps, in order, and ends with everything off. It decides; others measure.

Blocking, one thread, every event through `emit`. The record's failure stops the run (made safe); what a view does with
an event is the caller's concern.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from autobench.errors import AutobenchError, InterlockRefusedError, OutputNotOffError, StoppedError, TrippedError
from autobench.events import Event, Notice, ReadingTaken, StepStarted
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import BoardJudgement, Judgement, Verdict, board_verdict, void
from autobench.plan.limits import Limits
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
from autobench.plan.steps import (
    AskJob,
    CurrentJob,
    DropJob,
    Job,
    OhmsJob,
    Plan,
    PlannedStep,
    PolarityJob,
    PowerJob,
    RailJob,
    WaitJob,
)
from autobench.quantity import Span
from autobench.run import actions, line_actions, scope_actions
from autobench.run.readings import unread

# Stages whose failure makes every later stage's readings conditional: recorded, never used to accuse.
GATES = ("rails", "clocks", "reset")
NO_LIMITS = Limits(Span(None, None, ""), "none")


class Runner:
    """One run of one plan."""

    def __init__(
        self,
        plan: Plan,
        bench: actions.Bench,
        emit: Callable[[Event], None],
        check: Callable[[], None],
        ask: Callable[[str], bool] | None = None,
    ) -> None:
        self._plan = plan
        self._bench = bench
        self._emit = emit
        self._check = check
        self._ask = ask
        self._gate: str | None = None
        self._unpowered: str | None = None
        self.readings: list[Reading] = []

    def run(self) -> BoardJudgement:
        """Take every step; returns the board's verdict.

        Whatever happens, every output is off and proved off before this returns or raises. Raises
        `OutputNotOffError` if that could not be proved; every other named error becomes the verdict `stopped`.
        """
        stopped: str | None = None
        try:
            try:
                self._bench.route.prepare()
                self._bench.touch.prepare()
                if self._bench.captures is not None:
                    self._bench.captures.prepare()
                self._bench.power.make_off()
                for step in self._plan.steps:
                    self._check()
                    self._take(step)
                self._check()
            finally:
                self._bench.power.make_off()
            self._check()  # a wish to stop that came while the outputs were proved off
        except OutputNotOffError:
            raise
        except StoppedError as error:
            stopped = str(error)
        except AutobenchError as error:
            stopped = str(error)
            self._emit(Notice(self._bench.clock.now(), str(error), urgent=True))
        return board_verdict(self.readings, stopped=stopped)

    def _take(self, step: PlannedStep) -> None:
        self._emit(StepStarted(self._bench.clock.now(), step.name, step.stage, step.words))
        for reading in self._readings_of(step):
            gated = self._gate is not None and step.stage != self._gate
            judged = replace(reading, conditional=gated)
            self.readings.append(judged)
            if judged.verdict is Verdict.OUTSIDE and judged.required and step.stage in GATES and self._gate is None:
                self._gate = step.stage
            self._emit(ReadingTaken(self._bench.clock.now(), judged))

    def _readings_of(self, step: PlannedStep) -> list[Reading]:
        """Readings of one step; a step that cannot be taken gives one `skipped` or `void` reading with the reason."""
        if step.cannot is not None:
            return self._skipped(step, step.cannot)
        if self._unpowered is not None and needs_power(step):
            return self._skipped(step, self._unpowered)
        try:
            return self._dispatch(step)
        except InterlockRefusedError as error:
            self._unpowered = self._unpowered or f"the board was not powered: {error}"
            return self._skipped(step, str(error))
        except TrippedError as error:
            self._unpowered = f"switched off: {error}"
            return [actions.tripped(step, error, self._bench.power.outputs[error.rail].feed.current)]

    def _dispatch(self, step: PlannedStep) -> list[Reading]:
        bench, job = self._bench, step.job
        match job:
            case OhmsJob():
                return actions.ohms(bench, step, job)
            case PolarityJob():
                return actions.polarity(bench, step, job)
            case PowerJob():
                return self._power(step, job)
            case CurrentJob():
                return actions.current(bench, step, job)
            case RailJob():
                return actions.rail(bench, step, job)
            case DropJob():
                return actions.drop(bench, step, job)
            case WaitJob():
                bench.power.wait(job.seconds)
                return []
            case AskJob():
                return self._asked(step, job)
            case _:
                return self._looked(step, job)

    def _looked(self, step: PlannedStep, job: ScopeJob) -> list[Reading]:
        """A step that looks with the scope."""
        captures = self._bench.captures
        if captures is None:
            return self._skipped(step, "this bench has no scope")
        match job:
            case RippleJob():
                return scope_actions.ripple(captures, step, job, self._bench.line_hertz)
            case ClockJob():
                return scope_actions.clock(captures, step, job)
            case ResetJob():
                return scope_actions.reset(captures, step, job)
            case SyncJob():
                return scope_actions.sync(captures, step, job)
            case PictureJob():
                return scope_actions.picture(captures, step, job)
            case LineJob():
                return line_actions.line(captures, step, job)
            case RatioJob():
                return line_actions.ratio(captures, step, job)

    def _power(self, step: PlannedStep, job: PowerJob) -> list[Reading]:
        readings = actions.power(self._bench, step, job)
        if readings:
            self._unpowered = f"switched off: {readings[-1].reason}"
        return readings

    def _asked(self, step: PlannedStep, job: AskJob) -> list[Reading]:
        if self._ask is None:
            return self._skipped(step, "nobody to ask: this run is unattended")
        if self._ask(job.words):
            return []
        return [unread(step, None, None, "answer", "", NO_LIMITS, void("the person at the bench answered no"))]

    def _skipped(self, step: PlannedStep, why: str) -> list[Reading]:
        """One skipped reading for a step that would have given readings; nothing for switching off."""
        job = step.job
        if isinstance(job, PowerJob) and not job.on:
            self._bench.power.make_off()
            return []
        named = (getattr(job, name, None) for name in ("limits", "frequency", "rate", "sync_amplitude", "line_rate"))
        limits = next((found for found in named if isinstance(found, Limits)), NO_LIMITS)
        net, point = net_and_point(step)
        quantity, unit = quantity_of(step)
        return [unread(step, net, point, quantity, unit, limits, Judgement(Verdict.SKIPPED, None, why))]


def needs_power(step: PlannedStep) -> bool:
    """Whether a step makes sense only on a powered board."""
    match step.job:
        case PowerJob():
            return step.job.on
        case OhmsJob() | AskJob() | WaitJob():
            return False
        case _:
            return True


# What a step would have measured, and in which unit; for readings that were not taken.
QUANTITIES: dict[type[Job], tuple[str, str]] = {
    OhmsJob: ("resistance", "ohm"),
    CurrentJob: ("current", "A"),
    PowerJob: ("current", "A"),
    RippleJob: ("ripple", "V"),
    ClockJob: ("frequency", "Hz"),
    ResetJob: ("reset width", "s"),
    SyncJob: ("line rate", "Hz"),
    PictureJob: ("sync amplitude", "V"),
    LineJob: ("rate", "Hz"),
    RatioJob: ("ratio", ""),
    AskJob: ("answer", ""),
}


def quantity_of(step: PlannedStep) -> tuple[str, str]:
    """What a step would have measured, and in which unit."""
    return QUANTITIES.get(type(step.job), ("voltage", "V"))


def net_and_point(step: PlannedStep) -> tuple[str | None, str | None]:
    """Where a step would have measured."""
    job = step.job
    net = next((getattr(job, name) for name in ("rail", "clock", "line", "net", "of") if hasattr(job, name)), None)
    target = getattr(job, "target", None)
    return net, target.point if target is not None else getattr(job, "point", None)
