"""What the codes of a scope's record mean, by ten fields or seven numbers. Numbers in and out; it reads no instrument.

Dialects share the ten fields and differ in the ninth, the vertical origin: some give it in codes, some in volts. A
driver file says which; by the wrong rule a whole trace is shifted, unless its offset is zero.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from autobench.errors import ProtocolError

FIELDS = 10
SEVEN = 7
BYTES = 0  # first field of a record sent with one byte a point
MOST_POINTS = 1e9

Origin = Literal["codes", "volts"]


@dataclass(frozen=True)
class Preamble:
    """The fields in their order. Increments and origins are per point in s and per code in V.

    `y_origin` is in codes or in V, by the dialect. Raises `ProtocolError` for numbers that describe no record.
    """

    form: float
    kind: float
    points: float
    count: float
    x_increment: float
    x_origin: float
    x_reference: float
    y_increment: float
    y_origin: float
    y_reference: float

    def __post_init__(self) -> None:
        if not all(math.isfinite(number) for number in vars(self).values()):
            raise ProtocolError("one of the preamble's ten fields is no number")
        if self.points != int(self.points) or not 1 <= self.points <= MOST_POINTS:
            raise ProtocolError(f"a record of {self.points:g} points makes no sense")
        if self.x_increment <= 0.0 or self.y_increment <= 0.0:
            raise ProtocolError(
                f"{self.x_increment:g} s from point to point and {self.y_increment:g} V from code to code make no sense"
            )

    @property
    def start(self) -> float:
        """Time of the first point in s, from the trigger: t = (i - x reference) · x increment + x origin."""
        return self.x_origin - self.x_reference * self.x_increment

    def scaling(self, origin: Origin) -> tuple[float, float]:
        """Reference (codes) and offset (V) such that volts = (code - reference) · y increment + offset.

        An origin in codes: V = (code - y origin - y reference) · y increment; one in volts: V = (code - y reference) ·
        y increment + y origin. Both from memory and common practice; instruments' manuals give one or the other.
        """
        if origin == "codes":
            return self.y_origin + self.y_reference, 0.0
        return self.y_reference, self.y_origin

    def volts(self, code: float, origin: Origin) -> float:
        """Volts of one code."""
        reference, offset = self.scaling(origin)
        return (code - reference) * self.y_increment + offset


def preamble_of_seven(numbers: tuple[float, ...]) -> Preamble:
    """The preamble for seven numbers: points, seconds from point to point, a time, the trigger's point, volts of a
    code, code of the zero line, volts that were taken off.

    V = (code - zero line) · volts of a code + volts taken off. The time is that of the first point in most
    instruments, t = time + i · interval, and in others that of the trigger's point, t = time + (i - trigger) · interval
    (instruments' manuals give one or the other): at the trigger's point the time must be nought within a point, which
    tells the two apart. Codes count from the middle of the screen. Raises `ProtocolError` for numbers that fit neither.
    """
    if len(numbers) != SEVEN:
        raise ProtocolError(f"{SEVEN} numbers say what the codes mean, these are {len(numbers)}")
    points, interval, told, trigger, step, zero, taken_off = numbers
    first = told
    if all(map(math.isfinite, numbers)) and abs(told) <= interval < abs(told + trigger * interval):
        first = told - trigger * interval
    elif trigger and not abs(told + trigger * interval) <= interval:
        raise ProtocolError(f"the time at the trigger's point, number {trigger:g}, is not nought by either rule")
    return Preamble(BYTES, 0, points, 1, interval, first, 0, step, taken_off - zero * step, 0)


def preamble_of(numbers: tuple[float, ...]) -> Preamble:
    """The preamble for its ten numbers; raises `ProtocolError` for any other count."""
    if len(numbers) != FIELDS:
        raise ProtocolError(f"a preamble has {FIELDS} fields, this one {len(numbers)}")
    return Preamble(*numbers)
