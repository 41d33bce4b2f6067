"""What a board file says of its bus and memory beyond single lines: delays, refresh; and what follows from its parts.

Values only. Which part drives which line while which other line says so follows from the parts; nothing is measured
here and no bench is known.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pydantic import Field

from autobench.documents.fields import HertzSpan, SecondSpan
from autobench.documents.lines import Line, LineStage
from autobench.documents.nets import Level, Net
from autobench.documents.parts import Part
from autobench.documents.section import Complaint, Section
from autobench.documents.words import choice_text, quoted


class Delay(Section):
    """Time from the fall of one line to the next fall of another."""

    start: Net = Field(alias="from")
    """The line that falls first."""
    end: Net = Field(alias="to")
    """The line that falls after it."""
    limits: SecondSpan = Field(alias="is")
    """How long that takes, every time."""
    stage: LineStage
    """When it is looked at."""

    def check(self) -> Iterator[Complaint]:
        if self.start == self.end:
            yield Complaint(("to",), f"{self.end} comes after itself at once")


class Refresh(Section):
    """How it shows that the memory is refreshed, and by whom: a strobe that comes while another line says so."""

    strobe: Net
    """The strobe that refreshes a row each time."""
    during: dict[Net, Level] = Field(alias="while", min_length=1, max_length=1)
    """The line, and its level, by which the refresher's own strobes are told from others."""
    limits: HertzSpan = Field(alias="is")
    """Rows refreshed in a second."""

    @property
    def line(self) -> str:
        """The line that tells."""
        return next(iter(self.during))

    @property
    def level(self) -> Level:
        """Its level then."""
        return next(iter(self.during.values()))


@dataclass(frozen=True)
class Driver:
    """A part that drives `line` while `select` is low and, where there is one, `gate` has its level."""

    part: str
    line: str
    select: str
    gate: tuple[str, Level] | None
    stage: LineStage


# What says that an access reads, by class of CPU.
READS: Mapping[str, tuple[str, Level]] = {"R": ("RD", "low"), "S": ("RW", "high")}
DRIVING = ("rom", "data buffer", "ram")


def drivers_of(parts: Mapping[str, Part], lines: Mapping[str, Line]) -> tuple[Driver, ...]:
    """Every part that drives a data line when it is told to, as far as the lines that tell are measured."""
    cpu = next((part for part in parts.values() if part.kind == "cpu"), None)
    reads = READS.get(cpu.cpu_class or "") if cpu is not None else None
    found = []
    for name, part in parts.items():
        if part.kind not in DRIVING or part.select not in lines:
            continue
        # A memory chip is told by its own strobes, whoever reads it.
        own: tuple[str, Level] | None = ("WE", "high") if "WE" in part.ins else reads
        gate = own if own is not None and own[0] in lines else None
        for net in (*part.data, *part.bit):
            if net in lines and lines[net].side == "data":
                found.append(Driver(name, net, part.select or "", gate, lines[net].stage))
    return tuple(found)


def neighbours(lines: Mapping[str, Line]) -> tuple[tuple[str, str], ...]:
    """Lines of one bus that lie side by side: `D3` and `D4`, as far as both are measured in the stage of the bus."""
    buses = [name for name, line in lines.items() if line.stage == "bus" and line.side in ("address", "data")]
    pairs = []
    for name in buses:
        letters = name.rstrip("0123456789")
        number = name[len(letters) :]
        above = f"{letters}{int(number) + 1}" if number else ""
        if above in buses:
            pairs.append((name, above))
    return tuple(pairs)


def bus_complaints(
    lines: Mapping[str, Line], delays: tuple[Delay, ...], refresh: Refresh | None
) -> Iterator[Complaint]:
    """Delays and refreshes of lines that are not there."""
    named: list[tuple[tuple[str | int, ...], str]] = []
    for number, one in enumerate(delays):
        named += [(("delays", number, "from"), one.start), (("delays", number, "to"), one.end)]
    if refresh is not None:
        named += [(("refresh", "strobe"), refresh.strobe), (("refresh", "while"), refresh.line)]
    for route, net in named:
        if net not in lines:
            yield Complaint(route, f"{quoted(net)} is not one of the lines; {choice_text(net, lines)}")
