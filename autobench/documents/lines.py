"""The lines of a board file: what the CPU must be given, what it must do, and which counts are in exact ratio.

Values only; a range such as `D0..D7` is written once and counts for each line. No trace is looked at here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Literal

from pydantic import Field

from autobench.documents.fields import CountSpan, HertzSpan, Seconds, YesNo
from autobench.documents.nets import Family, Net, Points, spread
from autobench.documents.rails import usual_inside
from autobench.documents.section import Complaint, Section
from autobench.documents.words import choice_text, quoted
from autobench.quantity import show

LineStage = Literal["cpu", "bus", "memory"]
Side = Literal["input", "output", "address", "select", "data", "strobe"]


class Line(Section):
    """One line, or several that should all do the same."""

    points: Points = Field(alias="point")
    """Where it is measured; for a range of lines, one point each."""
    stage: LineStage
    """When it is looked at: with the CPU's own lines, with the bus, or with the memory."""
    side: Side
    """input: the CPU must be given it; output: the CPU makes it; address: the CPU or a multiplexer makes it; select: a
    decoder makes it; data: anyone may; strobe: it makes the memory work."""
    state: Literal["moving", "high", "low", "any"] = Field(alias="is")
    """What it should do; any: whatever it likes, but driven."""
    rate: HertzSpan | None = None
    """Mean pulses a second, of a moving line."""
    usual: HertzSpan | None = None
    """Mean pulses a second of the healthy boards seen so far; outside it a reading is unusual, never a fault."""
    shortest: Seconds | None = None
    """The shortest pulse there may be: it must not fall between two samples."""
    family: Family
    """Logic family whose levels count for what listens to it."""
    when: Literal["start"] | None = None
    """start: judged by the pulses just after the reset is released, captured from before power-on."""
    within: Seconds | None = None
    """With `when: start`: how long after the release."""
    pulses: CountSpan | None = None
    """With `when: start`: how many pulses."""
    floats: YesNo = False
    """yes: between accesses nobody drives it, and it drifts; then its levels are judged only while it is driven."""
    needs: Literal["mains"] | None = None
    """mains: only an inlet fed with the mains' own rate makes it move; a bench feeds direct current."""

    @property
    def point(self) -> str:
        """The point of a single line, or the first of several."""
        return self.points[0]

    def check(self) -> Iterator[Complaint]:
        for key, given in (("rate", self.rate), ("usual", self.usual)):
            if given is not None and self.state != "moving":
                yield Complaint((key,), "only a line that is moving has a rate", at_key=True)
        if self.usual is not None and self.rate is not None:
            yield from usual_inside(self.rate, self.usual)
        fastest = (self.rate.high or 0.0) if self.rate is not None else 0.0
        if self.shortest is not None and fastest * self.shortest.value >= 1:
            yield Complaint(("shortest",), f"{self.shortest} is longer than a whole period at {show(fastest, 'Hz')}")
        yield from self.check_start()

    def check_start(self) -> Iterator[Complaint]:
        """`within` and `pulses` belong to `when: start`, and nothing else does."""
        extra = (("within", self.within), ("pulses", self.pulses))
        if self.when is None:
            for key, given in extra:
                if given is not None:
                    yield Complaint((key,), "belongs to a line with 'when: start'", at_key=True)
            return
        lacking = [quoted(key) for key, given in extra if given is None]
        if lacking:
            yield Complaint(("when",), f"needs {' and '.join(lacking)} too")
        if self.rate is not None:
            text = "a line with 'when: start' is judged by its 'pulses', not by a rate"
            yield Complaint(("rate",), text, at_key=True)
        if self.within is not None and self.within.value == 0:
            yield Complaint(("within",), "nothing can happen in 0 s")
        if self.pulses is not None and not (self.pulses.low or self.pulses.high):
            yield Complaint(("pulses",), f"{self.pulses} holds for any line at all")


class Ratio(Section):
    """Counts of two lines, captured together: exact whatever the program and however the CPU is made to wait."""

    of: Net
    """The line that is counted."""
    to: Net
    """The line it is compared with."""
    limits: CountSpan = Field(alias="is")
    """Pulses of `of` for each pulse of `to`."""
    stage: LineStage
    """When it is looked at."""

    def check(self) -> Iterator[Complaint]:
        if self.of == self.to:
            yield Complaint(("to",), f"{self.to} in ratio to itself is always 1")


def each_line(rows: Mapping[str, Line]) -> dict[str, Line]:
    """Every line by its own name, ranges spread out; the first counts where a name comes twice."""
    lines: dict[str, Line] = {}
    for key, row in rows.items():
        for name, point in zip(spread(key), row.points, strict=False):
            lines.setdefault(name, row if len(row.points) == 1 else row.model_copy(update={"points": (point,)}))
    return lines


def line_complaints(rows: Mapping[str, Line], ratios: tuple[Ratio, ...], has_reset: bool) -> Iterator[Complaint]:
    """Ranges with too few points, names that come twice, ratios of lines that are not there."""
    owner: dict[str, str] = {}
    for key, row in rows.items():
        names = spread(key)
        if len(names) != len(row.points):
            text = f"{count_of(len(names), 'line')} and {count_of(len(row.points), 'point')}; write one point each"
            yield Complaint(("lines", key, "point"), text)
        for name in names:
            if name in owner:
                yield Complaint(("lines", key), f"{name} stands under '{owner[name]}' already", at_key=True)
            owner.setdefault(name, key)
        if row.when == "start" and not has_reset:
            yield Complaint(("lines", key, "when"), "counts from the release of the reset, and there is no 'reset'")
    for number, ratio in enumerate(ratios):
        for part, name in (("of", ratio.of), ("to", ratio.to)):
            if name not in owner:
                text = f"{quoted(name)} is not one of the lines; {choice_text(name, owner)}"
                yield Complaint(("ratios", number, part), text)


def count_of(number: int, word: str) -> str:
    """`1 line`, `8 lines`."""
    return f"{number} {word}{'' if number == 1 else 's'}"
