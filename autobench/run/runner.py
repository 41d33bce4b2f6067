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
from autobench.judgement.verdict import BoardJudgement, BoardVerdict, Judgement, Verdict, board_verdict, void
from autobench.plan.overlap import sights_ahead
from autobench.plan.scope_steps import ClockJob, ScopeJob
from autobench.plan.steps import (
    AskJob,
    CurrentJob,
    DropJob,
    InjectionJob,
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
from autobench.run import actions, counter_actions, injection, looks, plug_actions
from autobench.run.conditions import convicted, failed_gate, once_more, unmet
from autobench.run.contact import NoContactError
from autobench.run.errands import COUNTER, DESK, METER, RELAYS, SCOPE
from autobench.run.foresight import (
    NO_LIMITS,
    expected_of,
    limits_of,
    needs_hand,
    needs_power,
    net_and_point,
    quantity_of,
    without_ends,
)
from autobench.run.person import BackAskedError, SkipAskedError
from autobench.run.readings import accuses, unread

SWITCHED_OFF = "the power is switched off"  # on purpose, so that it may come back
RESERVE = 8 * 1024 * 1024  # bytes, given up when there is no memory left


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
        self._beyond = False  # the round is over, and what is asked for now is wanted because of what it found
        self._by_hand: list[int] = []  # steps that a person was asked in, since the power last changed
        self._reserve: bytes | bytearray = bytearray(RESERVE)
        self.readings: list[Reading] = []

    def run(self, further: Callable[[], None] | None = None) -> BoardJudgement:
        """Take every step; returns the board's verdict.

        `further` is called once all steps were taken but those that only switch off, with the power as they left it.
        Whatever happens, every output is off and proved off before this returns or raises. Raises
        `OutputNotOffError` if that could not be proved; every other named error becomes the verdict `stopped`.
        """
        stopped: str | None = None
        try:
            try:
                self._prepare()
                if not self._plan.alone:
                    self._bench.power.make_off()
                self._take_all(self._plan.steps if further is None else without_ends(self._plan.steps))
                if further is not None:
                    self._beyond = True
                    further()
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
        other = self._of_another() if stopped is None else None
        if other is not None:
            return BoardJudgement(BoardVerdict.UNDECIDED, other)
        return board_verdict(self.readings, stopped=stopped)

    def _prepare(self) -> None:
        """Relays, meter, scope and counter in their known states, each by its own thread where there are threads."""
        bench = self._bench
        works = [] if bench.route is None else [(RELAYS, bench.route.prepare)]
        works.append((METER, bench.touch.prepare))
        works += [] if bench.captures is None else [(SCOPE, bench.captures.prepare)]
        works += [] if bench.counting is None else [(COUNTER, bench.counting.prepare)]
        for errand in [bench.errands.give(owner, work) for owner, work in works]:
            bench.errands.outcome(errand)

    def _of_another(self) -> str | None:
        """Where the rates are those of another board, what was held against this one is void; returns why, or None."""
        why = self._bench.fits_other(self.readings) if any(map(accuses, self.readings)) else None
        if why is None:
            return None
        steps = dict.fromkeys(reading.step for reading in self.readings if accuses(reading))
        self.readings = [one.with_verdict(Verdict.VOID, why) if accuses(one) else one for one in self.readings]
        for step in steps:
            self._emit(StepTakenAgain(self._bench.clock.now(), step, why))
            for reading in self.readings:
                if reading.step == step:
                    self._emit(ReadingTaken(self._bench.clock.now(), reading))
        return why

    def _take_all(self, steps: tuple[PlannedStep, ...]) -> None:
        """Every step in order; the person at the bench may go back to the last one that asked for a hand."""
        number = 0
        while number < len(steps):
            self._check()
            if self._bench.captures is not None and self._unpowered is None:
                self._bench.captures.ahead(sights_ahead(steps[number:]))
            step, person = steps[number], self._bench.person
            before = person.prompts if person is not None else 0
            try:
                self.take(step)
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
        self._anew()
        for step in self._plan.steps[first:number]:
            self._take_back(step, "the operator went back")
        return first

    def _take_back(self, step: PlannedStep, why: str) -> None:
        """What a step said no longer counts: it will be taken once more."""
        self.readings = [reading for reading in self.readings if reading.step != step.name]
        self._emit(StepTakenAgain(self._bench.clock.now(), step.name, why))

    def _anew(self) -> None:
        """What was captured before says nothing about now."""
        if self._bench.captures is not None:
            self._bench.captures.forget()

    @property
    def _gate(self) -> str | None:
        """The first stage that failed of those without which nothing later counts."""
        return failed_gate(self.readings)

    @property
    def unpowered(self) -> str | None:
        """Why the board may not be powered any more in this run, or None."""
        return self._unpowered

    def take(self, step: PlannedStep, after: str | None = None) -> list[Reading]:
        """One step: its readings, judged, kept and told of. Those taken `after` something was done to the board speak
        of another board: they are kept as conditional, with that said."""
        self._emit(StepStarted(self._bench.clock.now(), step.name, step.stage, step.words))
        if self._bench.person is not None:
            self._bench.person.step = step.name
        if self._bench.hand is not None:
            self._bench.hand.expect(net_and_point(step)[0], expected_of(step))
        began, again = self._bench.clock.now(), step.again
        taken = self._told(step, self._readings_of(step), after)
        while again is not None and once_more(again, taken, self._bench.clock.now() - began):
            self._take_back(step, "not yet as wanted")
            taken = self._told(step, self._readings_of(step, again.every), after)
        return taken

    def _told(self, step: PlannedStep, readings: list[Reading], after: str | None) -> list[Reading]:
        """The readings of a step, judged, kept and told of."""
        if self._bench.power.tripped is not None:
            self._unpowered = self._unpowered or f"switched off: {self._bench.power.tripped}"
        taken = []
        for reading in readings:
            gate = self._gate
            judged = replace(reading, conditional=after is not None or (gate is not None and step.stage != gate))
            if after is not None:
                judged = judged.with_reason("; ".join(words for words in (judged.reason, after) if words))
            taken.append(judged)
            self.keep(judged)
        return taken

    def lost_power(self, error: TrippedError) -> None:
        """The watch switched off outside any step: nothing powers the board again in this run."""
        self._unpowered = f"switched off: {error}"
        self._emit(Notice(self._bench.clock.now(), self._unpowered, urgent=True))

    def keep(self, reading: Reading) -> None:
        """A reading as it is, however it came about."""
        self.readings.append(reading)
        self._emit(ReadingTaken(self._bench.clock.now(), reading))

    def _readings_of(self, step: PlannedStep, pause: float = 0.0) -> list[Reading]:
        """Readings of one step after a `pause` in s; one that cannot be taken gives a `skipped` or `void` reading."""
        why_not = unmet(step, self.readings)
        if why_not is not None:
            return [reading.optional() for reading in self._skipped(step, why_not)]
        if step.cannot is not None:
            return self._skipped(step, step.cannot)
        comes_back = self._unpowered == SWITCHED_OFF and isinstance(step.job, PolarityJob | PowerJob)
        if self._unpowered is not None and needs_power(step) and not comes_back:
            return self._skipped(step, self._unpowered)
        if needs_hand(step) and self._bench.hand is None:
            point = net_and_point(step)[1] or "it"
            return self._skipped(step, f"no relay leads to {point}, and nobody is there to hold a tip")
        gate = self._gate
        if gate is not None and step.stage != gate and needs_hand(step):
            return self._skipped(step, f"not asked for: the {gate} failed, and nothing later would count")
        wrong = None if self._beyond else convicted(step, self.readings)
        if wrong is not None and needs_hand(step):
            return self._skipped(step, f"not asked for: {wrong} is wrong already, and the next check is a better one")
        try:
            if pause:
                self._bench.power.wait(pause)
                self._anew()
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
                readings = actions.power(bench, step, job)
                self._switched(job.on)
                return readings
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
                self._anew()
                return []
            case AskJob():
                return self._asked(step, job)
            case _:
                return self._looked(step, job)

    def _looked(self, step: PlannedStep, job: ScopeJob | PlugRippleJob) -> list[Reading]:
        """A step that looks with the scope."""
        captures, counting = self._bench.captures, self._bench.counting
        if captures is None and counting is not None and isinstance(job, ClockJob) and job.counted is not None:
            at = job.counted
            return self._bench.errands.done_by(DESK, lambda: counter_actions.counted_alone(counting, step, job, at))
        if captures is None:
            return self._skipped(step, "this bench has no scope")
        # Arithmetic may take longer than a supply may go unwatched: where there are threads this one only watches.
        return self._bench.errands.done_by(DESK, lambda: looks.look(self._bench, captures, step, job))

    def _asked(self, step: PlannedStep, job: AskJob) -> list[Reading]:
        if self._bench.person is None:
            return self._skipped(step, "nobody to ask: this run is unattended")
        if job.hands:
            self._bench.power.make_off()
            self._switched(False)
            if self._bench.hand is not None:
                self._bench.hand.let_go()
        if self._bench.person.question(job.words):
            return []
        return [unread(step, None, None, "answer", "", NO_LIMITS, void("the person at the bench answered no"))]

    def _switched(self, on: bool) -> None:
        """Power came on or went off on purpose: what needs it is left out while it is off."""
        before = None if on and self._unpowered == SWITCHED_OFF else self._unpowered
        self._unpowered = before if on else before or SWITCHED_OFF

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
