"""A proof's own part of a session: which instruments take part, and who takes the steps. It measures nothing."""

from __future__ import annotations

from collections.abc import Callable

from autobench.clock import Clock
from autobench.commissioning.proof_plan import ProofPlan
from autobench.commissioning.prover import Prover, Proving
from autobench.documents.bench import Bench
from autobench.events import Event
from autobench.instruments.link import nothing
from autobench.instruments.opened import Opened
from autobench.run.actions import Bench as LiveBench
from autobench.run.captures import Captures
from autobench.run.hand import Hand
from autobench.run.held_probes import HeldProbes
from autobench.run.lifelines import broken
from autobench.run.person import Keys, Person
from autobench.run.power import Power
from autobench.run.route import Route
from autobench.run.stop import StopSignals
from autobench.run.touch import Touch


class NoTouch(Touch):
    """On a bench without a meter nothing is touched, and nothing is switched on."""

    def __init__(self) -> None:
        """There is nothing to keep."""

    def prepare(self) -> None:
        """Nothing."""

    def rest(self) -> None:
        """Nothing drives anything."""


def prover_of(
    plan: ProofPlan,
    bench: Bench,
    opened: Opened,
    keys: Keys | None,
    clock: Clock,
    emit: Callable[[Event], None],
    stop: StopSignals,
) -> Prover:
    """The prover with everything it works with; what a bench does not have is left out."""
    meter = next(iter(opened.meters.values()), None)
    person = Person(keys, clock, emit, stop.check) if keys is not None else None
    hand = Hand(person, plan.plan.spots, meter, plan.plan.steady) if person is not None and plan.plan.steady else None
    rest = meter.rest if meter is not None else nothing
    route = next((Route(relays, plan.plan.paths, rest=rest) for relays in opened.relays.values()), None)
    touch = Touch(meter, route, hand) if meter is not None else NoTouch()
    power = Power(
        plan.plan.feeds,
        opened.supplies,
        touch,
        clock,
        emit,
        stop,
        stop.guard,
        lost=lambda: broken((name, dialect.link.descriptor) for name, dialect in opened.dialects.items()),
    )
    if route is not None:
        route.live = power.may_be_live
    if person is not None:
        person.tick = power.tick
    scope = next(iter(opened.scopes.values()), None)
    captures = None
    if scope is not None:
        probes = HeldProbes(hand, scope, power.wait) if hand is not None else None
        captures = Captures(scope, route, power.wait, touch=touch if meter is not None else None, probes=probes)
    live = LiveBench(
        power=power,
        route=route,
        touch=touch,
        clock=clock,
        fits=no_options,
        line_hertz=plan.plan.line_frequency,
        captures=captures,
        person=person,
        hand=hand,
    )
    return Prover(plan, Proving(bench, opened, live, meter), emit, stop.check)


def no_options(rail: str, amps: float) -> list[str]:  # noqa: ARG001 (of the port)
    """A bench has no options that another current would fit."""
    return []
