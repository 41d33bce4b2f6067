"""The section of a driver file that says how an oscilloscope samples, scales and hands over what it captured.

Ratings and manners only: no command stands here, and which of them a capture uses is the business of the role.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Annotated, Literal

from pydantic import Field

from autobench.documents.driver_sections import Amount, Numbers, Share
from autobench.documents.fields import Listed, Seconds, SecondSpan, VoltSpan, YesNo, quantity_in, whole
from autobench.documents.section import Complaint, Section
from autobench.quantity import Quantity

MOST_CHANNELS = 64
MOST_POINTS = 10**9

InUse = Annotated[int, whole(1, MOST_CHANNELS)]
Points = Annotated[int, whole(1, MOST_POINTS)]
Depths = Annotated[tuple[Points, ...], Listed(), Field(min_length=1)]
Rate = Annotated[Quantity, quantity_in("Sa/s", least=1.0)]


class Divisions(Section):
    """The grid of the screen."""

    vertical: Annotated[int, whole(1, 40)]  # divisions from bottom to top
    horizontal: Annotated[int, whole(1, 40)]  # divisions from left to right


class ScopeTrust(Section):
    """Limits of error of an oscilloscope as its data sheet states them.

    `of reading` and `of full scale` (all vertical divisions) make the gain's, `of division` and `plus` the offset's;
    `plus` is at the connector, so a probe multiplies it. `time base` is relative.
    """

    of_reading: Share = 0.0
    of_full_scale: Share = 0.0
    of_division: Share = 0.0
    plus: Amount | None = None  # a fixed amount at the connector
    time_base: Share

    def check(self) -> Iterator[Complaint]:
        if not (self.of_reading or self.of_full_scale):
            yield Complaint((), "says nothing about the gain; give 'of reading' or 'of full scale'")
        if not (self.of_division or self.plus):
            yield Complaint((), "says nothing about the offset; give 'of division' or 'plus'")
        if self.plus is not None and self.plus.unit != "V":
            yield Complaint(("plus",), "must be in V")


class Samples(Section):
    """How an oscilloscope samples and what its codes mean.

    `scale` are its volts per division at the connector and `time scale` its seconds per division, both in steps of
    1, 2 and 5. `memory` and `highest rate` go by how many channels are on. `origin` says in what the preamble gives
    its vertical origin, which decides the rule from code to volts; `positive offset` which way it moves the trace.
    """

    channels: Numbers
    divisions: Divisions  # of the screen
    codes: Annotated[int, whole(1, 100)]  # a division
    bits: Annotated[int, whole(4, 8)]  # of a code as it is sent, in one byte
    signed: YesNo = False  # codes are whole numbers with a sign, nought in the middle of the screen
    clips_below: Annotated[int, whole(0, 20)] = 0  # the code at which it clips at the bottom, from the lowest
    scale: VoltSpan
    time_scale: SecondSpan
    memory: Annotated[dict[InUse, Depths], Field(min_length=1)]  # points of a record, by channels on
    highest_rate: Annotated[dict[InUse, Rate], Field(min_length=1)]  # sample rate, by channels on
    chunk: Points  # points of one block
    thins: YesNo = False  # whether a longer record is thinned out to the points asked for when it is read
    origin: Literal["codes", "volts"] | None = None  # what field nine of a preamble of ten fields is in
    positive_offset: Literal["up", "down"]  # which way it moves the trace
    position: Annotated[int, whole(1, 20)] | None = None  # divisions it can be moved, where no offset in volts does it
    probe: Literal["factor", "gain"]  # what a probe by ten is called
    settle: Seconds = Quantity(0.0, "s")  # after a change of scale or offset
    pause: Seconds = Quantity(0.0, "s")  # between the blocks of two channels
    trust: ScopeTrust  # limits of error

    @property
    def full_scale(self) -> int:
        """The highest code."""
        return (1 << self.bits) - 1

    def depths(self, in_use: int) -> tuple[int, ...]:
        """Memory depths in points that can be had with `in_use` channels on, the smallest first."""
        return self.memory[covering(self.memory, in_use)]

    def fastest(self, in_use: int) -> float:
        """Highest sample rate with `in_use` channels on, in Sa/s."""
        return self.highest_rate[covering(self.highest_rate, in_use)].value

    def check(self) -> Iterator[Complaint]:
        for key, span in (("scale", self.scale), ("time scale", self.time_scale)):
            if span.low is None or span.high is None or span.low <= 0:
                yield Complaint((key,), "has both ends, above zero; write it as 'low .. high'")
        if self.codes * self.divisions.vertical > self.full_scale + 1:
            yield Complaint(("codes",), f"{self.bits} bits have too few codes for {self.divisions.vertical} divisions")
        for key, table in (("memory", self.memory), ("highest rate", self.highest_rate)):
            if list(table) != sorted(table):
                yield Complaint((key,), "stands from one channel upwards", at_key=True)
            elif max(table) != len(self.channels):
                text = f"must say what holds with all {len(self.channels)} channels on, and no more than those"
                yield Complaint((key,), text, at_key=True)
        for in_use, depths in self.memory.items():
            if list(depths) != sorted(set(depths)):
                yield Complaint(("memory", str(in_use)), "depths stand from the smallest up")


def covering(table: Collection[int], in_use: int) -> int:
    """The entry that holds for `in_use` channels: the smallest number not below it; `ValueError` beyond the largest."""
    for number in table:
        if number >= in_use:
            return number
    raise ValueError(f"{in_use} channels are on; there are {max(table)}")
