"""A supply's current limit on the reference plug: at half of what the resistor draws it must limit there, and say so.

A limit in other steps than the driver file says is ten times what was asked for, and a flag read the wrong way round
calls every board shorted: neither shows while nothing limits.
"""

from __future__ import annotations

from autobench.instruments.supply import Supply
from autobench.judgement.reading import Reading
from autobench.judgement.uncertainty import Component
from autobench.judgement.verdict import Judgement, Verdict, skipped
from autobench.plan.limits import Limits
from autobench.plan.steps import Feed, PlannedStep
from autobench.quantity import Span, show
from autobench.run import actions
from autobench.run.readings import judged, unread
from autobench.run.tried_limit import tried_limit

PART = 0.5  # of what the load draws
KEPT = 0.2  # share by which a limit may be off (common practice: a few per cent, and small limits are worse)
LEAST_AMPS = 0.01  # A; below that it is not tried


def limit(bench: actions.Bench, step: PlannedStep, feed: Feed, supply: Supply, ohms: float | None) -> Reading:
    """Amps through the load of `ohms` while the limit is set to half of what it draws, against what was set."""
    inlet = feed.inlet
    none = Limits(Span(None, None, "A"), "none")
    if inlet is None or ohms is None:
        why = "no resistor is on this rail" if inlet is not None else "the meter does not get there"
        return unread(step, feed.rail, None, "current limit", "A", none, skipped(why)).optional()
    asked = supply.sent("set amps", feed.output, PART * abs(feed.volts) / ohms)
    if asked < LEAST_AMPS:
        why = f"{show(asked, 'A')} is too small a limit to be tried"
        return unread(step, feed.rail, inlet.point, "current limit", "A", none, skipped(why)).optional()
    slack = KEPT * asked + 3.0 * supply.amps(feed.output).uncertainty
    limits = Limits(Span(asked - slack, asked + slack, "A"), "as set")
    said_before = supply.can("limiting?") and supply.limiting(feed.output)
    with tried_limit(bench.power, feed.rail, asked):
        seen = bench.touch.volts(inlet, feed.nominal)
        says = not supply.can("limiting?") or supply.limiting(feed.output)
    if seen.estimate is None:
        judgement = Judgement(Verdict.OUTSIDE, None, f"the meter shows overload while it should limit: {seen.reason}")
        return unread(step, feed.rail, inlet.point, "current limit", "A", limits, judgement)
    amps = abs(seen.estimate.value) / ohms
    parts = (Component("meter's volts", seen.estimate.uncertainty, "normal", sensitivity=1.0 / ohms),)
    reading = judged(step, feed.rail, inlet.point, "current limit", amps, "A", parts, limits)
    if reading.verdict is Verdict.OUTSIDE:
        why = f"set to {show(asked, 'A')} it lets {show(amps, 'A')} through: are the steps of 'set amps' right?"
        return reading.with_reason(why)
    if said_before or not says:
        told = "says that it limits when it does not" if said_before else "does not say that it limits when it does"
        return reading.with_verdict(Verdict.OUTSIDE, f"it {told}: is the bit of 'limiting?' right?")
    return reading
