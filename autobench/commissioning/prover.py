"""The prover: takes a bench through its proof, in order, and ends with everything off. It decides; others measure.

Blocking, one thread, every event through `emit`, as the runner of a round. A reading that is outside says that the
bench is not what its file says; it never says anything about a board.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial

from autobench.commissioning import level_proof, limit_proof, relay_proof, scope_proof
from autobench.commissioning.dialect_proof import speaks
from autobench.commissioning.proof_plan import ProofPlan
from autobench.documents.bench import Bench
from autobench.errors import (
    AutobenchError,
    BenchError,
    InterlockRefusedError,
    LayerError,
    OutputNotOffError,
    TrippedError,
)
from autobench.events import Event, Notice, ReadingTaken, StepStarted
from autobench.instruments.dialect import Dialect
from autobench.instruments.meter import Meter, MeterReading
from autobench.instruments.opened import Opened
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import BoardJudgement, BoardVerdict, Judgement, Verdict, board_verdict, skipped, told
from autobench.plan.limits import Limits
from autobench.plan.steps import Feed, PlannedStep
from autobench.quantity import Span
from autobench.run import actions
from autobench.run.contact import NoContactError
from autobench.run.person import SkipAskedError
from autobench.run.readings import unread

NO_LIMITS = Limits(Span(None, None, ""), "none")


@dataclass(frozen=True)
class Proving:
    """What a proof works with: the bench file, the opened instruments, and what every round works with too.

    Where there is no `meter`, `live` must be of a plan without feeds, since nothing could be proved off.
    """

    bench: Bench
    opened: Opened
    live: actions.Bench
    meter: Meter | None


class Prover:
    """One proof of one bench."""

    def __init__(
        self, plan: ProofPlan, proving: Proving, emit: Callable[[Event], None], check: Callable[[], None]
    ) -> None:
        self._plan = plan
        self._proving = proving
        self._live = proving.live
        self._emit = emit
        self._check = check
        self._steps = {step.name: step for step in plan.plan.steps}
        self._unpowered: str | None = None
        self._level: MeterReading | None = None
        self.readings: list[Reading] = []

    def watch(self) -> None:
        """A look at the live outputs, if one is due; to be called before every exchange."""
        self._live.power.tick()

    def run(self) -> BoardJudgement:
        """Take every step; returns what the proof comes to. Every output is off and proved off before this returns.

        `good`: proved; `undecided`: something could not be measured; `stopped`: the bench is not what its file says, or
        the proof was ended. Raises `OutputNotOffError` where an output could not be proved off.
        """
        stopped: str | None = None
        try:
            try:
                self._prove()
                self._check()
            finally:
                self._live.power.make_off()
        except OutputNotOffError:
            raise
        except AutobenchError as error:
            stopped = str(error)
            self._emit(Notice(self._live.clock.now(), stopped, urgent=True))
        for words in self._plan.unsaid:
            self._emit(Notice(self._live.clock.now(), f"not proved – {words}"))
        return verdict(self.readings, stopped)

    def _prove(self) -> None:
        """Every step in order; the first that must be right before the next ends it where it is not."""
        for name, dialect in self._proving.opened.dialects.items():
            identity = self._proving.opened.identities[name]
            self._take(f"{name} speaks its dialect", partial(spoken, dialect, identity))
        if any(reading.verdict is Verdict.OUTSIDE for reading in self.readings):
            return  # no number of an instrument that is another one is worth anything
        self._prepare()
        self._live.power.make_off()
        self._take("relays", self._relays)
        for feed in self._plan.plan.feeds:
            self._take(f"plug of {feed.rail}", partial(self._plug, feed))
        for feed in self._plan.plan.feeds:
            self._take(f"polarity of {feed.rail}", partial(self._polarity, feed))
        self._power()
        for feed in self._plan.plan.feeds:
            self._take(f"level of {feed.rail}", partial(self._level_of, feed))
            self._take(f"leads of {feed.rail}", partial(self._leads, feed))
            self._take(f"limit of {feed.rail}", partial(self._limit, feed))
        self._take("scope", self._scope)
        self._live.power.make_off()
        for feed in self._plan.plan.feeds:
            self._take(f"off of {feed.rail}", partial(self._off, feed))

    def _prepare(self) -> None:
        """Relays open, meter and scope in their known state."""
        if self._live.route is not None:
            self._live.route.prepare()
        if self._proving.meter is not None:
            self._live.touch.prepare()
        if self._live.captures is not None:
            self._live.captures.prepare()

    def _take(self, name: str, measure: Callable[[PlannedStep], Iterator[Reading]]) -> None:
        """One step, where the plan has it; whatever the bench does wrong in it becomes a reading."""
        step = self._steps.get(name)
        if step is None:
            return
        self._check()
        self._emit(StepStarted(self._live.clock.now(), step.name, step.stage, step.words))
        if self._live.person is not None:
            self._live.person.step = step.name
        try:
            for reading in measure(step):
                self._keep(reading)
        except OutputNotOffError:
            raise
        except SkipAskedError as error:
            self._keep(plain(step, skipped(f"left out by the operator: {error}")))
        except InterlockRefusedError as error:
            self._unpowered = self._unpowered or str(error)
            self._keep(plain(step, skipped(str(error))))
        except (LayerError, NoContactError, BenchError, TrippedError) as error:
            self._keep(plain(step, Judgement(Verdict.OUTSIDE, None, str(error))))

    def _keep(self, reading: Reading) -> None:
        self.readings.append(reading)
        self._emit(ReadingTaken(self._live.clock.now(), reading))

    def _relays(self, step: PlannedStep) -> Iterator[Reading]:
        route, meter, routes = self._live.route, self._proving.meter, self._proving.bench.routes
        if route is None or meter is None or routes is None or not self._plan.paths:
            yield plain(step, skipped("the meter is not behind these relays, or no position of a plate is known"))
            return
        for path in self._plan.paths:
            yield relay_proof.closed(step, route, meter, path, routes.path.value)
        yield from relay_proof.opened(step, route, meter, self._plan.paths)
        route.exactly(())

    def _plug(self, feed: Feed, step: PlannedStep) -> Iterator[Reading]:
        routes = self._proving.bench.routes
        path = routes.path.value if routes is not None else 0.0
        reading = level_proof.plug(self._live, step, self._plan, feed, path)
        if reading.verdict not in (Verdict.WITHIN, Verdict.SKIPPED):
            self._unpowered = self._unpowered or f"nothing was switched on: {told(reading)}"
        yield reading

    def _polarity(self, feed: Feed, step: PlannedStep) -> Iterator[Reading]:
        if self._unpowered is not None:
            yield plain(step, skipped(self._unpowered))
            return
        reading = level_proof.polarity(self._live, step, feed, self._proving.opened.supplies[feed.supply])
        if reading.verdict is not Verdict.WITHIN:
            self._unpowered = f"no level was switched on: {told(reading)}"
        yield reading

    def _power(self) -> None:
        """Every feed at its safe level, unless something before says that it must not be."""
        if self._unpowered is not None or not self._plan.plan.feeds:
            return
        try:
            if self._live.person is not None:
                actions.somebody_there(self._live)
            self._live.power.power_up()
        except TrippedError as error:
            self._unpowered = str(error)
            step = self._steps[f"level of {error.rail}"]
            why = f"{error.text}; does the meter read what it should, and is its range free?"
            self._keep(plain(step, Judgement(Verdict.OUTSIDE, None, why)))
        except InterlockRefusedError as error:
            self._unpowered = str(error)

    def _level_of(self, feed: Feed, step: PlannedStep) -> Iterator[Reading]:
        if self._unpowered is not None:
            yield plain(step, skipped(self._unpowered))
        else:
            yield level_proof.level(self._live, step, feed)

    def _leads(self, feed: Feed, step: PlannedStep) -> Iterator[Reading]:
        if self._unpowered is not None:
            yield plain(step, skipped(self._unpowered))
        else:
            yield level_proof.leads(self._live, step, feed, self._proving.opened.supplies[feed.supply])

    def _limit(self, feed: Feed, step: PlannedStep) -> Iterator[Reading]:
        if self._unpowered is not None:
            yield plain(step, skipped(self._unpowered))
            return
        plugged = [each.value for each in self.readings if each.step == f"plug of {feed.rail}" and each.value]
        load = self._plan.plugged(feed.rail).load
        ohms = plugged[-1] if plugged else load.value if load is not None else None
        yield limit_proof.limit(self._live, step, feed, self._proving.opened.supplies[feed.supply], ohms)

    def _scope(self, step: PlannedStep) -> Iterator[Reading]:
        captures, feed = self._live.captures, self._plan.reference
        if captures is None:
            return
        if self._unpowered is not None:
            yield plain(step, skipped(self._unpowered))
            return
        if feed is None or feed.inlet is None or not self._plan.scope_ways:
            yield plain(step, skipped("no channel of the scope gets to a level that the meter sees"))
            return
        for way in self._plan.scope_ways:
            if way.scope != captures.scope.name:
                continue
            named = replace(step, name=f"{way.scope} {way.channel}")
            if way.relay == 0 and self._live.hand is None:
                yield plain(named, skipped("a hand holds its probe, and nobody is there"))
                continue
            seen = self._live.touch.volts(feed.inlet, feed.nominal)
            yield from scope_proof.channel(named, captures, way, feed.inlet, seen)

    def _off(self, feed: Feed, step: PlannedStep) -> Iterator[Reading]:
        if self._unpowered is not None:
            yield plain(step, skipped(self._unpowered))
        else:
            yield level_proof.off(self._live, step, feed, self._proving.opened.supplies[feed.supply])


def spoken(dialect: Dialect, identity: str, step: PlannedStep) -> Iterator[Reading]:
    """The reading of an instrument that is what its file says; raises `LayerError` where it is not."""
    said = speaks(dialect, identity)
    found = plain(step, Judgement(Verdict.WITHIN, 1.0, None))
    yield replace(found, net=dialect.name, quantity="identity", state=said)


def plain(step: PlannedStep, judgement: Judgement) -> Reading:
    """A reading without a value."""
    return unread(step, None, None, "proof", "", NO_LIMITS, judgement)


def verdict(readings: list[Reading], stopped: str | None) -> BoardJudgement:
    """What a proof comes to: a bench that is not what its file says is `stopped`, never `faulty`."""
    wrong = [reading for reading in readings if reading.verdict is Verdict.OUTSIDE]
    if wrong:
        more = f", and {len(wrong) - 1} more" if len(wrong) > 1 else ""
        return BoardJudgement(BoardVerdict.STOPPED, f"not proved: {told(wrong[0])}{more}")
    return board_verdict(readings, stopped=stopped)
