"""Touching points of the board with the meter: through the fixture's relays, or with tips that a hand holds.

It measures and judges nothing. A point that reads no volts is only believed where something shows the contact.
"""

from __future__ import annotations

from contextlib import AbstractContextManager, nullcontext

from autobench.instruments.meter import Meter, MeterReading
from autobench.plan.target import Target
from autobench.quantity import show
from autobench.run.contact import NoContactError, quick, touching_volts
from autobench.run.hand import Hand
from autobench.run.route import Route

BOTH_ENDS = 2  # relays of the meter, to its high and to its low end
STUCK_BELOW = 10e3  # ohm; a board's rail shows less, an open relay far more


class Touch:
    """One meter, behind one relay multiplexer, in one hand, or both."""

    def __init__(self, meter: Meter, route: Route | None, hand: Hand | None = None) -> None:
        self._meter = meter
        self.route = route
        self._hand = hand
        self._relays_tried = False

    def prepare(self) -> None:
        """Meter into its known state."""
        self._meter.prepare()

    def rest(self) -> None:
        """The meter on volts, where it drives nothing into the board."""
        self._meter.rest()

    def hold(self, target: Target) -> None:
        """Get to `target` and stay there; a hand is asked while nothing is on. Raises `NoContactError`."""
        if target.by_hand and self._hand is not None:
            self._free()
            if not self._hand.holds(target):
                self._hand.touch(target)
        else:
            self._go(target)

    def volts(self, target: Target, expected: float, repeats: int = 3) -> MeterReading:
        """DC volts of `target`, the range picked for `expected` volts; `repeats` readings give the type A part."""
        if target.by_hand and self._hand is not None:
            self._free()
            return self._hand.volts(target, expected, repeats)
        return self.volts_there(target, expected, repeats)

    def volts_there(self, target: Target, expected: float, repeats: int = 3) -> MeterReading:
        """The same without asking anybody: `hold` was called before, and what the tips show is what is returned."""
        with self._held():
            self._go(target)
            return self._meter.volts(expected, repeats=repeats)

    def glance(self, target: Target) -> float | None:
        """One reading in volts, for a look rather than for a verdict; None where a hand's tips are not there.

        An overload reads as a very high voltage.
        """
        if target.by_hand and self._hand is not None:
            return self._hand.glance(target)
        seen = self.volts(target, expected=5.0, repeats=1)
        return seen.estimate.value if seen.estimate is not None else seen.full_scale

    def ohms(self, target: Target, expected: float) -> MeterReading:
        """Two-wire ohms of `target` including the route; the caller must know that the power is off."""
        if target.by_hand and self._hand is not None:
            self._free()
            return self._hand.ohms(target, expected, repeats=3)
        with self._held():
            self._go(target)
            return self._meter.ohms(expected, repeats=3)

    def stuck_relay(self, target: Target) -> str | None:
        """A relay of the meter that stays closed; looked for once, while the power is off.

        With one end of the meter routed alone nothing may be seen through it; what is seen comes through a relay that
        was never told to close. Both ends are tried, each from every channel open.
        """
        if self.route is None or len(target.channels) != BOTH_ENDS or self._relays_tried:
            return None
        self._relays_tried = True
        for alone, other in zip(target.channels, ("low", "high"), strict=True):
            self.route.prepare()
            self.route.take([alone])
            seen = quick(self._meter, "ohms", STUCK_BELOW)
            if seen.estimate is not None and abs(seen.estimate.value) < STUCK_BELOW:
                self._meter.rest()
                return (
                    f"with only relay {alone} told to close the meter sees {show(seen.estimate.value, 'ohm', 3)}: a "
                    f"relay on its {other} side is stuck closed; change it before any reading counts"
                )
        self._meter.rest()
        self.route.prepare()
        return None

    def reaches(self, target: Target) -> bool:
        """Whether the meter can get to `target`: by relays, or by a hand that may be asked."""
        return not target.by_hand or self._hand is not None

    def contact(self, target: Target) -> float:
        """Volts at `target`, or `NoContactError` where nothing shows that the meter touches it."""
        with self._held():
            self.hold(target)
            volts = touching_volts(self._meter)
        if volts is None:
            raise NoContactError(
                f"nothing shows that the meter touches {target.point}: no volts, and no way through for its own current"
            )
        return volts

    def _held(self) -> AbstractContextManager[None]:
        """No contact moves while the meter reads."""
        return nullcontext() if self.route is None else self.route.held()

    def _free(self) -> None:
        """No relay of the meter closed while a hand holds its tips."""
        if self.route is not None:
            self.route.let_go()

    def _go(self, target: Target) -> None:
        if self.route is not None and target.channels:
            self.route.take(target.channels)
