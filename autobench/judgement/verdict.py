"""Verdicts: one reading against its limits, and a whole board from its readings. No measuring, no diagnosis here.

A verdict says what the measurement allows to be said. Gates that make a reading `void` are decided before this module
is asked; the only ones it knows itself are numbers that are none.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from autobench.judgement.conformity import Rule, acceptance, conformance_probability, parse_rule
from autobench.quantity import Estimate, Span, show

DEFAULT_RULE = "95 %"


class Verdict(StrEnum):
    """What is said of one reading."""

    WITHIN = "within"
    UNUSUAL = "unusual"  # inside the limits, outside the board file's usual range
    MARGINAL = "marginal"  # too near a limit to call with this uncertainty
    OUTSIDE = "outside"
    VOID = "void"  # the measurement cannot be trusted; never evidence against the board
    SKIPPED = "skipped"


class BoardVerdict(StrEnum):
    """What is said of a board after a round."""

    GOOD = "good"
    FAULTY = "faulty"
    UNDECIDED = "undecided"
    STOPPED = "stopped"


@dataclass(frozen=True)
class Judgement:
    """A verdict, the probability that the quantity lies inside its limits (`None` where none is known), and why.

    `reason` is `None` for a plain `within`.
    """

    verdict: Verdict
    probability: float | None
    reason: str | None


class JudgedReading(Protocol):
    """What the board's verdict needs to know of one reading (`autobench.judgement.reading.Reading` has it all).

    `conditional`: taken while an earlier power, clock or reset step failed. `required`: the round cannot call a board
    good without it.
    """

    @property
    def step(self) -> str: ...
    @property
    def verdict(self) -> Verdict: ...
    @property
    def conditional(self) -> bool: ...
    @property
    def required(self) -> bool: ...
    @property
    def reason(self) -> str | None: ...


@dataclass(frozen=True)
class BoardJudgement:
    """The verdict of a board and why; `reason` is `None` for `good`."""

    verdict: BoardVerdict
    reason: str | None


def void(reason: str) -> Judgement:
    """The judgement of a measurement that cannot be trusted; `reason` is in words a technician can act on."""
    return Judgement(Verdict.VOID, None, reason)


def skipped(reason: str) -> Judgement:
    """The judgement of a reading that was not taken."""
    return Judgement(Verdict.SKIPPED, None, reason)


def judge(estimate: Estimate, limits: Span, usual: Span | None = None, rule: str = DEFAULT_RULE) -> Judgement:
    """Judge one reading against its limits by a rule of `autobench.judgement.conformity.parse_rule`.

    With a wanted probability: `within` where the quantity lies inside the limits with it, `outside` where it lies
    beyond with it, else `marginal`. With a guard band w, a multiple of U = k · u with the estimate's own k: `within`
    inside the limits less w, `outside` beyond the limits plus w, else `marginal` (ILAC-G8, non-binary with guard band).
    Raises `UsageError` for an unknown rule, `ValueError` where units differ or the uncertainty is negative.
    """
    decided = parse_rule(rule)
    for span in (limits, usual):
        if span is not None and span.unit != estimate.unit:
            raise ValueError(f"a reading in '{estimate.unit}' cannot be judged by limits in '{span.unit}'")
    if estimate.uncertainty < 0.0:
        raise ValueError(f"a standard uncertainty of {estimate.uncertainty} makes no sense")
    if math.isinf(estimate.value):
        return void("the instrument shows overload")
    if math.isnan(estimate.value):
        return void("the measurement gave no number")
    if not math.isfinite(estimate.uncertainty):
        return void("the uncertainty of the measurement is not known")
    probability = conformance_probability(estimate.value, estimate.uncertainty, limits, estimate.degrees)
    verdict = decide(estimate, limits, probability, decided)
    if verdict is Verdict.OUTSIDE:
        return Judgement(verdict, probability, f"{seen(estimate)} is not {wanted(limits)}")
    if verdict is Verdict.MARGINAL:
        spread = show(estimate.coverage * estimate.uncertainty, estimate.unit, 2)
        words = f"{seen(estimate)} ± {spread} (k = {estimate.coverage:.3g}) is too near a limit of {limits} to call"
        return Judgement(verdict, probability, words)
    if usual is not None and not usual.holds(estimate.value):
        return Judgement(Verdict.UNUSUAL, probability, f"{seen(estimate)} is allowed, usual is {usual}")
    return Judgement(verdict, probability, None)


def decide(estimate: Estimate, limits: Span, probability: float, rule: Rule) -> Verdict:
    """`within`, `outside` or `marginal` by the rule."""
    if rule.guard is None:
        needed = rule.wanted or 0.0
        if probability >= needed:
            return Verdict.WITHIN
        return Verdict.OUTSIDE if 1.0 - probability >= needed else Verdict.MARGINAL
    width = rule.guard * estimate.coverage * estimate.uncertainty
    if acceptance(limits, width).holds(estimate.value):
        return Verdict.WITHIN
    return Verdict.MARGINAL if acceptance(limits, -width).holds(estimate.value) else Verdict.OUTSIDE


def seen(estimate: Estimate) -> str:
    """The value alone, in words."""
    return show(estimate.value, estimate.unit)


def wanted(limits: Span) -> str:
    """The limits after "is not": a two-sided span needs a word before it."""
    return f"{limits}" if limits.low is None or limits.high is None else f"within {limits}"


def board_verdict(
    readings: Iterable[JudgedReading], stopped: str | None = None, refused: str | None = None
) -> BoardJudgement:
    """The verdict of a board: the first that fits of stopped, faulty, undecided, good.

    `stopped` says why bench, operator or guard ended the run; `refused` says that the ohms gate refused or a trip
    happened which the board caused, and makes it faulty. A conditional reading never accuses; but a required one that
    is `outside` is no proof of health either, and a round without a single required reading proves nothing.
    """
    if stopped is not None:
        return BoardJudgement(BoardVerdict.STOPPED, stopped)
    if refused is not None:
        return BoardJudgement(BoardVerdict.FAULTY, refused)
    taken = tuple(readings)
    for reading in taken:
        if reading.verdict is Verdict.OUTSIDE and not reading.conditional:
            return BoardJudgement(BoardVerdict.FAULTY, told(reading))
    for reading in taken:
        if reading.required and reading.verdict not in (Verdict.WITHIN, Verdict.UNUSUAL):
            return BoardJudgement(BoardVerdict.UNDECIDED, told(reading))
    if not any(reading.required for reading in taken):
        return BoardJudgement(BoardVerdict.UNDECIDED, "no reading that the round requires was taken")
    return BoardJudgement(BoardVerdict.GOOD, None)


def told(reading: JudgedReading) -> str:
    """A reading's step and verdict in words."""
    return f"{reading.step}: {reading.reason or reading.verdict.value}"
