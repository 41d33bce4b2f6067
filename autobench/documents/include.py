"""The entry of a sequence that stands for the steps of another one; `autobench.documents.included` finds those."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from autobench.documents.conditions import Conditions
from autobench.documents.fields import Listed, Name, Written, WrongTextError
from autobench.documents.section import Section
from autobench.documents.words import quoted

Stage = Literal["ohms", "power", "rails", "clocks", "reset", "video", "cpu", "bus", "memory"]


def read_sequence_name(text: str) -> str:
    """The name of a sequence, or the path of its file seen from the including one."""
    if not text.strip() or not text.isprintable() or text != text.strip():
        raise WrongTextError(f"{quoted(text)} is neither the name of a sequence nor a file")
    return text


class Include(Section):
    """The steps of another sequence, in its order, at this place."""

    include: Annotated[str, Written(read_sequence_name)]
    """Its name, or its file; one beside this file comes before a shipped one."""
    stages: Annotated[tuple[Stage, ...], Listed()] = ()
    """Only the steps of these stages; left out, all of them."""
    leave_out: Annotated[tuple[str, ...], Listed()] = ()
    """Names of steps that are left out, as they are written there."""
    called: Name | None = None
    """A word put before the name of each step, so that a sequence can be included twice."""
    only_if: Conditions = Field(default_factory=dict)
    """As for a step; counts for every step that is included."""
