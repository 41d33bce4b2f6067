"""The runner: takes a plan through its steps, in order, and ends with everything off. It decides; others measure.

Blocking, one thread, every event through `emit`. The record's failure stops the run (made safe); what a view does with
an event is the caller's concern.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from autobench.errors import AutobenchError, InterlockRefusedError, OutputNotOffError, StoppedError, TrippedError
from autobench.events import Event, Notice, ReadingTaken, StepStarted, StepTakenAgain
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import BoardJudgement, Judgement, Verdict, board_verdict, void
from autobench.plan.limits import Limits
from autobench.plan.scope_steps import (
    ClockJob,
    DelayJob,
    DrivingJob,
    LikenessJob,
    LineJob,
    PictureJob,
    RatioJob,
    RefreshJob,
    ResetJob,
    RippleJob,
    ScopeJob,
    SyncJob,
)
from autobench.plan.steps import (
    AskJob,
    CurrentJob,
    DropJob,
    InjectionJob,
    Job,
    OhmsJob,
    Plan,
    PlannedStep,
    PlugJob,
    PlugRippleJob,
    PolarityJob,
    PowerJob,
    RailJob,
    WaitJob,
)
from autobench.quantity import Span, show
from autobench.run import actions, bus_actions, injection, line_actions, plug_actions, scope_actions
from autobench.run.contact import NoContactError
from autobench.run.person import BackAskedError, SkipAskedError
from autobench.run.readings import unread

# Stages whose failure makes every later stage's readings conditional: recorded, never used to accuse.
GATES = ("rails", "clocks", "reset")
RESERVE = 8 * 1024 * 1024  # bytes, given up when there is no memory left
# Some forty points held by hand one after another: not asked for once an earlier stage has shown what is wrong.
LONG_STAGES = ("bus", "memory")
NO_LIMITS = Limits(Span(None, None, ""), "none")


class Runner:
    """One run of one plan."""

    def __init__(
        self,
        plan: Plan,
        bench: actions.Bench,
        emit: Callable[[Event], None],
        check: Callable[[], None],
    ) -> None:
        self._plan = plan
        self._bench = bench
        self._emit = emit
        self._check = check
        self._unpowered: str | None = None
        self._by_hand: list[int] = []  # steps that a person was asked in, since the power last changed
        self._reserve: bytes | bytearray = bytearray(RESERVE)
        self.readings: list[Reading] = []

    def run(self) -> BoardJudgement:
        """Take every step; returns the board's verdict.

        Whatever happens, every output is off and proved off before this returns or raises. Raises
        `OutputNotOffError` if that could not be proved; every other named error becomes the verdict `stopped`.
        """
        stopped: str | None = None
        try:
            try:
                if self._bench.route is not None:
                    self._bench.route.prepare()
                self._bench.touch.prepare()
                if self._bench.captures is not None:
                    self._bench.captures.prepare()
                if not self._plan.alone:
                    self._bench.power.make_off()
                self._take_all()
                self._check()
            except MemoryError:
                self._reserve = b""  # what is left to do gets it: OFF, its proof, the last words in the record
                raise
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

    def _take_all(self) -> None:
        """Every step in order; the person at the bench may go back to the last one that asked for a hand."""
        number = 0
        while number < len(self._plan.steps):
            self._check()
            step, person = self._plan.steps[number], self._bench.person
            before = person.prompts if person is not None else 0
            try:
                self._take(step)
            except BackAskedError:
                number = self._back_from(number)
                continue
            if isinstance(step.job, PowerJob | PolarityJob):
                self._by_hand.clear()
            elif person is not None and person.prompts > before:
                self._by_hand.append(number)
            number += 1

    def _back_from(self, number: int) -> int:
        """The step to take once more; what it and the steps since said is withdrawn."""
        if self._bench.hand is not None:
            self._bench.hand.let_go()
        if not self._by_hand:
            self._emit(Notice(self._bench.clock.now(), "no further back: the power has changed since"))
            return number
        first = self._by_hand.pop()
        if self._bench.captures is not None:
            self._bench.captures.forget()
        for step in self._plan.steps[first:number]:
            self.readings = [reading for reading in self.readings if reading.step != step.name]
            self._emit(StepTakenAgain(self._bench.clock.now(), step.name, "the operator went back"))
        return first

    @property
    def _gate(self) -> str | None:
        """The first stage that failed of those without which nothing later counts."""
        failed = (
            reading.stage
            for reading in self.readings
            if reading.verdict is Verdict.OUTSIDE and reading.required and reading.stage in GATES
        )
        return next(failed, None)

    def _convicted(self, step: PlannedStep) -> str | None:
        """For a step of the long last stages, an earlier stage's step that has already shown the board faulty."""
        if step.stage not in LONG_STAGES:
            return None
        wrong = (
            reading.step
            for reading in self.readings
            if reading.verdict is Verdict.OUTSIDE and not reading.conditional and reading.stage != step.stage
        )
        return next(wrong, None)

    def _take(self, step: PlannedStep) -> None:
        self._emit(StepStarted(self._bench.clock.now(), step.name, step.stage, step.words))
        if self._bench.person is not None:
            self._bench.person.step = step.name
        if self._bench.hand is not None:
            self._bench.hand.expect(net_and_point(step)[0], expected_of(step))
        readings = self._readings_of(step)
        if self._bench.power.tripped is not None:
            self._unpowered = self._unpowered or f"switched off: {self._bench.power.tripped}"
        for reading in readings:
            gate = self._gate
            judged = replace(reading, conditional=gate is not None and step.stage != gate)
            self.readings.append(judged)
            self._emit(ReadingTaken(self._bench.clock.now(), judged))

    def _readings_of(self, step: PlannedStep) -> list[Reading]:
        """Readings of one step; a step that cannot be taken gives one `skipped` or `void` reading with the reason."""
        if step.cannot is not None:
            return self._skipped(step, step.cannot)
        if self._unpowered is not None and needs_power(step):
            return self._skipped(step, self._unpowered)
        gate = self._gate
        if gate is not None and step.stage != gate and needs_hand(step):
            return self._skipped(step, f"not asked for: the {gate} failed, and nothing later would count")
        convicted = self._convicted(step)
        if convicted is not None and needs_hand(step):
            return self._skipped(
                step, f"not asked for: {convicted} is wrong already, and the next check is a better one"
            )
        try:
            return self._dispatch(step)
        except NoContactError as error:
            return [self._not_taken(step, void(str(error)))]
        except SkipAskedError as error:
            return self._skipped(step, f"left out by the operator: {error}")
        except InterlockRefusedError as error:
            self._unpowered = self._unpowered or f"the board was not powered: {error}"
            return self._skipped(step, str(error))
        except TrippedError as error:
            return [actions.tripped(step, error, self._bench.power.outputs[error.rail].feed.current)]

    def _dispatch(self, step: PlannedStep) -> list[Reading]:
        bench, job = self._bench, step.job
        match job:
            case OhmsJob():
                return actions.ohms(bench, step, job)
            case PolarityJob():
                return actions.polarity(bench, step, job)
            case InjectionJob():
                return injection.injection(bench, step, job)
            case PowerJob():
                return actions.power(bench, step, job)
            case CurrentJob():
                return actions.current(bench, step, job)
            case RailJob():
                return actions.rail(bench, step, job)
            case DropJob():
                return actions.drop(bench, step, job)
            case PlugJob():
                return plug_actions.plug(bench, step, job)
            case WaitJob():
                bench.power.wait(job.seconds)
                return []
            case AskJob():
                return self._asked(step, job)
            case _:
                return self._looked(step, job)

    def _looked(self, step: PlannedStep, job: ScopeJob | PlugRippleJob) -> list[Reading]:
        """A step that looks with the scope."""
        captures = self._bench.captures
        if captures is None:
            return self._skipped(step, "this bench has no scope")
        match job:
            case PlugRippleJob():
                return plug_actions.plug_ripple(self._bench, captures, step, job)
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
            case _:
                return bus_actions.bus(captures, step, job)

    def _asked(self, step: PlannedStep, job: AskJob) -> list[Reading]:
        if self._bench.person is None:
            return self._skipped(step, "nobody to ask: this run is unattended")
        if self._bench.person.question(job.words):
            return []
        return [unread(step, None, None, "answer", "", NO_LIMITS, void("the person at the bench answered no"))]

    def _skipped(self, step: PlannedStep, why: str) -> list[Reading]:
        """One skipped reading for a step that would have given readings; nothing for switching off."""
        job = step.job
        if isinstance(job, PowerJob) and not job.on:
            self._bench.power.make_off()
            return []
        return [self._not_taken(step, Judgement(Verdict.SKIPPED, None, why))]

    def _not_taken(self, step: PlannedStep, judgement: Judgement) -> Reading:
        """The reading of a step that gave none."""
        net, point = net_and_point(step)
        quantity, unit = quantity_of(step)
        return unread(step, net, point, quantity, unit, limits_of(step), judgement)


def limits_of(step: PlannedStep) -> Limits:
    """What the first reading of a step is judged by."""
    named = (getattr(step.job, name, None) for name in ("limits", "frequency", "rate", "sync_amplitude", "line_rate"))
    return next((found for found in named if isinstance(found, Limits)), NO_LIMITS)


def expected_of(step: PlannedStep) -> str:
    """What should be seen in a step, in words: the state of a line, else the limits."""
    if isinstance(step.job, LineJob) and step.job.expected in ("high", "low"):
        return step.job.expected
    if isinstance(step.job, ClockJob):
        return show(step.job.nominal, "Hz", 6)
    span = limits_of(step).span
    return "" if span.low is None and span.high is None else str(span)


def needs_hand(step: PlannedStep) -> bool:
    """Whether a hand would have to hold a tip."""
    target, sight = getattr(step.job, "target", None), getattr(step.job, "sight", None)
    return bool((target is not None and target.by_hand) or (sight is not None and sight.by_hand))


def needs_power(step: PlannedStep) -> bool:
    """Whether a step makes sense only on a powered board."""
    match step.job:
        case PowerJob():
            return step.job.on
        case OhmsJob() | InjectionJob() | AskJob() | WaitJob():
            return False
        case _:
            return True


# What a step would have measured, and in which unit; for readings that were not taken.
QUANTITIES: dict[type[Job], tuple[str, str]] = {
    OhmsJob: ("resistance", "ohm"),
    CurrentJob: ("current", "A"),
    PowerJob: ("current", "A"),
    RippleJob: ("ripple", "V"),
    PlugRippleJob: ("ripple", "V"),
    ClockJob: ("frequency", "Hz"),
    ResetJob: ("reset width", "s"),
    SyncJob: ("line rate", "Hz"),
    PictureJob: ("sync amplitude", "V"),
    LineJob: ("rate", "Hz"),
    RatioJob: ("ratio", ""),
    LikenessJob: ("likeness", ""),
    DrivingJob: ("driven", "%"),
    DelayJob: ("delay", "s"),
    RefreshJob: ("refresh", "Hz"),
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
