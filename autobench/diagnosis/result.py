"""What a diagnosis comes out as. Values only."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Suspect:
    """A part or net that may be to blame.

    `fault` is the likeliest one there; `probability` that of the place as a whole. `for_` and `against` quote readings.
    For shorts, joints and tracks the net counts, and `part` may be unknown.
    """

    part: str | None
    net: str | None
    fault: str
    probability: float
    for_: tuple[str, ...]
    against: tuple[str, ...]

    @property
    def place(self) -> str:
        """The part, with its net where that says more."""
        return " ".join(word for word in (self.part, self.net) if word) or self.fault


@dataclass(frozen=True)
class NextCheck:
    """The check that tells the leaders apart best for its time and risk; `minutes` by hand.

    `kind` is `look`, `scan`, `again`, `compare`, `across`, `between`, `reseat`, `swap`, `lift`, `cool`, `feel` or
    `ohms`; `part` and `net` say where, `legs` are the nets and points of a scan, or two by two those of `between`. It
    is `repair` where nothing that can be done tells apart any more.
    `name` is that by which it is known once it was made.
    """

    what: str
    point: str | None
    minutes: float
    why: str
    kind: str = "repair"
    part: str = ""
    net: str = ""
    other: str | None = None
    legs: tuple[tuple[str, str], ...] = ()
    name: tuple[str, str] = ("", "")


@dataclass(frozen=True)
class Repair:
    """A repair that may cure the board: where, what is done, its chance and its minutes."""

    place: str
    what: str
    probability: float
    minutes: float


@dataclass(frozen=True)
class Diagnosis:
    """Suspects, likeliest first, at most ten, cleared ones with the reading that cleared them.

    `told_apart` is false where the leader is not sure enough or others explain every reading as well; `group` then
    names what the readings so far cannot tell apart. `repairs` are in the order in which they cost least: by chance
    over minutes.
    """

    suspects: tuple[Suspect, ...] = ()
    told_apart: bool = True
    group: tuple[str, ...] = ()
    next_check: NextCheck | None = None
    repairs: tuple[Repair, ...] = ()
