"""From judged readings to observations: what each reading says in the words of the alphabets.

Void, skipped and conditional readings are left out here, and nowhere else: they never speak against a part. It knows no
candidates.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from autobench.diagnosis.alphabets import Observable, alphabets, ratio_token
from autobench.diagnosis.board_model import BoardModel
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict

STILL_STATES = frozenset({"low", "high", "half-level", "floating"})
ALMOST_ZERO = 0.06  # of nominal: a rail that is not there
SHORT_OHMS = 5.0
TWO, ELEVEN, FOUR = (1.96, 2.04), (10.9, 11.1), (3.96, 4.04)
USUAL_WRITES = (0.005, 0.7)
USUAL_CLOCKS = (5.5, 18.0)
SIDE_BLOCKS = {"input": "cpu inputs", "output": "cpu outputs", "select": "selects", "data": "data bus"}
NEVER_PROGRAMMED = 256  # character clocks in a line of a controller whose registers hold all ones
NEAR = 0.02

Weights = tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Observation:
    """What readings say of one observable: the weights of the categories it may be in, and the readings themselves.

    `block`: readings of one block share a floor. `accuses`: whether one of the readings is outside its limits.
    """

    observable: Observable
    weights: Weights
    readings: tuple[Reading, ...]
    block: str

    @property
    def accuses(self) -> bool:
        """Whether it speaks against the board."""
        return self.category != "usual" and any(reading.verdict is Verdict.OUTSIDE for reading in self.readings)

    @property
    def category(self) -> str:
        """The category it most likely is in."""
        return max(self.weights, key=lambda pair: pair[1])[0]


@dataclass(frozen=True)
class Told:
    """One reading of one board."""

    board: BoardModel
    reading: Reading


def usable(reading: Reading) -> bool:
    """Whether a reading may speak at all."""
    return reading.verdict not in (Verdict.VOID, Verdict.SKIPPED) and not reading.conditional


def observations(board: BoardModel, readings: Sequence[Reading]) -> tuple[Observation, ...]:
    """Every observation the readings allow; of several of the same thing the last counts."""
    found: dict[Observable, Observation] = {}
    for reading in readings:
        translated = translate(board, reading) if usable(reading) else None
        if translated is not None:
            observable, weights = translated
            found[observable] = Observation(observable, weights, (reading,), block_of(board, observable))
    for observation in derived(board, found):
        found[observation.observable] = observation
    return tuple(each for each in found.values() if not moot(each.observable, found))


def block_of(board: BoardModel, observable: Observable) -> str:
    """The block an observable shares its floor with: lines by what they are to the CPU."""
    if observable.kind == "line":
        line = board.lines.get(observable.name)
        return SIDE_BLOCKS.get(line.side, "bus") if line is not None else observable.name
    return alphabets()[observable.kind].block


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
            weights = sided(told.reading, "ok", "low", "high")
            if told.reading.value is not None and abs(told.reading.value) < ALMOST_ZERO * abs(rail.nominal):
                weights = (("zero", 1.0),)
            return Observable("rail", f"{rail.name} {place.name}"), weights
    return None


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
    "low level": from_clock_level,
    "reset width": from_reset,
    "line rate": from_line_rate,
    "field rate": from_field_rate,
    "pulse width": from_pulse,
    "sync amplitude": from_amplitude("picture sync"),
    "amplitude": from_amplitude("picture"),
    "rate": from_rate,
    "pulses": from_rate,
}


def rate_of(found: Mapping[Observable, Observation], net: str) -> tuple[float, Reading] | None:
    """Mean rate of a line that was read, 0.0 where it is still."""
    observation = found.get(Observable("line", net))
    if observation is None:
        return None
    reading = observation.readings[0]
    if reading.state in STILL_STATES or reading.value is None:
        return 0.0, reading
    return reading.value, reading


def derived(board: BoardModel, found: Mapping[Observable, Observation]) -> Iterator[Observation]:
    """Ratios that tell what the CPU executes: writes to fetches, and clocks to fetches where nothing makes it wait."""
    fetch = rate_of(found, "FETCH")
    if fetch is None or fetch[0] <= 0.0:
        return
    write = rate_of(found, "WR")
    if write is not None:
        category = among(write[0] / fetch[0], {"zero": (-1.0, 1e-4), "two": TWO, "usual": USUAL_WRITES})
        observable = Observable("writes to fetches", "cpu")
        yield Observation(observable, ((category, 1.0),), (write[1], fetch[1]), "fingerprint")
    clock = board.cpu.clock if board.cpu is not None else None
    frequency = found.get(Observable("frequency", clock or ""))
    if board.waits or frequency is None or frequency.category != "right":
        return
    hertz = frequency.readings[0].value or math.nan
    category = among(hertz / fetch[0], {"eleven": ELEVEN, "four": FOUR, "usual": USUAL_CLOCKS})
    observable = Observable("clocks to fetches", "cpu")
    yield Observation(observable, ((category, 1.0),), (fetch[1], frequency.readings[0]), "fingerprint")


def among(value: float, spans: Mapping[str, tuple[float, float]]) -> str:
    """The first span that holds `value`, else `other`."""
    return next((name for name, (low, high) in spans.items() if low <= value <= high), "other")


def moot(observable: Observable, found: Mapping[Observable, Observation]) -> bool:
    """Whether an observation says nothing because what it is taken from does not move."""
    if observable.kind in ("clock ratio", "duty", "clock level"):
        frequency = found.get(Observable("frequency", observable.name))
        return frequency is not None and frequency.category == "none"
    if observable.kind == "ratio":
        rates = [rate_of(found, net) for net in observable.name.split(" to ")]
        return any(rate is not None and rate[0] <= 0.0 for rate in rates)
    if observable.kind == "sync pulse":
        rate = found.get(Observable("line rate", "sync"))
        return rate is not None and rate.category == "none"
    return False
