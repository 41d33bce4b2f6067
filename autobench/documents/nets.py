"""Names of nets, points, parts and pins as a board file writes them: one, several with spaces between, or `D0..D7`.

Texts in, names out. What a net is joined to is the business of `autobench.documents.wiring`.
"""

from __future__ import annotations

import re
from typing import Annotated, Literal

from autobench.documents.fields import POINT, Written, WrongTextError, read_part, read_point
from autobench.documents.words import quoted

GROUND = "0V"
MOST_NAMES = 64  # in one range or list

NET = re.compile(r"[/~]?[A-Za-z0-9+\-][A-Za-z0-9_+\-#]{0,19}")
PIN = re.compile(r"[A-Za-z0-9]{1,4}")
NUMBERED = re.compile(r"(.*?)(0|[1-9][0-9]{0,2})")
BETWEEN = re.compile(r"[\s,]+")

Family = Literal["TTL", "LS", "HCT", "HC", "NMOS", "CMOS"]
Level = Literal["low", "high"]


def spread(text: str, *, falling: bool = False) -> tuple[str, ...]:
    """`D0..D7` as eight names, anything else as itself; raises `WrongTextError`. `18..11` only where `falling`."""
    left, dots, right = text.partition("..")
    if not dots:
        return (text,)
    first, last = NUMBERED.fullmatch(left), NUMBERED.fullmatch(right)
    if first is None or last is None or first[1] != last[1]:
        raise WrongTextError(f"{quoted(text)} is not a range; write it like D0..D7")
    start, end = int(first[2]), int(last[2])
    if end < start and not falling:
        raise WrongTextError(f"{quoted(text)} is the wrong way round: the lower number comes first")
    if abs(end - start) >= MOST_NAMES:
        raise WrongTextError(f"{quoted(text)} is too long a range; at most {MOST_NAMES} are allowed")
    step = -1 if end < start else 1
    return tuple(f"{first[1]}{number}" for number in range(start, end + step, step))


def several(text: str, *, falling: bool = False) -> tuple[str, ...]:
    """`WAIT BUSRQ D0..D7` as ten names; raises `WrongTextError` for none, too many, or one that comes twice."""
    words = [word for word in BETWEEN.split(text) if word]
    if not words:
        raise WrongTextError("nothing is written here")
    names = tuple(name for word in words for name in spread(word, falling=falling))
    if len(names) > MOST_NAMES:
        raise WrongTextError(f"{quoted(text)} has {len(names)} names; at most {MOST_NAMES} are allowed")
    twice = next((name for number, name in enumerate(names) if name in names[:number]), None)
    if twice is not None:
        raise WrongTextError(f"{quoted(twice)} is written twice")
    return names


def read_net(text: str) -> str:
    """The name of a net, `CPUCLK`, `+5V`, `/RD`."""
    if not NET.fullmatch(text):
        raise WrongTextError(f"{quoted(text)} is not a net; write letters, digits and _ + - #, such as CPUCLK or +5V")
    return text


def read_net_range(text: str) -> str:
    """A net or a range of nets, as written."""
    for name in spread(text):
        read_net(name)
    return text


def read_nets(text: str) -> tuple[str, ...]:
    """Nets, with spaces between."""
    names = several(text)
    for name in names:
        read_net(name)
    return names


def read_points(text: str) -> tuple[str, ...]:
    """Points, with spaces between: one for each line of a range."""
    names = tuple(word for word in BETWEEN.split(text) if word)
    if not names:
        raise WrongTextError("nothing is written here; a point is wanted, such as U1.27")
    for name in names:
        read_point(name)
    return names


def read_part_range(text: str) -> str:
    """A part or a range of parts, `U11..U18`, as written."""
    for name in spread(text):
        read_part(name)
    return text


def read_pins(text: str) -> tuple[str, ...]:
    """Numbers of pins, with spaces between; ranges may fall: `18..11`."""
    names = several(text, falling=True)
    for name in names:
        if not PIN.fullmatch(name):
            raise WrongTextError(f"{quoted(name)} is not a pin; write its number, such as 14")
    return names


NAMES_SCHEMA = {"type": "string", "description": "names with spaces between, or a range such as D0..D7"}

Net = Annotated[str, Written(read_net, {"type": "string", "pattern": f"^{NET.pattern}$"})]
NetRange = Annotated[str, Written(read_net_range)]
Nets = Annotated[tuple[str, ...], Written(read_nets, NAMES_SCHEMA, longest=400)]
Points = Annotated[
    tuple[str, ...], Written(read_points, {"type": "string", "description": f"points ({POINT.pattern})"}, longest=400)
]
PartRange = Annotated[str, Written(read_part_range)]
Pins = Annotated[tuple[str, ...], Written(read_pins, NAMES_SCHEMA, longest=400)]
