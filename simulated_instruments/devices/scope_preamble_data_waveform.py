"""How a simulated oscilloscope hands a record over: the part of it, its format, its ten-field preamble, its blocks.

It reads no commands and waits for nothing. The preamble speaks of the whole record (or screen), whatever part is read.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulated_instruments.devices.scope_preamble_data_converter import Acquisition, Codes, Converter
from simulated_instruments.devices.scope_preamble_data_setup import CENTRE, SCREEN_POINTS, Setup

FORMATS = {"BYTE": 0, "WORD": 1, "ASC": 2}
MODES = {"NORM": 0, "MAX": 1, "RAW": 2}
MOST_POINTS = {"BYTE": 250_000, "WORD": 125_000, "ASC": 15_625}  # of one read
EMPTY = "#9000000000"


def written(value: float) -> str:
    """A number as this oscilloscope answers it."""
    return f"{value:.6E}"


@dataclass
class Transfer:
    """The settings of the transfer, as after `*RST`. `start` and `stop` count points from 1, both included."""

    source: int = 1
    mode: str = "NORM"
    format: str = "BYTE"
    start: int = 1
    stop: int = SCREEN_POINTS

    def whole(self, running: bool) -> bool:
        """Whether the record is read, rather than the screen; `MAX` reads the record once there is one at rest."""
        return self.mode == "RAW" or (self.mode == "MAX" and not running)

    def preamble(self, setup: Setup | None, whole: bool) -> list[str]:
        """The ten fields; nothing but zeros follows the first two where there is no record."""
        fields = [str(FORMATS[self.format]), str(MODES[self.mode])]
        if setup is None:
            return fields + ["0"] * 8
        settings = setup.input(self.source)
        return [
            *fields,
            str(setup.points if whole else SCREEN_POINTS),
            str(setup.averages if setup.kind == "AVER" else 1),
            written(setup.interval if whole else setup.span / SCREEN_POINTS),
            written(setup.origin),
            "0",
            written(settings.step * settings.probe),
            str(settings.offset_codes),
            str(CENTRE),
        ]

    def part(self, points: int) -> slice | None:
        """The points to be read of so many; None if that is none, or more than one read may bring."""
        part = slice(self.start - 1, min(self.stop, points))
        return part if 0 < part.stop - part.start <= MOST_POINTS[self.format] else None

    def bytes(self, points: int) -> int:
        """The length of the data of a block with so many points, nearly so for text."""
        return points * {"BYTE": 1, "WORD": 2, "ASC": len(written(-1.0)) + 1}[self.format]

    def block(self, codes: Codes, setup: Setup) -> str:
        """The block with these codes, one character a byte."""
        if self.format == "ASC":
            settings = setup.input(self.source)
            volts = (codes.astype(np.float64) - settings.offset_codes - CENTRE) * (settings.step * settings.probe)
            data = ",".join(map(written, volts.tolist())).encode("ascii")
        else:
            data = codes.astype("<u2").tobytes() if self.format == "WORD" else codes.tobytes()
        # The length always has nine digits, which the standard allows.
        return f"#9{len(data):09d}{data.decode('latin-1')}"


def trace(acquisition: Acquisition, converter: Converter, channel: int, whole: bool) -> Codes:
    """The codes of a record, or of its 1200 points on the screen.

    The screen takes points out and so aliases again; with peak detection it keeps the extremes. A record of fewer
    points is drawn in steps.
    """
    codes = converter.codes(acquisition, channel)
    if whole:
        return codes
    points = len(codes)
    if acquisition.setup.kind == "PEAK" and points >= SCREEN_POINTS:
        pairs = (np.arange(SCREEN_POINTS // 2) * (points // 2)) // (SCREEN_POINTS // 2)
        screen = np.empty(SCREEN_POINTS, np.uint8)
        screen[0::2] = np.minimum.reduceat(codes[0::2], pairs)
        screen[1::2] = np.maximum.reduceat(codes[1::2], pairs)
        return screen
    return codes[(np.arange(SCREEN_POINTS) * points) // SCREEN_POINTS]
