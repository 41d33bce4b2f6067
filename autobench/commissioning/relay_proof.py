"""Relays by measurement: what a multiplexer says is what it was told, so every path is measured closed and open.

Closing both of the meter's relays of one position joins its inputs at the pin: no board is needed. The power is off.
"""

from __future__ import annotations

from collections.abc import Iterator

from autobench.commissioning.proof_plan import Path
from autobench.errors import BenchError
from autobench.instruments.meter import Meter, MeterReading
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Judgement, Verdict, void
from autobench.plan.limits import Limits
from autobench.plan.steps import PlannedStep
from autobench.quantity import Span, show
from autobench.run.readings import judged, unread
from autobench.run.route import Route

MOST_OHMS = 2.0  # of both paths together (common practice)
OVER_STATED = 3.0  # times what the bench file says
OPEN = 1e6  # ohm; what an open path has at least, with damp and dirt
NO_LIMITS = Limits(Span(None, None, "ohm"), "none")


def closed(step: PlannedStep, route: Route, meter: Meter, path: Path, stated: float) -> Reading:
    """Ohms through both closed relays of one position; `stated` is what the bench file says of one path."""
    most = max(MOST_OHMS, OVER_STATED * 2.0 * stated)
    limits = Limits(Span(None, most, "ohm"), "bench file")
    point = f"position {path.position}"
    route.exactly((path.high, path.low))
    seen = meter.ohms(most, repeats=3)
    if seen.estimate is None:
        why = f"relays {path.high} and {path.low} are told to be closed, but no current gets through them"
        return unread(step, None, point, "resistance", "ohm", limits, Judgement(Verdict.OUTSIDE, None, why))
    return judged(step, None, point, "resistance", seen.estimate.value, "ohm", seen.components, limits)


def opened(step: PlannedStep, route: Route, meter: Meter, paths: tuple[Path, ...]) -> Iterator[Reading]:
    """Whether every relay opens: with one input's relay closed alone, no current may find a way through the other's."""
    for end, other in (("high", "low"), ("low", "high")):
        leaking = [path for path in paths if not is_open(joined(route, meter, getattr(path, other), OPEN))]
        if not leaking:
            yield state(step, f"meter {end}", "open", Judgement(Verdict.WITHIN, 1.0, None))
            continue
        # What stands in the fixture joins positions by more ohms than one stuck relay does its own.
        direct = [path for path in leaking if is_direct(joined(route, meter, getattr(path, other), MOST_OHMS))]
        stuck = direct or leaking
        which = ", ".join(str(getattr(path, end)) for path in stuck)
        why = f"relay {which} is told to be open, but current gets through it: it is stuck, or wired elsewhere"
        yield state(step, f"meter {end}", "closed", Judgement(Verdict.OUTSIDE, 0.0, why))


def joined(route: Route, meter: Meter, channel: int, expected: float) -> MeterReading:
    """Ohms between the meter's inputs with one relay closed and all others told to be open."""
    route.exactly((channel,))
    return meter.ohms(expected)


def is_direct(seen: MeterReading) -> bool:
    """Whether an ohms reading is that of two closed relays at one pin."""
    return seen.estimate is not None and seen.estimate.value <= MOST_OHMS


def is_open(seen: MeterReading) -> bool:
    """Whether an ohms reading is that of an open circuit; raises `BenchError` where the meter gave no number."""
    if seen.estimate is not None:
        return seen.estimate.value >= OPEN
    if seen.beyond is None:
        raise BenchError(f"the meter gave no number for an open circuit: {seen.reason}")
    return True


def state(step: PlannedStep, point: str, found: str, judgement: Judgement) -> Reading:
    """A reading that is a state and no number."""
    blank = unread(step, None, point, "contact", "", NO_LIMITS, judgement)
    return Reading(**{**vars(blank), "state": found})


def hushed(step: PlannedStep, why: str) -> Reading:
    """A reading that could not be taken."""
    return unread(step, None, None, "contact", "", NO_LIMITS, void(why))


def path_words(readings: tuple[Reading, ...]) -> str | None:
    """The resistance of the worst path, half of what two have together; None where none was measured."""
    values = [reading.value for reading in readings if reading.quantity == "resistance" and reading.value is not None]
    return show(max(values) / 2.0, "ohm") if values else None
