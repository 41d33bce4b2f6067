"""How the oscilloscope O-2 tells of a record: the points of a transfer and the fields of its out-preamble.

It reads no commands and waits for nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from simulated_instruments.devices.scope_positioned_setup import CENTRE
from simulated_instruments.devices.scope_preamble_data_setup import Setup

CODES = {"RIB": "RI", "RPB": "RP"}  # codes with signs, and from nought up


def written(value: float) -> str:
    """A number as this oscilloscope answers it."""
    return f"{value:.6E}"


@dataclass
class Transfer:
    """The settings of the transfer, as after `*RST`. `start` and `stop` count points from 1, both included."""

    source: int = 1
    encoding: str = "RIB"
    start: int = 1
    stop: int = 10_000

    def fields(self, setup: Setup, part: slice, zero_at_trigger: bool) -> dict[str, str]:
        """The out-preamble of the points `part` of a record, field by field in their order.

        V = (code - YOFF) x YMULT + YZERO; the time of the first point is XZERO, or with `zero_at_trigger` that of the
        point PT_OFF, where the trigger is.
        """
        settings = setup.input(self.source)
        trigger = round(-setup.origin / setup.interval)
        first = setup.origin + trigger * setup.interval if zero_at_trigger else setup.origin
        above = 0 if self.encoding == "RIB" else CENTRE
        words = f"Ch{self.source}, {settings.coupling} coupling, {settings.scale:.3f}V/div, {setup.time_scale:.3E}s/div"
        return {
            "BYT_NR": "1",
            "BIT_NR": "8",
            "ENC": "BIN",
            "BN_FMT": CODES[self.encoding],
            "BYT_OR": "MSB",
            "WFID": f'"{words}"',
            "NR_PT": str(part.stop - part.start),
            "PT_FMT": "ENV" if setup.kind == "PEAK" else "Y",
            "XUNIT": '"s"',
            "XINCR": written(setup.interval),
            "XZERO": written(first),
            "PT_OFF": str(trigger),
            "YUNIT": '"V"',
            "YMULT": written(settings.step * settings.probe),
            "YOFF": written(settings.offset_codes - settings.offset / settings.step + above),
            "YZERO": written(-settings.offset * settings.probe + 0.0),
        }
