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
from autobench.judgement.verdict import BoardJudgement, BoardVerdict, Judgement, Verdict, board_verdict, void
from autobench.plan.limits import Limits
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
    WaitJob,
)
from autobench.quantity import Span
from autobench.run import actions
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
                self._bench.power.make_off()
                for step in self._plan.steps:
                    self._check()
                    self._take(step)
                self._check()
            finally:
                self._bench.power.make_off()
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
        limits = getattr(job, "limits", NO_LIMITS)
        rail = getattr(job, "rail", None)
        target = getattr(job, "target", None)
        point = target.point if target is not None else getattr(job, "point", None)
        quantity, unit = quantity_of(step)
        return [unread(step, rail, point, quantity, unit, limits, Judgement(Verdict.SKIPPED, None, why))]


def needs_power(step: PlannedStep) -> bool:
    """Whether a step makes sense only on a powered board."""
    match step.job:
        case PowerJob():
            return step.job.on
        case CurrentJob() | RailJob() | DropJob() | PolarityJob():
            return True
        case _:
            return False


def quantity_of(step: PlannedStep) -> tuple[str, str]:
    """What a step would have measured, and in which unit."""
    match step.job:
        case OhmsJob():
            return "resistance", "ohm"
        case CurrentJob() | PowerJob():
            return "current", "A"
        case AskJob() | WaitJob():
            return "answer", ""
        case _:
            return "voltage", "V"


def verdict_of_alarm(error: OutputNotOffError) -> BoardJudgement:
    """The verdict of a run that ended with an output not proved off."""
    return BoardJudgement(BoardVerdict.STOPPED, str(error))
