"""The binary descriptor of the oscilloscopes O-3, laid out by the template of 346 bytes, and the part of a record it is
about.

It reads no commands and waits for nothing.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, replace

from simulated_instruments.devices.scope_preamble_data_setup import Setup

LENGTH = 346
COUPLINGS = {"DC": 2, "AC": 3, "GND": 1}  # of the enumeration in the template
BITS = 8


@dataclass(frozen=True)
class Part:
    """Which points are sent: every `every`th (0: each), at the most `points` (0: all), from `first` (0: the first)."""

    every: int = 0
    points: int = 0
    first: int = 0
    segment: int = 0

    def changed(self, name: str, value: int) -> Part:
        """The same with one of `SP`, `NP`, `FP`, `SN` set."""
        return replace(self, **{{"SP": "every", "NP": "points", "FP": "first", "SN": "segment"}[name]: value})

    def of(self, points: int) -> slice:
        """The places of a record of so many points."""
        step = max(self.every, 1)
        end = points if not self.points else min(points, self.first + self.points * step)
        return slice(min(self.first, end), end, step)

    def __str__(self) -> str:
        return f"SP,{self.every},NP,{self.points},FP,{self.first},SN,{self.segment}"


def descriptor(setup: Setup, channel: int, part: slice, low_first: bool, own_gain: bool) -> bytes:
    """The descriptor of one channel's record: V = gain x code - offset, t = first + i x interval.

    Without `own_gain` the field holds the volts of a division, as budget instruments send it.
    """
    settings = setup.input(channel)
    count = len(range(*part.indices(setup.points)))
    step = settings.step * settings.probe
    gain = step if own_gain else settings.scale
    data = bytearray(LENGTH)
    order = "<" if low_first else ">"

    def put(place: int, kind: str, value: float | bytes) -> None:
        struct.pack_into(order + kind, data, place, value)

    for place, kind, value in (
        (0, "16s", b"WAVEDESC"),
        (16, "16s", b"TEMPLATE_346"),
        (32, "H", 0),  # one byte a code
        (34, "H", int(low_first)),
        (36, "i", LENGTH),
        (60, "i", count),
        (76, "16s", b"O-3"),
        (116, "i", count),
        (120, "i", setup.points),
        (128, "i", max(count - 1, 0)),
        (132, "i", part.start),
        (136, "i", part.step),
        (144, "i", 1),
        (148, "i", 1),
        (156, "f", gain),
        (160, "f", settings.offset_codes * step),
        (164, "f", 127.0),
        (168, "f", -127.0),
        (172, "H", BITS),
        (174, "H", 1),
        (176, "f", setup.interval * part.step),
        (180, "d", setup.origin + part.start * setup.interval),
        (196, "48s", b"V"),
        (244, "48s", b"S"),
        (312, "f", setup.span),
        (326, "H", COUPLINGS[settings.coupling]),
        (328, "f", settings.probe),
        (334, "H", int(settings.limited)),
        (344, "H", channel - 1),
    ):
        put(place, kind, value)
    return bytes(data)
