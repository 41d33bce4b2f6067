"""What each kind of step does: measures through `Touch` and `Power`, judges, and returns readings.

One function a kind of job. No function here switches an output by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from autobench.clock import Clock
from autobench.errors import BenchError, InterlockRefusedError, TrippedError
from autobench.instruments.meter import MOST_REPEATS, MeterReading
from autobench.judgement.reading import Reading
from autobench.judgement.uncertainty import Budget, Component
from autobench.judgement.verdict import Judgement, Verdict, void
from autobench.plan.limits import Limits
from autobench.plan.steps import (
    CurrentJob,
    DropJob,
    OhmsJob,
    PlannedStep,
    PolarityJob,
    PowerJob,
    RailJob,
)
from autobench.quantity import Span, show
from autobench.run.captures import Captures
from autobench.run.contact import NOTHING, OHMS_BELOW
from autobench.run.counter_actions import LiveCounter
from autobench.run.errands import Errands
from autobench.run.hand import Hand
from autobench.run.output import Output
from autobench.run.person import Person
from autobench.run.power import Power
from autobench.run.readings import judged, judged_estimate, patiently, unread
from autobench.run.route import Route
from autobench.run.supply_by_hand import SupplyByHand
from autobench.run.touch import Touch

OHMS_PATIENCE = 10.0  # s a rail is given to discharge below that
DEAD_SHORT = 1.0  # ohm: no override
NEAR_SHORT = 5.0  # ohm: below it only an injection, see `injection`
BELOW_ZERO = 3.0  # standard uncertainties below zero at which a resistance is no resistance
READINGS = 3  # of a voltage, for a type A part
POLARITY_SIGN = 0.1  # V that the probe must show at the inlet to count as either sign


@dataclass
class Bench:
    """What actions work with: the opened instruments and what was measured so far."""

    power: Power
    route: Route | None
    touch: Touch
    clock: Clock
    fits: Callable[[str, float], list[str]]  # rail, amps -> options whose current band holds them
    line_hertz: float
    fits_other: Callable[[Sequence[Reading]], str | None] = lambda _: None  # in words, the other board the rates fit
    captures: Captures | None = None
    counting: LiveCounter | None = None
    person: Person | None = None
    hand: Hand | None = None
    errands: Errands = field(default_factory=Errands)  # where the scope's steps are worked out
    places: dict[tuple[str, str], MeterReading] = field(default_factory=dict)
    open_rails: dict[str, Reading] = field(default_factory=dict)


def ohms(bench: Bench, step: PlannedStep, job: OhmsJob) -> list[Reading]:
    """Ohms of a rail to ground with the power off; opens or closes the interlock's gate.

    An output that stays across the rail when it is off would be read as well: a person takes its leads off meanwhile.
    """
    if bench.power.outputs[job.rail].feed.isolated_when_off:
        return ohms_of_board(bench, step, job)
    if bench.person is None:
        why = "the supply stays across the rail when it is off, and nobody is there to take its leads off the board"
        return [unread(step, job.rail, job.target.point, "resistance", "ohm", job.limits, void(why))]
    bench.person.done(
        "plug", f"Take the leads of {job.rail} off the board, for its ohms alone.", rail=job.rail, on=False
    )
    readings = ohms_of_board(bench, step, job)
    bench.person.done("plug", f"Put the leads of {job.rail} back on the board.", rail=job.rail, on=True)
    return readings


def ohms_of_board(bench: Bench, step: PlannedStep, job: OhmsJob) -> list[Reading]:
    """The same, with nothing but the meter across the rail."""
    target = job.target
    stuck = bench.touch.stuck_relay(target)
    if stuck is not None:
        return [unread(step, job.rail, target.point, "resistance", "ohm", job.limits, void(stuck))]
    until = bench.clock.now() + OHMS_PATIENCE
    # A hand is asked for the point by the ohms reading itself, which looks for volts first.
    while not target.by_hand and (left := bench.touch.glance(target)) and abs(left) > OHMS_BELOW:
        if bench.clock.now() > until:
            why = f"{show(left, 'V')} is still on the rail: ohms count only below {show(OHMS_BELOW, 'V')}"
            return [unread(step, job.rail, target.point, "resistance", "ohm", job.limits, void(why))]
        bench.power.wait(0.2)
    expected = job.limits.span.high or 1e3
    touched = bench.touch.ohms(target, expected)
    if touched.estimate is None:
        reading = open_circuit(bench, step, job, touched)
    else:
        # The route's own ohms are in the reading; how well they are known is part of its uncertainty.
        path = Component("route", 0.3 * job.path, "rectangular")
        value = touched.estimate.value - job.path
        reading = judged(
            step, job.rail, target.point, "resistance", value, "ohm", (*touched.components, path), job.limits
        )
    if reading.value is not None and reading.value < -BELOW_ZERO * (reading.uncertainty or 0.0):
        why = f"{show(reading.value, 'ohm')} cannot be: hum or a voltage is in the reading"
        return [unread(step, job.rail, target.point, "resistance", "ohm", job.limits, void(why))]
    if reading.value is None:
        return [reading]  # nothing was learnt: the gate stays shut
    worst = reading.value
    passed = worst - 2 * (reading.uncertainty or 0.0) >= NEAR_SHORT
    # What may be under 1 ohm is taken for it: there is no override then.
    near = worst - 2 * (reading.uncertainty or 0.0) >= DEAD_SHORT
    bench.power.ohms_judged(job.rail, passed, near=near)
    if not passed:
        kind = "near-short" if near else "dead short"
        why = f"{kind}: {show(worst, 'ohm')} from {job.rail} to ground; the interlock refuses power"
        why += "; follow-a-short looks for it at 0.5 V" if near else ""
        reading = reading.with_verdict(Verdict.OUTSIDE, why)
    return [reading]


def open_circuit(bench: Bench, step: PlannedStep, job: OhmsJob, seen: MeterReading) -> Reading:
    """An over-range ohms reading: the rail is open, once it is shown that the meter touches it."""
    if seen.beyond is None:
        return unread(
            step, job.rail, job.target.point, "resistance", "ohm", job.limits, void(seen.reason or "overload")
        )
    why = f"over range: more than {show(seen.beyond, 'ohm')}; the rail looks open"
    high = job.limits.span.high
    verdict = Verdict.OUTSIDE if high is not None and seen.beyond >= high else Verdict.WITHIN
    blank = unread(step, job.rail, job.target.point, "resistance", "ohm", job.limits, Judgement(verdict, 0.0, why))
    reading = blank.with_value(seen.beyond, Budget(seen.components).standard)
    if verdict is Verdict.WITHIN:
        return reading
    # Without a contact it reads the same: only volts at the same point, in the polarity probe, tell the two apart.
    bench.open_rails[job.rail] = reading
    why = f"{why}, or the meter does not touch {job.target.point}: the polarity probe will tell"
    return reading.with_verdict(Verdict.VOID, why)


def polarity(bench: Bench, step: PlannedStep, job: PolarityJob) -> list[Reading]:
    """The low-voltage probe: which way round are the leads?"""
    feed = bench.power.outputs[job.rail].feed
    span = Span(POLARITY_SIGN, None, "V") if feed.nominal > 0 else Span(None, -POLARITY_SIGN, "V")
    limits = Limits(span, "interlock")
    point = feed.inlet.point if feed.inlet else None
    try:
        seen = bench.power.probe_polarity(job.rail)
    except BenchError as error:
        bench.power.make_off()
        return [unread(step, job.rail, point, "voltage", "V", limits, void(str(error)))]
    sign = 1.0 if feed.nominal > 0 else -1.0
    right = sign * seen.value > POLARITY_SIGN
    if not right and sign * seen.value > -POLARITY_SIGN:
        bench.power.make_off()
        why = (
            f"{show(seen.value, 'V')} at the inlet during the probe: too little to tell the polarity; "
            f"are the leads on, and is it the board that was named?"
        )
        if job.not_fed:
            why += f" It fits {' or '.join(job.not_fed)}, with which {job.rail} is not fed: check which options it has"
        return [unread(step, job.rail, point, "voltage", "V", limits, void(why))]
    bench.power.polarity_judged(job.rail, right)
    reading = judged_estimate(step, job.rail, point, "voltage", seen, (), limits)
    if right:
        was_open = bench.open_rails.pop(job.rail, None)
        # Volts at the point show that the meter touches it: the open circuit was the rail's.
        return [reading] if was_open is None else [reading, replace(was_open, step=step.name, stage=step.stage)]
    why = "the supply leads are the wrong way round at the board's inlet: turn them"
    return [reading.with_verdict(Verdict.VOID, why)]


def power(bench: Bench, step: PlannedStep, job: PowerJob) -> list[Reading]:
    """Rails on in order, the start captured from before; or off in reverse and proved."""
    if bench.captures is not None:
        bench.captures.forget()
    if not job.on:
        bench.power.make_off()
        return []
    captures, start = bench.captures, job.start
    try:
        if captures is None or start is None:
            somebody_there(bench)
            bench.power.power_up()
        else:
            for output in bench.power.outputs.values():
                output.interlock.require("set")  # no capture is armed for an ON that will be refused
            captures.arm_start(start, bench.power.inlet_channels())
            somebody_there(bench)
            bench.power.power_up(captures.collect_start)
    except TrippedError as error:
        return [tripped(step, error, bench.power.outputs[error.rail].feed.current)]
    return []


def somebody_there(bench: Bench) -> None:
    """Where a person holds the probes, power comes on only with a key; raises `InterlockRefusedError` without one."""
    if bench.person is None or any(output.feed.by_hand for output in bench.power.outputs.values()):
        return  # nobody there to touch the board, or somebody who works the supply's own switch
    rails = ", ".join(
        f"{output.feed.rail} {show(output.feed.volts, 'V')}, at most {show(output.feed.amps, 'A')}"
        for output in bench.power.outputs.values()
    )
    if not bench.person.power_key(f"POWER: {rails}. Hands off the board, then Enter."):
        raise InterlockRefusedError("nobody pressed the key for power in time")


def tripped(step: PlannedStep, error: TrippedError, limits: Limits) -> Reading:
    """A trip as a reading: where the board caused it, it counts against the board."""
    judgement = void(error.text) if error.bench else Judgement(Verdict.OUTSIDE, 0.0, error.text)
    blank = unread(step, error.rail, None, "current", "A", limits, judgement)
    return blank if error.amps is None else blank.with_value(error.amps, 0.0)


def current(bench: Bench, step: PlannedStep, job: CurrentJob) -> list[Reading]:
    """Current at the end of the settling time; one that fits another option is no evidence against the board."""
    output = bench.power.outputs[job.rail]
    bench.power.tick()
    drawn = amps_drawn(output)
    if drawn is None:
        why = "the supply is worked by hand, and nobody read its current"
        skipped = Judgement(Verdict.SKIPPED, None, why)
        return [unread(step, job.rail, job.point, "current", "A", job.limits, skipped)]
    mean, components = drawn
    reading = judged(step, job.rail, job.point, "current", mean, "A", components, job.limits)
    lost = lead_drop(bench, step, job.rail, mean)
    others = bench.fits(job.rail, mean) if reading.verdict is Verdict.OUTSIDE else []
    if not others:
        return [reading, *lost]
    why = f"fits {' or '.join(others)}, not what was declared: check which options this board has"
    return [reading.with_verdict(Verdict.VOID, why), *lost]


def lead_drop(bench: Bench, step: PlannedStep, rail_name: str, amps: float) -> list[Reading]:
    """What a rail loses from the supply's terminals to the board's inlet, for information; none without a way there.

    The reason compares it with the ohms of the leads in the bench file: a contact that has gone bad shows here first.
    """
    output = bench.power.outputs[rail_name]
    feed = output.feed
    if feed.inlet is None or not feed.inlet.channels or isinstance(output.supply, SupplyByHand) or not amps > 0.0:
        return []
    inlet = bench.touch.volts(feed.inlet, feed.nominal).estimate
    supply = output.supply.volts(feed.output)
    if inlet is None:
        return []
    # The supply reads what it gives without a sign; the inlet is measured with one.
    lost = abs(supply.value) - abs(inlet.value)
    parts = (
        Component("supply read-back", supply.uncertainty, "normal"),
        Component("volts at the inlet", inlet.uncertainty, "normal"),
    )
    unlimited = Limits(Span(None, None, "V"), "for information")
    reading = judged(step, rail_name, feed.inlet.point, "lead drop", lost, "V", parts, unlimited)
    held = "the output is raised by it, within the rail's limit" if feed.compensate else "not made up for"
    words = f"{show(lost / amps, 'ohm', 2)} of leads where the bench file says {show(feed.leads, 'ohm', 2)}; {held}"
    return [reading.with_reason(words).optional()]


def amps_drawn(output: Output) -> tuple[float, tuple[Component, ...]] | None:
    """Amps out of an output, with the budget; None where nobody could tell."""
    if isinstance(output.supply, SupplyByHand):
        read = output.supply.amps_read()
        return None if read is None else (read.value, (Component(read.how or "", read.uncertainty, "normal"),))
    samples = [output.supply.amps(output.feed.output) for _ in range(5)]
    mean = sum(sample.value for sample in samples) / len(samples)
    # The samples of one supply share its accuracy: averaging does not reduce that part.
    return mean, (Component("supply read-back", max(sample.uncertainty for sample in samples), "normal"),)


def rail(bench: Bench, step: PlannedStep, job: RailJob) -> list[Reading]:
    """Volts of a rail at one place, on the pins of one part; near a limit, four times the readings each time.

    A bias rail that is gone on the board takes its partners down: then the trip is a reading as well.
    """
    reading = patiently(lambda turn: rail_once(bench, step, job, READINGS * 4**turn), step, bench.clock)
    if reading.value is None:
        return [reading]
    try:
        bench.power.seen_on_board(job.rail, reading.value)
    except TrippedError as error:
        return [reading, tripped(step, error, bench.power.outputs[error.rail].feed.current)]
    return [reading]


def rail_once(bench: Bench, step: PlannedStep, job: RailJob, repeats: int) -> Reading:
    """One look at a rail, the mean of `repeats` readings."""
    output = bench.power.outputs[job.fed_by]
    touched = bench.touch.volts(job.target, job.nominal, min(repeats, MOST_REPEATS))
    if touched.estimate is not None and abs(touched.estimate.value) <= NOTHING and not job.target.by_hand:
        bench.touch.contact(job.target)  # no volts is only believed where the meter touches
    bench.power.tick()
    bench.places[(job.rail, job.place)] = touched
    if touched.estimate is None:
        why = "the meter shows overload: is the range right?"
        return unread(step, job.rail, job.target.point, "voltage", "V", job.limits, void(why))
    if output.looks and output.looks[-1].limiting:
        why = "the supply is limiting: volts read now say nothing about the board"
        return unread(step, job.rail, job.target.point, "voltage", "V", job.limits, void(why))
    reading = judged_estimate(
        step, job.rail, job.target.point, "voltage", touched.estimate, touched.components, job.limits
    )
    return with_data_sheet(reading, job.limits)


def with_data_sheet(reading: Reading, limits: Limits) -> Reading:
    """Say both where a board is healthy outside what the parts' makers promise."""
    sheet = limits.data_sheet
    if sheet is None or reading.value is None or sheet.holds(reading.value):
        return reading
    if reading.verdict not in (Verdict.WITHIN, Verdict.UNUSUAL):
        return reading
    side = "below the data-sheet minimum" if reading.value < (sheet.low or 0.0) else "above the data-sheet maximum"
    end = sheet.low if reading.value < (sheet.low or 0.0) else sheet.high
    note = (
        f"{show(reading.value, 'V')} is {side} of {show(end or 0.0, 'V')}; "
        f"this board is healthy within {limits.span} here"
    )
    reason = f"{note}; {reading.reason}" if reading.reason else note
    return reading.with_reason(reason)


def drop(bench: Bench, step: PlannedStep, job: DropJob) -> list[Reading]:
    """Difference of two places, from the readings taken there."""
    start, end = bench.places.get((job.rail, job.start)), bench.places.get((job.rail, job.end))
    if start is None or end is None or start.estimate is None or end.estimate is None:
        why = f"needs the volts at {job.start} and {job.end}"
        return [unread(step, job.rail, job.point, "voltage", "V", job.limits, Judgement(Verdict.SKIPPED, None, why))]
    value = start.estimate.value - end.estimate.value
    # Same meter, same range, seconds apart: the common part of its error cancels, so this states too much, never too
    # little.
    parts = (
        Component(f"volts at {job.start}", start.estimate.uncertainty, "normal"),
        Component(f"volts at {job.end}", end.estimate.uncertainty, "normal"),
    )
    return [judged(step, job.rail, job.point, "voltage", value, "V", parts, job.limits)]
