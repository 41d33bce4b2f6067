"""How a serial line is set: speed and frame, as a bench file writes them. Text in, values out; opens nothing."""

from __future__ import annotations

import re
from dataclasses import dataclass

from autobench.documents.fields import WrongTextError
from autobench.documents.words import quoted

LINE = re.compile(r"(\d{2,7})(?: ([5-8])([NEO])([12]))?", re.ASCII)


@dataclass(frozen=True)
class SerialLine:
    """Speed in baud, data bits, parity (`N`, `E`, `O`), stop bits."""

    baud: int = 9600
    bits: int = 8
    parity: str = "N"
    stops: int = 1

    def __str__(self) -> str:
        return f"{self.baud} {self.bits}{self.parity}{self.stops}"


def read_serial_line(text: str) -> SerialLine:
    """`9600 8N1`, or the speed alone."""
    found = LINE.fullmatch(text)
    if found is None:
        raise WrongTextError(f"{quoted(text)} is no setting of a serial line; write it like '9600 8N1'")
    baud, bits, parity, stops = found.groups()
    return SerialLine(int(baud), int(bits or 8), parity or "N", int(stops or 1))
