"""Whether a diagnosis named what was really broken. It looks at the truth, so nothing that diagnoses may look at it.

The rules are those of the contract: *first* is the first suspect that names the true part – for shorts, joints and
tracks its net –, suspects of one probability count at the last rank of them, and *grouped* is a true part that is not
first but in the stated group of at most five.
"""

from __future__ import annotations

from autobench.events import TrueFault
from autobench.rehearsal.outcome import NamedSuspect, Outcome

SHORTS = ("decoupler-short", "chip-supply-short", "data-line-short", "lines-bridged")
JOINTS = ("cracked-joint",)
TRACKS = ("track-open",)
# Somebody's mistake is a chip the wrong way round, a bridge, or a lifted pad: chip or net, whichever is named is right.
MISTAKES = ("repair-damage",)
MOST_IN_GROUP = 5


def by_net(truth: TrueFault) -> bool:
    """Whether the net counts: shorts, joints and tracks, and what sits on a line and no part."""
    return truth.fault in (*SHORTS, *JOINTS, *TRACKS) or truth.part in truth.nets


def names(suspect: NamedSuspect, truth: TrueFault) -> bool:
    """Whether a suspect is what was broken."""
    net = suspect.net is not None and suspect.net in truth.nets
    if by_net(truth):
        return net or (suspect.fault == truth.fault and suspect.part == truth.part)
    return suspect.part == truth.part or (truth.fault in MISTAKES and net)


def rank(outcome: Outcome, truth: TrueFault) -> int | None:
    """The true part's place among the suspects, counted from 1; None where it is not among them."""
    found = next((one for one in outcome.suspects if names(one, truth)), None)
    if found is None or not outcome.detected:
        return None
    return sum(1 for one in outcome.suspects if one.probability >= found.probability)


def grouped(outcome: Outcome, truth: TrueFault) -> bool:
    """Whether the stated group holds what was broken, without its being first."""
    if not outcome.detected or len(outcome.group) > MOST_IN_GROUP or rank(outcome, truth) == 1:
        return False
    marks = set(truth.nets) if by_net(truth) or truth.fault in MISTAKES else set()
    if not by_net(truth) or truth.fault in JOINTS:
        marks.add(truth.part)
    return bool(marks & set(outcome.group))
