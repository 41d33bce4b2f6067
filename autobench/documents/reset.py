"""The reset of a board file: which line, how long it is held after power-on, and what releases it. Values only."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from autobench.documents.fields import Name, Point, SecondSpan
from autobench.documents.nets import Family, Net
from autobench.documents.rails import usual_inside
from autobench.documents.section import Complaint, Section

ResetSource = Literal["rc", "timer", "supervisor", "video chip", "keyboard controller"]


class Reset(Section):
    """The line that starts the board, captured from before power-on."""

    line: Net
    """Its net."""
    point: Point
    """Where it is measured."""
    active: Literal["low", "high"]
    """The level that holds the board in reset; it differs from chip to chip."""
    width: SecondSpan
    """Seconds from the rail being up to the release."""
    usual: SecondSpan | None = None
    """Seconds of the healthy boards seen so far."""
    rail: Name | None = None
    """The rail from whose rise it is counted; left out, the first one."""
    source: ResetSource | None = Field(None, alias="from")
    """What releases it, as under `architecture`."""
    family: Family = "NMOS"
    """Logic family whose levels count for what listens to it."""
    holds: Net | None = None
    """A line (of `lines`) that stands still as long as the CPU is held and moves once it runs: one that moves before
    the release shows a CPU that the reset does not reach."""

    def check(self) -> Iterator[Complaint]:
        yield from usual_inside(self.width, self.usual)
        if self.width.low is None or self.width.low <= 0 or self.width.high is None:
            text = "must have both ends above 0 s, such as '50 ms .. 500 ms'; a reset that never ends is none"
            yield Complaint(("width",), text)
