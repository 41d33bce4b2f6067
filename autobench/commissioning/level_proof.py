"""A supply at a safe level on the reference plug: what arrives, which way round, through which leads, and OFF is off.

Everything is switched by `Power`, under the interlock; the steps of ohms and polarity are those of every round.
"""

from __future__ import annotations

from autobench.commissioning.proof_plan import ProofPlan
from autobench.errors import BenchError
from autobench.instruments.supply import Supply
from autobench.judgement.reading import Reading
from autobench.judgement.uncertainty import Component
from autobench.judgement.verdict import Judgement, Verdict, skipped
from autobench.plan.limits import Limits
from autobench.plan.steps import Feed, OhmsJob, PlannedStep, PolarityJob
from autobench.quantity import Span, show
from autobench.run import actions
from autobench.run.contact import OHMS_BELOW
from autobench.run.readings import judged, judged_estimate, unread

LOAD = 0.2  # share by which the plug's resistor, its contacts included, may be off
CONTACTS = 1.0  # ohm
UNLOADED = 100e3  # ohm; a plug without a resistor has at least that
SET = 0.01  # share by which a supply's level may be off
OFF_VOLTS = 0.05  # V left after OFF, well below the level of any proof
LEADS = 2.0  # times what the bench file says
FROM = "bench file"


def plug(bench: actions.Bench, step: PlannedStep, plan: ProofPlan, feed: Feed, path: float) -> Reading:
    """Ohms of the reference plug, which show that it is in, and that no board is; opens the interlock's gate."""
    load = plan.plugged(feed.rail).load
    if load is None:
        span = Span(UNLOADED, None, "ohm")
    else:
        span = Span((1.0 - LOAD) * load.value, (1.0 + LOAD) * load.value + CONTACTS, "ohm")
    limits = Limits(span, FROM)
    if feed.inlet is None:
        why = f"the meter does not get to the reference plug's {plan.plugged(feed.rail).point}"
        return unread(step, feed.rail, None, "resistance", "ohm", limits, skipped(why))
    if not feed.isolated_when_off:
        asked_for(bench, feed)
        why = "the supply's output stays across it when off, so ohms say nothing; a person looked instead"
        return unread(step, feed.rail, feed.inlet.point, "resistance", "ohm", limits, skipped(why)).optional()
    job = OhmsJob(feed.rail, feed.inlet, limits, 2.0 * path if feed.inlet.channels else 0.0)
    reading = actions.ohms(bench, step, job)[0]
    if reading.verdict is Verdict.VOID and not feed.inlet.by_hand:
        left = bench.touch.glance(feed.inlet)
        if left is not None and abs(left) > OHMS_BELOW:
            why = f"{show(left, 'V')} are there with OFF: 'on' and 'off' of the driver may be the wrong way round"
            return reading.with_verdict(Verdict.OUTSIDE, why)
    if reading.verdict is Verdict.OUTSIDE:
        why = f"{reading.reason}: is the reference plug in, and no board, and the output off?"
        return reading.with_reason(why)
    return reading


def asked_for(bench: actions.Bench, feed: Feed) -> None:
    """Opens the gate by a person's word; raises `BenchError` where nobody is there or the answer is no."""
    words = f"Is the reference plug on the leads of {feed.rail}, and no board?"
    if bench.person is None or not bench.person.question(words):
        raise BenchError(f"{feed.rail}: nobody has seen that the reference plug is in and no board is")
    bench.power.ohms_judged(feed.rail, True)


def polarity(bench: actions.Bench, step: PlannedStep, feed: Feed, supply: Supply) -> Reading:
    """The low-voltage ON of every round; what would say nothing about a board says that this bench is wrong."""
    reading = actions.polarity(bench, step, PolarityJob(feed.rail))[0]
    if reading.verdict is not Verdict.VOID:
        return reading
    left = bench.touch.glance(feed.inlet) if feed.inlet is not None else None
    if left is not None and abs(left) > actions.POLARITY_SIGN:
        why = f"{show(left, 'V')} come with OFF and none with ON: 'on' and 'off' of the driver are the wrong way round"
        return reading.with_verdict(Verdict.OUTSIDE, why)
    if supply.can("on?") and supply.is_on(feed.output):
        return reading.with_verdict(Verdict.OUTSIDE, "it says that its output is on, and it was told OFF")
    return reading.with_verdict(Verdict.OUTSIDE, reading.reason)


def level(bench: actions.Bench, step: PlannedStep, feed: Feed) -> Reading:
    """Volts that arrive at the plug, against what the supply was set to and the leads may take."""
    sign = 1.0 if feed.nominal > 0 else -1.0
    volts, lost = abs(feed.volts), LEADS * feed.leads * (feed.current.span.high or 0.0)
    low, high = (1.0 - SET) * volts - lost, (1.0 + SET) * volts
    limits = Limits(Span(low, high, "V") if sign > 0 else Span(-high, -low, "V"), FROM)
    if feed.inlet is None:
        return unread(step, feed.rail, None, "voltage", "V", limits, skipped("the meter does not get there"))
    seen = bench.touch.volts(feed.inlet, feed.nominal)
    if seen.estimate is None:
        why = f"the meter shows overload on the range for {show(feed.nominal, 'V')}: {seen.reason}"
        judgement = Judgement(Verdict.OUTSIDE, None, f"{why}; is its range held by hand?")
        return unread(step, feed.rail, feed.inlet.point, "voltage", "V", limits, judgement)
    return judged_estimate(step, feed.rail, feed.inlet.point, "voltage", seen.estimate, seen.components, limits)


def leads(bench: actions.Bench, step: PlannedStep, feed: Feed, supply: Supply) -> Reading:
    """Ohms of both leads: what is lost between supply and plug, by the current that goes through them."""
    limits = Limits(Span(None, LEADS * feed.leads, "ohm"), FROM)
    taken = feed.current.span.high or 0.0
    if feed.inlet is None or taken <= 0.0:
        return unread(step, feed.rail, None, "resistance", "ohm", limits, skipped("nothing draws current")).optional()
    there = bench.touch.volts(feed.inlet, feed.nominal).estimate
    here, amps = supply.volts(feed.output), supply.amps(feed.output)
    if there is None or amps.value <= 3.0 * amps.uncertainty:
        return unread(step, feed.rail, None, "resistance", "ohm", limits, skipped("no current can be read")).optional()
    lost = abs(here.value) - abs(there.value)
    value = lost / amps.value
    parts = (
        Component("supply's volts", here.uncertainty, "normal", sensitivity=1.0 / amps.value),
        Component("meter's volts", there.uncertainty, "normal", sensitivity=1.0 / amps.value),
        Component("supply's amps", amps.uncertainty, "normal", sensitivity=abs(value) / amps.value),
    )
    reading = judged(step, feed.rail, feed.inlet.point, "resistance", value, "ohm", parts, limits)
    known = (reading.uncertainty or 0.0) <= feed.leads / 3.0
    return reading if known else reading.optional()


def off(bench: actions.Bench, step: PlannedStep, feed: Feed, supply: Supply) -> Reading:
    """Volts left at the plug after OFF, and what the supply says of it."""
    limits = Limits(Span(-OFF_VOLTS, OFF_VOLTS, "V"), "interlock")
    if feed.inlet is None:
        return unread(step, feed.rail, None, "voltage", "V", limits, skipped("the meter does not get there"))
    until = bench.clock.now() + supply.fall
    while (seen := bench.touch.volts(feed.inlet, feed.nominal)).estimate is not None:
        if abs(seen.estimate.value) < OFF_VOLTS / 2.0 or bench.clock.now() >= until:
            break
        bench.power.wait(0.1)
    if seen.estimate is None:
        judgement = Judgement(Verdict.OUTSIDE, None, "the meter shows overload after OFF")
        return unread(step, feed.rail, feed.inlet.point, "voltage", "V", limits, judgement)
    reading = judged_estimate(step, feed.rail, feed.inlet.point, "voltage", seen.estimate, seen.components, limits)
    if reading.verdict is Verdict.WITHIN and supply.can("on?") and supply.is_on(feed.output):
        return reading.with_verdict(Verdict.OUTSIDE, "nothing is left at the plug, but the supply says it is on")
    return reading
