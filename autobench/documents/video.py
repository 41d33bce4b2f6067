"""The video of a board file: where the sync is and at which rates, and what must come out of the board. Values only."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from autobench.documents.fields import HertzSpan, Ohms, Point, SecondSpan, VoltSpan
from autobench.documents.nets import Family, Net
from autobench.documents.section import Complaint, Section
from autobench.quantity import Span


class SyncNet(Section):
    """A net that carries line sync or field sync only."""

    net: Net
    """Its net."""
    point: Point
    """Where it is measured."""


class Sync(Section):
    """Sync inside the board: one composite net, or one net for the lines and one for the fields."""

    net: Net | None = None
    """The net that carries both."""
    point: Point | None = None
    """Where it is measured."""
    line: SyncNet | None = None
    """The net of line sync, where it has its own."""
    field: SyncNet | None = None
    """The net of field sync, where it has its own."""
    line_rate: HertzSpan
    """Lines a second."""
    field_rate: HertzSpan
    """Fields a second."""
    pulse: SecondSpan
    """Width of a line sync pulse."""
    active: Literal["low", "high"] | None = None
    """The level of a sync pulse; left out: the one that is rarer."""
    family: Family = "LS"
    """Logic family whose levels count on these nets."""

    @property
    def composite(self) -> bool:
        """Whether lines and fields come on one net."""
        return self.line is None

    @property
    def line_source(self) -> SyncNet:
        """Where the line sync is."""
        return self.line or SyncNet.model_construct(net=self.net, point=self.point)

    @property
    def field_source(self) -> SyncNet:
        """Where the field sync is: the same net as the line sync where it is composite."""
        return self.field or self.line_source

    def check(self) -> Iterator[Complaint]:
        one, two = [self.net, self.point], [self.line, self.field]
        if any(one) == any(two) or not (all(one) or all(two)):
            text = "takes 'net' and 'point' for composite sync, or 'line' and 'field' where each has its own net"
            yield Complaint((), text)
        for key, span in (("line rate", self.line_rate), ("field rate", self.field_rate)):
            yield from both_ends(key, span, "15.625 kHz ± 1 %" if key == "line rate" else "49.7 Hz .. 50.3 Hz")
        yield from both_ends("pulse", self.pulse, "3.5 µs .. 6 µs")
        if self.field_rate.high is not None and self.line_rate.low is not None:
            if self.field_rate.high >= self.line_rate.low:
                yield Complaint(("field rate",), f"{self.field_rate} is no slower than the line rate, {self.line_rate}")
            elif self.pulse.high is not None and self.pulse.high * self.line_rate.low >= 1:
                yield Complaint(("pulse",), f"{self.pulse} is longer than a whole line")


class PictureOutput(Section):
    """What leaves the board for a display."""

    net: Net
    """Its net."""
    point: Point
    """Where it is measured."""
    terminated: Ohms
    """The load these volts are for; without it an output of the same source resistance gives twice as much."""
    sync_amplitude: VoltSpan
    """Volts from the sync tip to blanking."""
    amplitude: VoltSpan
    """Volts from the sync tip to the brightest."""
    line_rate: HertzSpan | None = None
    """Lines a second, where not those of the sync."""

    def check(self) -> Iterator[Complaint]:
        if self.terminated.value <= 0:
            yield Complaint(("terminated",), "a load of 0 ohm is a short; write what the display has, such as 75 ohm")
        sync, whole = self.sync_amplitude, self.amplitude
        if sync.low is None or sync.low <= 0:
            yield Complaint(("sync amplitude",), "must have a lower end above 0 V, since a dead output has none")
        elif whole.high is not None and whole.high <= sync.low:
            yield Complaint(("amplitude",), f"{whole} leaves no room for a sync of {sync}")


class Video(Section):
    """Sync and picture."""

    sync: Sync | None = None
    """Sync inside the board."""
    output: PictureOutput | None = None
    """What leaves the board."""

    @property
    def output_line_rate(self) -> Span | None:
        """Lines a second at the output: its own figure, else that of the sync."""
        if self.output is not None and self.output.line_rate is not None:
            return self.output.line_rate
        return self.sync.line_rate if self.sync is not None else None

    def sites(self) -> Iterator[tuple[str, str, tuple[str, ...]]]:
        """Net, point and route of each place where video is measured."""
        if self.sync is not None:
            for key, source in (("line", self.sync.line), ("field", self.sync.field)):
                if source is not None:
                    yield source.net, source.point, ("sync", key, "point")
            if self.sync.net is not None and self.sync.point is not None:
                yield self.sync.net, self.sync.point, ("sync", "point")
        if self.output is not None:
            yield self.output.net, self.output.point, ("output", "point")


def both_ends(key: str, span: Span, such: str) -> Iterator[Complaint]:
    """Complains where a span has an open end or reaches down to nothing."""
    if span.low is None or span.low <= 0 or span.high is None:
        yield Complaint((key,), f"must have both ends above 0, such as '{such}'")
