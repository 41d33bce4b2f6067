"""When a planned step is taken, and when it is taken again. Plain frozen data; who decides is the runner."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Condition:
    """A step is taken only if the worst reading of `steps` has one of `verdicts`; `of` are the words of the file."""

    of: str
    steps: frozenset[str]
    verdicts: tuple[str, ...]


@dataclass(frozen=True)
class Again:
    """A step is taken again after `every` s until its worst reading has one of `verdicts`, for `within` s at most."""

    verdicts: tuple[str, ...]
    every: float
    within: float
