"""The clocks of a board file: what each should be, and which is an exact fraction of which. It measures nothing."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from pydantic import Field

from autobench.documents.fields import HertzSpan, Part, PercentSpan, Point, VoltSpan, Written, WrongTextError
from autobench.documents.nets import NET, Family
from autobench.documents.section import Complaint, Section
from autobench.documents.words import choice_text, quoted
from autobench.quantity import Span

DIVISION = re.compile(rf"({NET.pattern})(?:\s*\*\s*([0-9]{{1,5}}))?(?:\s*/\s*([0-9]{{1,6}}))?")


@dataclass(frozen=True)
class Division:
    """An exact fraction of another clock: frequency = `ratio` · that of `clock`."""

    clock: str
    ratio: Fraction


def read_division(text: str) -> Division:
    """`CLK15 / 4`, `CLK15 * 2 / 3`."""
    found = DIVISION.fullmatch(text)
    if found is None:
        raise WrongTextError(f"{quoted(text)} is not a fraction of a clock; write it like 'CLK15 / 4'")
    times, by = int(found[2] or 1), int(found[3] or 1)
    if times < 1 or by < 1:
        raise WrongTextError(f"{quoted(text)} has a 0 in its fraction")
    return Division(found[1], Fraction(times, by))


class Clock(Section):
    """One clock net, measured at a buffered node and never at the crystal itself."""

    point: Point
    """Where it is measured."""
    limits: HertzSpan | None = Field(None, alias="is")
    """Hz of a clock that nothing else here makes: `15 MHz ± 100 ppm`."""
    source: Part | None = Field(None, alias="from")
    """The crystal it comes from, which is never probed: a probe pulls it or stops it."""
    of: Annotated[Division, Written(read_division)] | None = None
    """The clock it is an exact fraction of: `CLK15 / 4`. Judged as a ratio of samples taken together."""
    duty: PercentSpan | None = None
    """Share of a period it is high."""
    high: VoltSpan | None = None
    """Volts of its high level."""
    low: VoltSpan | None = None
    """Volts of its low level."""
    family: Family
    """Logic family whose levels count for what listens to it."""

    def check(self) -> Iterator[Complaint]:
        if (self.limits is None) == (self.of is None):
            found = "has both" if self.of is not None else "has neither"
            yield Complaint((), f"a clock takes exactly one of 'is' and 'of'; this one {found}")
        elif self.of is not None and self.source is not None:
            yield Complaint(
                ("from",), f"belongs to a clock with 'is'; this one is made of {self.of.clock}", at_key=True
            )
        if self.limits is not None and (not self.limits.low or self.limits.low <= 0 or self.limits.high is None):
            yield Complaint(("is",), "must have both ends above 0 Hz, such as '15 MHz ± 100 ppm'")
        if self.duty is not None and any(
            end is not None and not 0 <= end <= 100 for end in (self.duty.low, self.duty.high)
        ):
            yield Complaint(("duty",), f"{self.duty} is no share; it lies between 0 % and 100 %")
        yield from levels_apart(self.low, self.high)


def levels_apart(low: Span | None, high: Span | None) -> Iterator[Complaint]:
    """Complains where a level could be low and high at once."""
    if low is not None and high is not None and (low.high is None or high.low is None or low.high >= high.low):
        yield Complaint(("low",), f"{low} does not lie below the high level, {high}")


def ancestry(clocks: Mapping[str, Clock], name: str) -> Iterator[tuple[str, Fraction]]:
    """The clock itself, the one it is made of and so on, each with the ratio of `name` to it; ends before a cycle."""
    ratio, seen = Fraction(1), set()
    while name in clocks and name not in seen:
        seen.add(name)
        yield name, ratio
        of = clocks[name].of
        if of is None:
            return
        name, ratio = of.clock, ratio * of.ratio


def master_of(clocks: Mapping[str, Clock], name: str) -> tuple[str, Fraction]:
    """The clock with an `is` that `name` is made from, and the exact ratio to it: itself and 1 if it has its own."""
    return list(ancestry(clocks, name))[-1]


def limits_of(clocks: Mapping[str, Clock], name: str) -> Span:
    """Hz that `name` may have, from the limits of its master and the exact ratio."""
    master, ratio = master_of(clocks, name)
    limits = clocks[master].limits or Span(None, None, "Hz")  # never open: checked when the file was read
    return Span((limits.low or 0.0) * float(ratio), (limits.high or 0.0) * float(ratio), "Hz")


def nominal_of(clocks: Mapping[str, Clock], name: str) -> float:
    """Hz of `name` in the middle of its limits."""
    limits = limits_of(clocks, name)
    return ((limits.low or 0.0) + (limits.high or 0.0)) / 2


def clock_complaints(clocks: Mapping[str, Clock]) -> Iterator[Complaint]:
    """Fractions of a clock that is not there, and clocks that are made of each other in a circle."""
    for name, clock in clocks.items():
        if clock.of is None:
            continue
        route = ("clocks", name, "of")
        if clock.of.clock not in clocks:
            others = [other for other in clocks if other != name]
            yield Complaint(route, f"{quoted(clock.of.clock)} is no clock; {choice_text(clock.of.clock, others)}")
            continue
        line = [ancestor for ancestor, _ in ancestry(clocks, name)]
        last = clocks[line[-1]].of
        if last is not None and last.clock == name:
            yield Complaint(route, f"is made of itself: {' / '.join([*line, name])}")
