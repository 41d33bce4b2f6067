"""Touching points of the board with the meter through the fixture's relays. Measures; judges nothing."""

from __future__ import annotations

from collections.abc import Callable

from autobench.instruments.meter import Meter, MeterReading
from autobench.instruments.relays import Relays
from autobench.plan.steps import Target


class Touch:
    """One meter behind one relay multiplexer."""

    def __init__(self, meter: Meter, relays: Relays) -> None:
        self._meter = meter
        self._relays = relays
        self._closed: tuple[int, ...] | None = None

    def prepare(self) -> None:
        """Meter into its known state, every relay open."""
        self._meter.prepare()
        self._relays.prepare()
        self._closed = ()

    def volts(self, target: Target, expected: float, repeats: int = 3) -> MeterReading:
        """DC volts of `target`, the range picked for `expected` volts; `repeats` readings give the type A part."""
        return self._with_route(target, lambda: self._meter.volts(expected, repeats=repeats))

    def quick_volts(self, target: Target) -> float:
        """One reading in volts, for a look rather than for a verdict. An overload reads as a very high voltage."""
        seen = self.volts(target, expected=5.0, repeats=1)
        return seen.estimate.value if seen.estimate is not None else seen.full_scale

    def ohms(self, target: Target, expected: float) -> MeterReading:
        """Two-wire ohms of `target` including the route; the caller must know that the power is off."""
        return self._with_route(target, lambda: self._meter.ohms(expected, repeats=3))

    def release(self) -> None:
        """Every relay open."""
        self._closed = None
        self._relays.open_all()
        self._closed = ()

    def _with_route(self, target: Target, read: Callable[[], MeterReading]) -> MeterReading:
        if self._closed != target.channels:
            # Unknown until the relays say done: an error in between must not leave us believing the old route.
            self._closed = None
            self._relays.close(target.channels)
            self._closed = target.channels
        return read()
