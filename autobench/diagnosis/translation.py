"""What one judged reading says, in the categories of the alphabets: a rule for each quantity of the round.

It judges nothing again, joins no readings and knows no candidates.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from autobench.diagnosis.alphabets import Observable, ratio_token
from autobench.diagnosis.board_model import BoardModel
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict

STILL_STATES = frozenset({"low", "high", "half-level", "floating"})
ALMOST_ZERO = 0.06  # of nominal: a rail that is not there
SHORT_OHMS = 5.0
NEVER_PROGRAMMED = 256  # character clocks in a line of a controller whose registers hold all ones
NEAR = 0.02
# An output drives a low to 0.15 V and above; a short to 0 V through a whisker or a dead input stays below (common
# practice).
HARD_LOW = 0.15

# Between a guaranteed low and a guaranteed high input: where an inverter idles that feeds itself back.
THRESHOLDS = (0.8, 2.0)

Weights = tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Told:
    """One reading of one board."""

    board: BoardModel
    reading: Reading


def translate(board: BoardModel, reading: Reading) -> tuple[Observable, Weights] | None:
    """The observable and categories of one reading; nothing where diagnosis has no use for it."""
    rule = RULES.get(reading.quantity)
    return rule(Told(board, reading)) if rule is not None else None


def sided(reading: Reading, within: str, below: str, above: str) -> Weights:
    """The category of a number by its verdict; one too near a limit to call may be on either side of it."""
    value, low, high = reading.value, reading.low, reading.high
    nearer_low = value is not None and low is not None and (high is None or value - low < high - value)
    beyond = below if nearer_low or value is None else above
    if reading.verdict is Verdict.OUTSIDE:
        return ((beyond, 1.0),)
    if reading.verdict is Verdict.MARGINAL and beyond != within:
        return ((within, 0.5), (beyond, 0.5))
    return ((within, 1.0),)


def from_ohms(told: Told) -> tuple[Observable, Weights]:
    """Ohms of a rail with nothing powered."""
    if told.reading.value is not None and told.reading.value < SHORT_OHMS:
        return Observable("ohms", told.reading.net or ""), (("short", 1.0),)
    return Observable("ohms", told.reading.net or ""), sided(told.reading, "ok", "low", "open")


def from_current(told: Told) -> tuple[Observable, Weights] | None:
    """A current that was measured, or that of a trip, which carries no uncertainty of its own."""
    rail = told.board.rails.get(told.reading.net or "")
    if rail is None:
        return None
    if told.reading.value is None or not told.reading.uncertainty:
        return Observable("trip", rail.name), (("tripped" if told.reading.verdict is Verdict.OUTSIDE else "none", 1.0),)
    if rail.amps is None or rail.amps.low is None or rail.amps.high is None:
        return None
    nominal = 0.5 * (rail.amps.low + rail.amps.high)
    return Observable("current", rail.name), ((ratio_token(max(told.reading.value / nominal, 0.0)), 1.0),)


def from_volts(told: Told) -> tuple[Observable, Weights] | None:
    """Volts of a place of a rail, or the drop between two; the step's name says which."""
    rail = told.board.rails.get(told.reading.net or "")
    if rail is None:
        return None
    for start, end in rail.drops:
        if told.reading.step == f"drop {rail.name} {start} to {end}":
            return Observable("drop", f"{rail.name} {start} {end}"), sided(told.reading, "ok", "ok", "high")
    for place in rail.places:
        if told.reading.step == f"rail {rail.name} {place.name}":
            below, above = ("low", "high") if rail.nominal > 0 else ("high", "low")  # low: too near to ground
            weights = sided(told.reading, "ok", below, above)
            if told.reading.value is not None and abs(told.reading.value) < ALMOST_ZERO * abs(rail.nominal):
                weights = (("zero", 1.0),)
            elif told.reading.value is not None and below_half(told.reading, rail.nominal):
                weights = (("collapsed", 1.0),)
            return Observable("rail", f"{rail.name} {place.name}"), weights
    return None


def below_half(reading: Reading, nominal: float) -> bool:
    """Whether a rail has less than half of its volts, and should not."""
    return reading.verdict is Verdict.OUTSIDE and abs(reading.value or 0.0) < 0.5 * abs(nominal)


def from_ripple(told: Told) -> tuple[Observable, Weights]:
    """Ripple of a rail."""
    return Observable("ripple", told.reading.net or ""), sided(told.reading, "ok", "ok", "high")


def nothing_there(reading: Reading) -> bool:
    """Whether a rate is none at all."""
    return not reading.value or reading.state in STILL_STATES


def from_frequency(told: Told) -> tuple[Observable, Weights]:
    """A clock that is right, wrong, or not there."""
    still = nothing_there(told.reading) and told.reading.verdict is Verdict.OUTSIDE
    weights = (("none", 1.0),) if still else sided(told.reading, "right", "other", "other")
    return Observable("frequency", told.reading.net or ""), weights


def from_ratio(told: Told) -> tuple[Observable, Weights] | None:
    """The ratio of a clock to the one it comes from, or of two strobes."""
    weights = sided(told.reading, "right", "other", "other")
    for of, to in told.board.ratios:
        if told.reading.step == f"ratio {of} to {to}":
            return Observable("ratio", f"{of} to {to}"), weights
    if told.reading.net in told.board.clocks and told.reading.value:
        return Observable("clock ratio", told.reading.net or ""), weights
    return None


def from_duty(told: Told) -> tuple[Observable, Weights]:
    """Duty of a clock."""
    return Observable("duty", told.reading.net or ""), sided(told.reading, "ok", "odd", "odd")


def from_clock_level(told: Told) -> tuple[Observable, Weights]:
    """High or low level of a clock."""
    return Observable("clock level", told.reading.net or ""), sided(told.reading, "ok", "weak", "weak")


def within_limits(reading: Reading) -> bool:
    """Whether the value itself lies inside the limits."""
    value, low, high = reading.value, reading.low, reading.high
    return value is not None and (low is None or value >= low) and (high is None or value <= high)


def from_reset(told: Told) -> tuple[Observable, Weights]:
    """How a reset fails, or that it does not."""
    observable = Observable("reset", told.reading.net or told.board.reset_net or "")
    if told.reading.verdict is Verdict.OUTSIDE:
        if told.reading.state == told.board.reset_active:
            return observable, (("stuck", 1.0),)
        if told.reading.state in STILL_STATES or told.reading.value is None:
            return observable, (("short", 1.0),)
        if within_limits(told.reading) or told.reading.state in ("moving", "slow", "burst"):
            return observable, (("looping", 1.0),)  # long enough, and yet not right: it comes again
    return observable, sided(told.reading, "ok", "short", "long")


def from_held(told: Told) -> tuple[Observable, Weights]:
    """Whether a CPU that is held stands still: one that moves does not see its reset."""
    return Observable("held", told.reading.net or ""), sided(told.reading, "still", "still", "moving")


def from_line_rate(told: Told) -> tuple[Observable, Weights]:
    """Line rate of the sync, or of what leaves the told.board."""
    output = told.board.video is not None and told.reading.point == told.board.video.output_point
    observable = Observable("line rate", "output" if output else "sync")
    if told.reading.verdict is Verdict.OUTSIDE:
        if nothing_there(told.reading):
            return observable, (("none", 1.0),)
        idle = unprogrammed_hertz(told.board)
        if idle is not None and told.reading.value and abs(told.reading.value / idle - 1.0) < NEAR:
            return observable, (("unprogrammed", 1.0),)
    return observable, sided(told.reading, "right", "other", "other")


def unprogrammed_hertz(board: BoardModel) -> float | None:
    """The line rate of a programmable controller that was never written to, Hz."""
    controller = next((part for part in board.parts.values() if part.kind == "video controller"), None)
    clock = board.clocks.get(controller.clock or "") if controller is not None else None
    if clock is not None:
        return clock.hertz / NEVER_PROGRAMMED
    return None


def from_field_rate(told: Told) -> tuple[Observable, Weights]:
    """Field rate of the sync."""
    observable = Observable("field rate", "sync")
    if told.reading.verdict is Verdict.OUTSIDE and nothing_there(told.reading):
        return observable, (("none", 1.0),)
    return observable, sided(told.reading, "right", "other", "other")


def from_pulse(told: Told) -> tuple[Observable, Weights]:
    """Width of a sync pulse."""
    return Observable("sync pulse", "sync"), sided(told.reading, "right", "other", "other")


def from_amplitude(kind: str) -> Callable[[Told], tuple[Observable, Weights]]:
    """An amplitude of what leaves the board."""

    def rule(told: Told) -> tuple[Observable, Weights]:
        observable = Observable(kind, "output")
        low = told.reading.low or 0.0
        if told.reading.verdict is Verdict.OUTSIDE and (told.reading.value or 0.0) < 0.25 * low:
            return observable, (("none", 1.0),)
        return observable, sided(told.reading, "ok", "low", "high")

    return rule


def from_rate(told: Told) -> tuple[Observable, Weights] | None:
    """State of a line, or the pulses of a select while the program started."""
    line = told.board.lines.get(told.reading.net or "")
    if line is None:
        return None
    if line.start:
        still = nothing_there(told.reading) and told.reading.verdict is Verdict.OUTSIDE
        return Observable("start", line.net), (("none", 1.0),) if still else sided(
            told.reading, "right", "other", "other"
        )
    return Observable("line", line.net), line_weights(line.healthy, told.reading)


def line_weights(healthy: str, reading: Reading) -> Weights:
    """Categories of a line by its state and verdict."""
    state = reading.state or ("moving" if reading.value else None)
    if healthy == "any":
        return ((state or "moving", 1.0),)
    if reading.verdict in (Verdict.WITHIN, Verdict.UNUSUAL):
        return ((healthy, 1.0),)
    seen = "off-rate" if state in (None, "moving") else state
    if reading.verdict is Verdict.MARGINAL:
        return ((healthy, 0.5), (seen, 0.5)) if seen != healthy else ((healthy, 1.0),)
    return ((seen, 1.0),)


def from_level(told: Told) -> tuple[Observable, Weights] | None:
    """How hard a line is held, should it stay low (its uncertainty may leave either open); where a clock idles."""
    reading = told.reading
    if reading.net in told.board.clocks and reading.value is not None:
        between = THRESHOLDS[0] < reading.value < THRESHOLDS[1]
        return Observable("idle clock", reading.net or ""), (("threshold" if between else "rail", 1.0),)
    line = told.board.lines.get(reading.net or "")
    if line is None or line.start or reading.value is None:
        return None
    spread = max(reading.uncertainty or 0.0, 1e-6) * math.sqrt(2.0)
    hard = 0.5 * (1.0 + math.erf((HARD_LOW - reading.value) / spread))
    return Observable("low level", line.net), (("hard", hard), ("driven", 1.0 - hard))


def from_low_level(told: Told) -> tuple[Observable, Weights] | None:
    """A level of a clock. That of a moving line is told again, and better, by its stay above a driven low."""
    return from_clock_level(told) if told.reading.net in told.board.clocks else None


def from_stay(told: Told) -> tuple[Observable, Weights]:
    """Whether a line stays between the levels."""
    return Observable("stay", told.reading.net or ""), sided(told.reading, "clean", "between", "between")


def from_likeness(told: Told) -> tuple[Observable, Weights] | None:
    """Whether two neighbours are one."""
    pair = tuple(told.reading.step.split()[-2:])
    if pair not in told.board.neighbours:
        return None
    return Observable("alike", " ".join(pair)), sided(told.reading, "apart", "one", "one")


def from_driven(told: Told) -> tuple[Observable, Weights] | None:
    """What a line does while a part should drive it."""
    name = " ".join(told.reading.step.split()[-2:])
    if name not in {f"{driver.part} {driver.line}" for driver in told.board.bus_drivers}:
        return None
    category = {"moving": "both", "low": "low", "high": "high"}.get(told.reading.state or "", "between")
    return Observable("driving", name), ((category, 1.0),)


def from_refresh(told: Told) -> tuple[Observable, Weights] | None:
    """Whether rows are refreshed."""
    if told.board.refresh is None:
        return None
    none = told.reading.verdict is Verdict.OUTSIDE and not told.reading.value
    weights = (("none", 1.0),) if none else sided(told.reading, "ok", "slow", "slow")
    return Observable("refresh", told.board.refresh[0]), weights


Rule = Callable[[Told], tuple[Observable, Weights] | None]

RULES: Mapping[str, Rule] = {
    "resistance": from_ohms,
    "current": from_current,
    "voltage": from_volts,
    "ripple": from_ripple,
    "frequency": from_frequency,
    "ratio": from_ratio,
    "duty": from_duty,
    "high level": from_clock_level,
    "low level": from_low_level,
    "stay": from_stay,
    "likeness": from_likeness,
    "driven": from_driven,
    "refresh": from_refresh,
    "reset width": from_reset,
    "pulses while held": from_held,
    "line rate": from_line_rate,
    "field rate": from_field_rate,
    "pulse width": from_pulse,
    "sync amplitude": from_amplitude("picture sync"),
    "amplitude": from_amplitude("picture"),
    "rate": from_rate,
    "pulses": from_rate,
    "level": from_level,
}
