"""Touching points of the board with the meter through the fixture's relays. Measures; judges nothing."""

from __future__ import annotations

from autobench.instruments.meter import Meter, MeterReading
from autobench.plan.steps import Target
from autobench.run.route import Route


class Touch:
    """One meter behind one relay multiplexer."""

    def __init__(self, meter: Meter, route: Route) -> None:
        self._meter = meter
        self._route = route

    def prepare(self) -> None:
        """Meter into its known state."""
        self._meter.prepare()

    def volts(self, target: Target, expected: float, repeats: int = 3) -> MeterReading:
        """DC volts of `target`, the range picked for `expected` volts; `repeats` readings give the type A part."""
        self._route.take(target.channels)
        return self._meter.volts(expected, repeats=repeats)

    def quick_volts(self, target: Target) -> float:
        """One reading in volts, for a look rather than for a verdict. An overload reads as a very high voltage."""
        seen = self.volts(target, expected=5.0, repeats=1)
        return seen.estimate.value if seen.estimate is not None else seen.full_scale

    def ohms(self, target: Target, expected: float) -> MeterReading:
        """Two-wire ohms of `target` including the route; the caller must know that the power is off."""
        self._route.take(target.channels)
        return self._meter.ohms(expected, repeats=3)
