"""The pattern of every mapping in a file: closed, frozen, keys written with spaces, checks that point at a key.

A section knows nothing of files and lines; `autobench.documents.reading` puts the places to its complaints.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, ValidationInfo, model_validator
from pydantic_core import PydanticCustomError


@dataclass(frozen=True)
class Complaint:
    """One thing that does not fit. `route` leads from the section to the key concerned, in the words of the file."""

    route: tuple[str | int, ...]
    text: str
    at_key: bool = False  # point at the key at the end of the route, not at its value


def spaced(name: str) -> str:
    """The key of a file for the name of a field: `when_off` is written `when off`."""
    return name.replace("_", " ")


class Section(BaseModel):
    """A mapping of a file. Sub-classes declare the keys as fields and may override `check`."""

    model_config = ConfigDict(extra="forbid", frozen=True, alias_generator=spaced)

    def check(self) -> Iterator[Complaint]:
        """What does not fit between fields that are each right by themselves."""
        return iter(())

    @classmethod
    def key_names(cls) -> list[str]:
        """The keys this section may have, in their order."""
        return [info.alias or name for name, info in cls.model_fields.items()]

    @model_validator(mode="before")
    @classmethod
    def note_keys(cls, data: Any, info: ValidationInfo) -> Any:
        """Tell the reader which keys are allowed in this very mapping, for its message about an unknown one."""
        if isinstance(data, dict) and isinstance(info.context, dict):
            known: list[str] = info.context.setdefault(id(data), [])
            known.extend(key for key in cls.key_names() if key not in known)
        return data

    @model_validator(mode="after")
    def complain(self) -> Self:
        """Raise what `check` finds, all of it at once."""
        complaints = list(self.check())
        if complaints:
            raise PydanticCustomError("complaints", "does not fit", {"complaints": complaints})
        return self
