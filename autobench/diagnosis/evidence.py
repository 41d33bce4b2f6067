"""From judged readings to observations: what each reading says in the words of the alphabets.

Void, skipped and conditional readings are left out here, and nowhere else: they never speak against a part. It knows no
candidates.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from autobench.diagnosis.alphabets import Observable, alphabets
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.extra_evidence import Known, extra, leg_of, told_by
from autobench.diagnosis.resting import level_at_rest
from autobench.diagnosis.translation import STILL_STATES, Weights, translate
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict

TWO, ELEVEN, FOUR = (1.96, 2.04), (10.9, 11.1), (3.96, 4.04)
USUAL_WRITES = (0.005, 0.7)
USUAL_CLOCKS = (5.5, 18.0)
# The same of class S, where a run of writes counts once: the loops of a bus full of ones or zeros, and usual programs.
ONE_RUN, SEVEN = (0.97, 1.03), (6.95, 7.05)
USUAL_RUNS, USUAL_SYNCS = (0.02, 0.6), (2.3, 4.5)
# Volts at which bipolar inputs leave a net that nobody drives, and how often it is two outputs that fight instead
# (common practice).
OPEN_LEVELS, FIGHTS = (1.2, 1.75), 0.3
SEVERAL = 3
SIDE_BLOCKS = {
    "input": "cpu inputs", "output": "cpu outputs", "select": "selects", "data": "data bus", "address": "address bus",
    "strobe": "memory strobes",
}  # fmt: skip
MEMORY_BLOCKS = {"strobe": "memory strobes", "address": "memory address", "data": "memory data"}


@dataclass(frozen=True)
class Observation:
    """What readings say of one observable: the weights of the categories it may be in, and the readings themselves.

    `block`: readings of one block share a floor. `accuses`: whether one of the readings is outside its limits. `known`:
    of a look at one more point of a net, where that was read before and as what.
    """

    observable: Observable
    weights: Weights
    readings: tuple[Reading, ...]
    block: str
    known: Known | None = None

    @property
    def accuses(self) -> bool:
        """Whether it speaks against the board."""
        return self.category != "usual" and any(reading.verdict is Verdict.OUTSIDE for reading in self.readings)

    @property
    def category(self) -> str:
        """The category it most likely is in."""
        return max(self.weights, key=lambda pair: pair[1])[0]


def usable(reading: Reading) -> bool:
    """Whether a reading may speak at all."""
    return reading.verdict not in (Verdict.VOID, Verdict.SKIPPED) and not reading.conditional


def observations(board: BoardModel, readings: Sequence[Reading]) -> tuple[Observation, ...]:
    """Every observation the readings allow; of several of the same thing the last counts."""
    found: dict[Observable, Observation] = {}
    open_nets = {(reading.step, reading.net) for reading in readings if reading.quantity == "level" and loose(reading)}
    for reading in readings:
        translated = said(board, reading) if usable(reading) else None
        if translated is not None:
            observable, weights = translated
            if (reading.step, reading.net) in open_nets:
                weights = tuple(each for pair in weights for each in as_open(pair))
            earlier = found.get(observable)
            if observable.kind == "clock level" and earlier is not None and earlier.accuses:
                continue  # a clock has two levels, and one that is wrong is not made good by the other
            known = known_of(board, found, reading.net or "") if extra(reading) else None
            found[observable] = Observation(observable, weights, (reading,), block_of(board, observable), known)
    for observation in in_step(found):
        found[observation.observable] = observation
    for observation in derived(board, found):
        found[observation.observable] = observation
    rests = memory_rests(board, found)
    read = words_read(found)
    return tuple(
        each
        for each in found.values()
        if not moot(each.observable, found)
        and not (rests and each.readings[0].stage == "memory")
        and not unasked(board, read, each)
    )


def in_step(found: Mapping[Observable, Observation]) -> Iterator[Observation]:
    """Lines of one part of which several stay at a level while it should drive them: one bad line does not do that."""
    still: dict[str, list[Observation]] = {}
    for observable, seen in found.items():
        if observable.kind == "driving" and seen.category in ("low", "high"):
            still.setdefault(observable.name.partition(" ")[0], []).append(seen)
    for part, lines in still.items():
        if len(lines) >= SEVERAL:
            block = f"in step {part}"
            yield from (replace(seen, weights=((f"{seen.category} in step", 1.0),), block=block) for seen in lines)


def words_read(found: Mapping[Observable, Observation]) -> dict[str, str]:
    """The word of every line the round read."""
    return {each.name: seen.category for each, seen in found.items() if each.kind == "line" and " " not in each.name}


def unasked(board: BoardModel, read: Mapping[str, str], seen: Observation) -> bool:
    """Whether an output rests where its inputs, as read, leave it: nobody asks for it, so that says nothing of it."""
    if seen.observable.kind == "free leg":
        part, net = leg_of(seen.observable)
        return seen.category == "still" and level_at_rest(board, read, part, net) is not None
    if seen.observable.kind != "line" or seen.observable.name not in board.lines:
        return False
    net = seen.observable.name
    return any(level_at_rest(board, read, part, net) == seen.category for part in board.drivers.get(net, ()))


def loose(reading: Reading) -> bool:
    """Whether a level is that of a net that nobody drives, as the inputs on it leave it."""
    return reading.value is not None and OPEN_LEVELS[0] <= reading.value <= OPEN_LEVELS[1]


def as_open(pair: tuple[str, float]) -> Weights:
    """A line between the levels that stands where open inputs leave it floats, or two outputs fight there."""
    category, weight = pair
    if category != "half-level":
        return (pair,)
    return (("floating", (1.0 - FIGHTS) * weight), ("half-level", FIGHTS * weight))


def memory_rests(board: BoardModel, found: Mapping[Observable, Observation]) -> bool:
    """Whether the memory's own lines say nothing of the memory: the video works it here, and the video stands still."""
    sync = found.get(Observable("line rate", "sync"))
    return board.architecture.get("refresh source") == "video" and sync is not None and sync.category == "none"


def said(board: BoardModel, reading: Reading) -> tuple[Observable, Weights] | None:
    """What a reading says, whether of the round or beyond it."""
    return told_by(reading) if extra(reading) else translate(board, reading)


def block_of(board: BoardModel, observable: Observable) -> str:
    """The block an observable shares its floor with: lines by what they are to the CPU."""
    if observable.kind in ("line", "low level"):
        line = board.lines.get(observable.name)
        if line is None:
            return f"leg {observable.name}"
        return (MEMORY_BLOCKS if line.stage == "memory" else SIDE_BLOCKS).get(line.side, "bus")
    return alphabets()[observable.kind].block


def known_of(board: BoardModel, found: Mapping[Observable, Observation], net: str) -> Known | None:
    """Where a net was read first, and as what: by the round, or by the first look."""
    of_round = found.get(Observable("line", net))
    if of_round is not None:
        return board.lines[net].part, of_round.category
    looks = ((leg_of(each), seen) for each, seen in found.items() if each.kind == "line")
    return next(((leg[0], seen.category) for leg, seen in looks if leg[1] == net), None)


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
    """Ratios that tell what the CPU executes: writes to fetches, and clocks to fetches.

    Where accesses are stretched only one figure of these is left: a fetch in every four clocks is never made to wait.
    """
    nets, runs_once = board.cpu_nets, board.cpu_class == "S"
    fetch = rate_of(found, nets.fetch)
    if fetch is None or fetch[0] <= 0.0:
        return
    write = rate_of(found, nets.write)
    if write is not None:
        looped, usual = (ONE_RUN, USUAL_RUNS) if runs_once else (TWO, USUAL_WRITES)
        category = among(write[0] / fetch[0], {"zero": (-1.0, 1e-4), "two": looped, "usual": usual})
        observable = Observable("writes to fetches", "cpu")
        yield Observation(observable, ((category, 1.0),), (write[1], fetch[1]), "fingerprint")
    clock = board.cpu.clock if board.cpu is not None else None
    frequency = found.get(Observable("frequency", clock or ""))
    if frequency is None or frequency.category != "right":
        return
    hertz = frequency.readings[0].value or math.nan
    spans = {"four": FOUR} if board.waits else {"eleven": ELEVEN, "four": FOUR, "usual": USUAL_CLOCKS}
    if runs_once:
        spans = {"eleven": SEVEN, "usual": USUAL_SYNCS}
    category = among(hertz / fetch[0], spans)
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
    if observable.kind == "low level":
        line = found.get(Observable("line", observable.name))
        return line is None or line.category != "low"
    return False
