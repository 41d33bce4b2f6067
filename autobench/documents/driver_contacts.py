"""The section of a driver file about the channels of a relay multiplexer: which there are, their names, how fast.

It checks itself alone; nothing here is executed and nothing talks to an instrument.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from autobench.documents.driver_sections import MOST_NUMBERS, PLACEHOLDER, Line, Numbers, Separator
from autobench.documents.fields import AmpSpan, Seconds, whole
from autobench.documents.section import Complaint, Section

POSITIONS_A_SLOT = 100  # channel = 100 x slot + position


class Contacts(Section):
    """The channels of a relay multiplexer and how fast they move, each up to the end of the bounce."""

    numbers: Numbers
    between: Separator = ","  # between two channels in {channels}
    through: Separator | None = None  # what stands between the ends of a run, where the dialect has such a thing
    called: Line | None = None  # how a channel is written, by {slot} and {position}; its number where not given
    counted_from: Annotated[int, whole(0, 1)] | None = None  # written by its place in `numbers`, the first being this
    at_once: Annotated[int, whole(1, MOST_NUMBERS)] | None = None  # how many can be closed; any where not given
    operate: Seconds
    release: Seconds
    amps: AmpSpan  # what a contact may switch

    def name_of(self, number: int) -> str:
        """A channel as a line has it; raises `ValueError` for a number that is none."""
        if self.counted_from is not None:
            return str(self.numbers.index(number) + self.counted_from)
        if self.called is None:
            return str(number)
        slot, position = divmod(number, POSITIONS_A_SLOT)
        return self.called.replace("{slot}", str(slot)).replace("{position}", str(position))

    def check(self) -> Iterator[Complaint]:
        if self.called is not None and set(PLACEHOLDER.findall(self.called)) != {"slot", "position"}:
            yield Complaint(("called",), "needs {slot} and {position}, and nothing else in braces")
        if self.called is not None and self.counted_from is not None:
            yield Complaint(("counted from",), "a channel is written in one way; delete this or 'called'", at_key=True)
