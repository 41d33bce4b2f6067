"""What is read beyond the round: more points of a net, a leg against its net, ohms to a neighbour, what hands did.

Names of the observables, what each reading says in them, and what each way a fault may turn out would show. It chooses
no check and weighs nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from autobench.diagnosis import cpu
from autobench.diagnosis.alphabets import UNSURE, Observable
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.candidates import Candidate
from autobench.diagnosis.catalogue import SOMETHING_ELSE, catalogue
from autobench.diagnosis.simulation import DULL, MOVING, Settled
from autobench.diagnosis.translation import STILL_STATES, Weights
from autobench.judgement.reading import Reading

LOOK = "look "  # how the steps of looks beyond the round begin
DEEDS = (
    "contact",
    "across",
    "reseat",
    "swap",
    "free leg",
    "heat",
    "between",
    "cool",
    "again",
)  # kinds that readings of hands' work have as their quantity
WHOLE = ("across", "reseat", "swap", "heat", "cool")  # those of a whole part
CONTACT = "socket-contact"
HOT = ("chip-supply-short", "ram-shorted", "ram-several", "repair-damage")
SERIES = ("inlet-open", "connector-resistance")
LOOSE = "cracked-joint"
LOOPING = "reset-looping"
# What follows the temperature of the part it sits in, and how.
THERMAL: Mapping[str, str] = {
    LOOSE: "joint", "ram-marginal": "fails warm", "cpu-clock-weak": "perhaps", CONTACT: "perhaps",
}  # fmt: skip
# Words of nets in those of a line's alphabet, where nothing is known of its rate.
Known = tuple[str, str]  # where a net was read before, and as what
WORDS: Mapping[str, str] = {
    "ok": "high", "half": "either", "other": "either", "weak": "either", "halt pulses": "either",
    "unprogrammed": "any", "garbled halt": "any", **dict.fromkeys(DULL, "either"),
}  # fmt: skip
AS_READ: Mapping[str, str] = {
    "moving": "either", "off-rate": "either", "slow": "either", "burst": "either",
}  # fmt: skip
SLOWLY = 0.3  # of what moves at an unknown rate may look slow, or come in bursts


def at_leg(part: str, net: str) -> Observable:
    """The observable of one more look: `net` at the leg of `part`."""
    return Observable("line", f"{part} {net}")


def between(net: str, other: str) -> Observable:
    """The observable of ohms from one line to its neighbour."""
    return Observable("between", f"{net} {other}")


def leg_of(observable: Observable) -> tuple[str, str]:
    """Part and net of an observable at a leg."""
    part, _, net = observable.name.partition(" ")
    return part, net


def joined(settled: Settled, net: str, one: str, other: str) -> bool:
    """Whether the points of a net at two parts are one and the same, for a probe."""
    effect = settled.effect
    return effect.in_socket or not any((part, net) in effect.cut for part in {one, other} if one != other)


def beyond(board: BoardModel, observable: Observable) -> bool:
    """Whether an observable beyond the round belongs to a leg or part of `board`."""
    if observable.kind in WHOLE:
        return observable.name in board.parts
    if observable.kind == "again":
        return True
    if observable.kind == "between":
        return all(net in board.nets for net in observable.name.split())
    return observable.kind in ("line", *DEEDS) and leg_of(observable)[0] in board.parts


def extra(reading: Reading) -> bool:
    """Whether a reading was taken beyond the round, of something that the round does not read."""
    return reading.quantity in DEEDS or reading.step.startswith(LOOK)


def told_by(reading: Reading) -> tuple[Observable, Weights] | None:
    """The observable and categories of a reading beyond the round; nothing for those that are kept for information."""
    part = (reading.point or "").partition(".")[0]
    if reading.quantity in WHOLE:
        return Observable(reading.quantity, part), ((reading.state or "as before", 1.0),)
    if reading.quantity == "again":
        return Observable("again", reading.net or ""), ((reading.state or "as before", 1.0),)
    if reading.quantity == "between":
        _, net, _, other = reading.step.split()  # ohms NET to OTHER
        return between(net, other), ((reading.state or "apart", 1.0),)
    if reading.quantity in DEEDS:
        return Observable(reading.quantity, f"{part} {reading.net}"), ((reading.state or "", 1.0),)
    if reading.quantity != "rate" or reading.net is None:
        return None
    state = reading.state or "moving"
    if state in STILL_STATES or state == "moving":
        return at_leg(part, reading.net), ((state, 1.0),)
    return at_leg(part, reading.net), (("moving", 1.0 - SLOWLY), (state, SLOWLY))


def token(observable: Observable, candidate: Candidate, settled: Settled, known: Known | None = None) -> str:
    """What is really there, in the words of the observable's alphabet, where `candidate` came out as `settled`.

    `known`: what the same net was read as before, and where. Where the two points are joined it is the same again: only
    a break between them makes a difference.
    """
    if observable.kind == "reseat":
        return "contact" if (candidate.fault, candidate.part) == (CONTACT, observable.name) else "elsewhere"
    if observable.kind == "across":
        if candidate.part != observable.name:
            return "joined"
        return "lost" if candidate.fault in SERIES else "perhaps" if candidate.fault == LOOSE else "joined"
    if observable.kind == "heat":
        return warmth(candidate, settled, observable.name)
    if observable.kind == "again":
        return {LOOSE: "comes and goes", "ram-marginal": "perhaps"}.get(candidate.fault, "stays")
    if observable.kind == "cool":
        return followed(candidate, observable.name)
    if observable.kind == "swap":
        return swapped(candidate, observable.name)
    if observable.kind == "between":
        return "joined" if set(observable.name.split()) == set(settled.effect.joined) else "apart"
    part, net = leg_of(observable)
    if observable.kind == "contact":
        # A track breaks beyond the pin: the leg and the point below its socket are on the same side of it.
        return "apart" if (part, net) in settled.effect.cut and settled.effect.in_socket else "joined"
    if observable.kind == "free leg":
        return free(settled, part, net)
    if known is not None and joined(settled, net, part, known[0]):
        return AS_READ.get(known[1], known[1])
    line = settled.board.lines.get(net)
    if line is not None and line.start:
        return UNSURE  # it moves for some milliseconds after the reset, and then no more
    if net in settled.board.pictures and settled.state != cpu.RUNNING:
        return "any"  # a screen nobody draws on may be blank
    if candidate.fault == "ram-several" and "ram" in kinds(settled.board, net):
        return "any"  # which of them are dead is not known
    if (part, net) in settled.effect.cut and not settled.effect.in_socket and net in settled.board.parts[part].data:
        return "isolated"
    word = settled.at(part, net)
    if word == "moving":
        return "garbled" if settled.state == cpu.CRASHED else "either"
    return WORDS.get(word, word)


def kinds(board: BoardModel, net: str) -> set[str]:
    """The kinds of the parts that drive a net."""
    return {board.parts[part].kind for part in board.drivers.get(net, ())}


def swapped(candidate: Candidate, part: str) -> str:
    """Whether a fault leaves the board with the chip `part`."""
    if candidate.part != part or candidate.fault == SOMETHING_ELSE:
        return "elsewhere"
    if candidate.fault == CONTACT:
        return "contact"
    return "chip" if catalogue()[candidate.fault].inside else "elsewhere"


def warmth(candidate: Candidate, settled: Settled, part: str) -> str:
    """Whether a chip gets hot: one that is shorted does, one of a row that is mostly not known; outputs that fight warm
    those who fight."""
    if candidate.fault in HOT:
        if candidate.part == part:
            return "hot"
        row = candidate.fault == "ram-several" and settled.board.parts[part].kind == "ram"
        return "perhaps" if row else "cool"
    fights = candidate.fault == "bus-contention" and candidate.part == part
    return "perhaps" if fights else "cool"


def followed(candidate: Candidate, part: str) -> str:
    """Whether what failed follows the temperature of the part `part`."""
    if candidate.part == part and candidate.fault in THERMAL:
        return THERMAL[candidate.fault]
    return "now and then" if candidate.fault in (LOOSE, LOOPING) else "elsewhere"


def free(settled: Settled, part: str, net: str) -> str:
    """What an output leg does once it is off its net."""
    word = settled.driven.get((part, net))
    line = settled.board.lines.get(net)
    if line is not None and line.start:
        return "moving" if word in MOVING and settled.started else "still"
    if word is None:
        return "either"
    return "moving" if word in MOVING or word in ("halt pulses", "garbled halt") else "still"


def rows(
    observable: Observable,
    numbers: Mapping[str, int],
    outcomes: Iterable[tuple[Candidate, Settled]],
    known: Known | None = None,
) -> list[int]:
    """The row of the alphabet for each outcome; `numbers` gives the row of each token."""
    unsure = numbers[UNSURE]
    return [numbers.get(token(observable, candidate, settled, known), unsure) for candidate, settled in outcomes]
