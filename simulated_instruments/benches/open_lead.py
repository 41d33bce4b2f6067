"""What a voltmeter reads when a lead touches nothing: held charge, drift and mains hum. It knows no circuit."""

from __future__ import annotations

import math

from simulated_instruments.benches.mains_hum import MainsHum
from simulated_instruments.board.tolerance import Tolerance

HIGH_IMPEDANCE = 1e9  # ohm; above it the input capacitance holds its charge for tens of seconds
DRIFT = 25.0  # s


class OpenLead:
    """One meter's input. The charge left on it is that of the last moment it was connected."""

    def __init__(self, tolerance: Tolerance, line_hertz: float) -> None:
        self._rest = tolerance.uniform("open lead rests at", -0.08, 0.08)  # V, bias current on the leakage
        hum = tolerance.uniform("open lead hum", 0.002, 0.006)  # V, peak
        self._hum = MainsHum(line_hertz, hum, tolerance.uniform("open lead phase", 0.0, 2.0 * math.pi))
        self._offset = tolerance.uniform("open lead offset", -0.0004, 0.0004)  # V through 10 Mohm
        self._held, self._since = 0.0, 0.0

    def let_go(self, time: float, volts: float) -> None:
        """The route opens at `time`, with `volts` on the input."""
        self._held, self._since = volts, time

    def volts(self, input_ohms: float, start: float, stop: float) -> float:
        """Mean volts over [start, stop]."""
        middle = (start + stop) / 2.0
        if input_ohms < HIGH_IMPEDANCE:
            return self._offset + self._hum.mean(start, stop)
        left = math.exp(-max(0.0, middle - self._since) / DRIFT)
        return self._rest + (self._held - self._rest) * left + self._hum.mean(start, stop)
