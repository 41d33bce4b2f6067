"""The section of a driver file that says what a counter counts and how well. Ratings and manners only, no command."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from autobench.documents.driver_sections import Numbers, Share
from autobench.documents.fields import HertzSpan, Ohms, Seconds, SecondSpan, YesNo, quantity_in
from autobench.documents.section import Complaint, Section
from autobench.quantity import Quantity


class CounterTrust(Section):
    """Limits of error of a counter as its data sheet states them.

    `time base` is relative. A counter that measures the time of whole periods is uncertain by its `resolution` within
    each gate; one that only counts events, by one of them.
    """

    time_base: Share
    resolution: Annotated[Quantity, quantity_in("s", least=0.0)] | None = None  # of the time of a gate
    one_count: YesNo = False  # it counts whole events, so that one more or less in a gate makes no difference

    def check(self) -> Iterator[Complaint]:
        if (self.resolution is None) == (not self.one_count):
            yield Complaint((), "says how finely it counts by either 'resolution' or 'one count: yes'")


class Counts(Section):
    """What a counter counts. `rates` and `gates` have both ends; `input` is the resistance while the input is fixed."""

    channels: Numbers
    rates: HertzSpan  # events a second
    gates: SecondSpan  # for how long it counts
    input: Ohms
    settle: Seconds = Quantity(0.0, "s")  # after a change of level or channel
    trust: CounterTrust  # limits of error

    def check(self) -> Iterator[Complaint]:
        for key, span in (("rates", self.rates), ("gates", self.gates)):
            if span.low is None or span.high is None or span.low <= 0:
                yield Complaint((key,), "has both ends, above zero; write it as 'low .. high'")
