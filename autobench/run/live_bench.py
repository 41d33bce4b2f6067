"""The opened instruments of a bench joined for a round: each with the others, with the watch and with the person there.

It joins only: it opens, switches and measures nothing, and it knows no step.
"""

from __future__ import annotations

from collections.abc import Callable

from autobench.documents.board import Board
from autobench.documents.gathered import other_boards
from autobench.errors import UsageError
from autobench.instruments.opened import Opened
from autobench.plan.other_boards import fits_other
from autobench.plan.steps import Plan
from autobench.run.actions import Bench
from autobench.run.captures import Captures, OnTrace
from autobench.run.counter_actions import live_counter
from autobench.run.errands import Errands
from autobench.run.hand import Hand
from autobench.run.held_probes import HeldProbes
from autobench.run.lifelines import broken
from autobench.run.person import Keys, Person
from autobench.run.power import Power
from autobench.run.route import Route
from autobench.run.stop import StopSignals
from autobench.run.supply_by_hand import SupplyByHand
from autobench.run.touch import Touch


def live_bench(
    plan: Plan,
    board: Board,
    opened: Opened,
    keys: Keys | None,
    stop: StopSignals,
    errands: Errands,
    on_trace: OnTrace,
) -> Bench:
    """Everything that the steps work with; raises `UsageError` for a bench that cannot do a round."""
    meter = next(iter(opened.meters.values()), None)
    if meter is None:
        raise UsageError("this bench has no meter: without one nothing can be proved off, and nothing is switched on")
    person = Person(keys, errands.clock, errands.emit, stop.check) if keys is not None else None
    hand = Hand(person, plan.spots, meter, plan.steady) if person is not None and plan.steady else None
    route = route_of(opened, plan, meter.rest, errands)
    touch = Touch(meter, route, hand)
    power = power_of(plan, opened, touch, hand, stop, errands)
    if route is not None:
        route.live = power.may_be_live
    if person is not None:
        person.tick = power.tick
    return Bench(
        power=power,
        route=route,
        touch=touch,
        clock=errands.clock,
        fits=lambda rail, amps: board.other_fits(rail, plan.options, amps),
        line_hertz=plan.line_frequency,
        fits_other=lambda readings: fits_other(board, other_boards(plan.board), readings),
        captures=captures_of(opened, touch, hand, power, errands, on_trace),
        counting=live_counter(opened.counters, route, errands),
        person=person,
        hand=hand,
        errands=errands,
    )


def route_of(opened: Opened, plan: Plan, rest: Callable[[], None], errands: Errands) -> Route | None:
    """The relays of the bench with what is on them, where there are any."""
    relays = next(iter(opened.relays.values()), None)
    if relays is None:
        return None
    route = Route(relays, plan.paths, rest=rest)
    route.attend = errands.attend
    return route


def power_of(plan: Plan, opened: Opened, touch: Touch, hand: Hand | None, stop: StopSignals, errands: Errands) -> Power:
    """All outputs of the bench, those that a person works included."""
    worked = {feed.rail: SupplyByHand(feed, hand) for feed in plan.feeds if feed.by_hand and hand is not None}
    return Power(
        plan.feeds,
        opened.supplies,
        touch,
        errands.clock,
        errands.emit,
        stop,
        stop.guard,
        by_hand=worked,
        alone=plan.alone,
        lost=lambda: errands.lost() or broken((name, each.link.descriptor) for name, each in opened.dialects.items()),
        quiet=errands.quiet,
    )


def captures_of(
    opened: Opened, touch: Touch, hand: Hand | None, power: Power, errands: Errands, on_trace: OnTrace
) -> Captures | None:
    """The scope of the bench, where there is one."""
    scope = next(iter(opened.scopes.values()), None)
    if scope is None:
        return None
    probes = HeldProbes(hand, scope, power.wait) if hand is not None else None
    wait = errands.pausing(power.wait)
    return Captures(scope, touch.route, wait, on_trace, touch=touch, probes=probes, errands=errands)
