"""The section of a bench file on the reference plug: what stands in place of a board while the bench is proved."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from pydantic import Field

from autobench.documents.fields import Name, Ohms, Point
from autobench.documents.section import Complaint, Section

LEAST_LOAD = 6.0  # ohm


class Plugged(Section):
    """Where a rail comes out of the reference plug, and what it is loaded with there."""

    point: Point
    """The pin of the plug that the rail is on."""
    load: Ohms | None = None
    """The resistor from there to ground; without one, nothing."""


class ReferencePlug(Section):
    """What stands in place of a board while the bench is proved: the supply's plugs, each on a resistor."""

    plug: Name
    """Its name; under `fixtures` it may have a plate as a board has."""
    ground: Point
    """The pin of the plug that is 0 V."""
    rails: Annotated[dict[Name, Plugged], Field(min_length=1)]
    """Rail to its pin."""

    def check(self) -> Iterator[Complaint]:
        for rail, plugged in self.rails.items():
            if plugged.load is not None and plugged.load.value < LEAST_LOAD:
                text = f"{plugged.load} is too little: below {LEAST_LOAD:g} ohm a rail counts as shorted"
                yield Complaint(("rails", rail, "load"), text)
