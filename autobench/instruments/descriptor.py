"""The binary descriptor of a scope's record, as templates lay it out: bytes in, what the codes mean out.

The layout is that of the template of 346 bytes (remote-control manuals of that family of oscilloscopes). It reads no
instrument.
"""

from __future__ import annotations

import struct

import numpy as np

from autobench.errors import ProtocolError
from autobench.instruments.preamble import BYTES, Preamble

NAME = b"WAVEDESC"
LENGTH = 346
HIGH_FIRST, LOW_FIRST = 0, 1
# Offsets of the fields used, and their types.
TYPE, ORDER, SIZE, COUNT = (32, "H"), (34, "H"), (36, "i"), (116, "i")
GAIN, OFFSET, INTERVAL, FIRST = (156, "f"), (160, "f"), (176, "f"), (180, "d")


def descriptor_preamble(data: bytes) -> Preamble:
    """V = gain · code - offset, t = first + i · interval; codes have signs. Raises `ProtocolError` for another layout.

    The byte order is told by the descriptor itself, in a field that reads nought in one order as in the other only
    where it is nought.
    """
    if not data.startswith(NAME):
        raise ProtocolError(f"{data[:8]!r} is not the beginning of a descriptor")
    if len(data) < LENGTH:
        raise ProtocolError(f"a descriptor has {LENGTH} bytes, this one {len(data)}")
    order = ">" if struct.unpack_from(">H", data, ORDER[0])[0] == HIGH_FIRST else "<"

    def field(place: int, kind: str) -> float:
        value = struct.unpack_from(order + kind, data, place)[0]
        # Of single precision the shortest number that it stands for: 5E-8 is sent as 4.9999999E-8 there.
        return float(str(np.float32(value))) if kind == "f" else float(value)

    if field(*SIZE) != LENGTH:
        raise ProtocolError(f"the descriptor is laid out in {field(*SIZE):g} bytes; only {LENGTH} are known here")
    form = BYTES if field(*TYPE) == 0 else field(*TYPE)
    return Preamble(form, 0, field(*COUNT), 1, field(*INTERVAL), field(*FIRST), 0, field(*GAIN), -field(*OFFSET), 0)
