"""Tips held to the board by a person: asks for each, waits until it touches and stands still, tells if it slipped.

One instruction at a time. A tip that shows nothing is never taken for a dead line: volts or the meter's weak bias must
show the contact, a low that only the scope shows is confirmed with the meter, and a contact that is gone after the
measurement makes it be taken once more. It judges no board and switches nothing.
"""

from __future__ import annotations

from collections.abc import Mapping

from autobench.events import TouchPlace
from autobench.instruments.meter import Meter, MeterReading
from autobench.plan.spots import Spot
from autobench.plan.target import Target
from autobench.quantity import show
from autobench.run.contact import (
    NOTHING,
    OHMS_BELOW,
    SAME_OHMS,
    SAME_VOLTS,
    NoContactError,
    Steadiness,
    quick,
    touching_ohms,
    touching_volts,
)
from autobench.run.person import AGAIN, TAKE, TOUCH_KEYS, Person

METER = "meter"
TOGETHER = 2.0  # ohm; at or below it the tips touch each other
SLIPPED = "the tip slipped off while it was measured: put it back"
STILL_THERE = "not seen to leave the point before; Enter if it did"
OPEN_WORDS = "open circuit, or no contact"


class Hand:
    """The hand that holds the meter's tips, and remembers where every tip was last seen."""

    def __init__(self, person: Person, spots: Mapping[str, Spot], meter: Meter | None, steady: float) -> None:
        self.person = person
        self.meter = meter
        self.steady = steady
        self._expected: tuple[str | None, str] = (None, "")
        self.held: dict[str, tuple[str, str]] = {}  # tip -> (point, against)
        self._said_open: Target | None = None
        self._remark = ""  # said with the next prompt, for what ended the one before
        self._spots = spots

    def spot(self, point: str) -> Spot:
        """Where a point is, in words."""
        name, _, pin = point.partition(".")
        return self._spots.get(point) or Spot(point, name, pin, "", "")

    def learn(self, spot: Spot) -> None:
        """Where one more point is, in words."""
        self._spots = {**self._spots, spot.point: spot}

    def expect(self, net: str | None, words: str) -> None:
        """What should be seen on `net` from now on (None: wherever a tip is wanted), in words."""
        self._expected = (net, words)

    def let_go(self) -> None:
        """Nothing is taken for held any more: the next point is asked for, whichever it is."""
        self.held.clear()

    def holds(self, target: Target) -> bool:
        """Whether the meter's tips were last seen at `target`."""
        return self.held.get(METER) == (target.point, target.against)

    # -- the meter ------------------------------------------------------------------------------------------------

    def volts(self, target: Target, expected: float, repeats: int) -> MeterReading:
        """Direct volts at `target`, asked for where the tips are elsewhere, and taken again if they slipped."""
        meter = self.required_meter()
        while True:
            if not self.holds(target):
                self.touch(target)
            seen = meter.volts(expected, repeats=repeats)
            after = touching_volts(meter)
            if still(seen, after):
                return seen
            self.lost(METER)

    def ohms(self, target: Target, expected: float, repeats: int) -> MeterReading:
        """Ohms at `target`; an open circuit only after the tips were seen to work, and the person said so twice."""
        meter = self.required_meter()
        while True:
            if not self.holds(target):
                self.touch_ohms(target, expected)
            seen = meter.ohms(expected, repeats=repeats)
            after = touching_ohms(meter, expected)
            is_open, was_open = seen.estimate is None, after is None
            if is_open == was_open and (not is_open or self._said_open == target):
                return seen
            self.lost(METER)

    def glance(self, target: Target) -> float | None:
        """Volts at `target` if the tips are there and touch; None, asking nobody, where they do not."""
        if self.meter is None or not self.holds(target):
            return None
        volts = touching_volts(self.meter)
        if volts is None:
            self.held.pop(METER)
        return volts

    def touch(self, target: Target) -> float:
        """Ask for the meter's tips at `target`; returns the volts they stand at. Raises `NoContactError`."""
        meter = self.required_meter()
        self.asked(target)
        steadiness = Steadiness(self.steady, SAME_VOLTS)
        while True:
            key = self.key(target)
            if key == AGAIN:
                steadiness = Steadiness(self.steady, SAME_VOLTS)
                continue
            volts = touching_volts(meter)
            steadiness.add(self.person.now(), volts)
            if volts is None and key == TAKE:
                raise self.nothing(target.point)
            if volts is not None and (steadiness.enough or key == TAKE):
                return self.taken(target, volts)
            words = "no contact yet" if volts is None else f"touching, {show(volts, 'V', 3)}"
            if not steadiness.arrived and volts is not None:
                words = STILL_THERE
            self.person.progress(words, steadiness.share)

    def touch_ohms(self, target: Target, expected: float) -> None:
        """Ask for the meter's tips at `target` with the power off."""
        meter, proved = self.required_meter(), False
        self.asked(target)
        steadiness = Steadiness(self.steady, SAME_OHMS)
        while True:
            key = self.key(target)
            if key == AGAIN:
                steadiness = Steadiness(self.steady, SAME_OHMS)
                continue
            left = quick(meter, "volts", 5.0).estimate
            if left is None or abs(left.value) > OHMS_BELOW:
                self.person.progress("there are still volts: ohms count only on a discharged board")
                steadiness.looks.clear()
                continue
            ohms = touching_ohms(meter, expected)
            steadiness.add(self.person.now(), ohms)
            if ohms is None and key == TAKE:
                if proved:
                    self.person.end("taken", "open circuit, said by the operator")
                    self._said_open = target
                    self.held[METER] = (target.point, target.against)
                    return
                self.person.end("again", f"{OPEN_WORDS}: the tips are tried on each other first")
                self.together(meter)
                proved = True
                self.asked(target)
                steadiness.looks.clear()
                continue
            if ohms is not None and (steadiness.enough or key == TAKE):
                self.taken(target, ohms)
                return
            words = OPEN_WORDS if ohms is None else f"touching, {show(ohms, 'ohm', 3)}"
            if not steadiness.arrived and ohms is not None:
                words = STILL_THERE
            self.person.progress(words, steadiness.share)

    def together(self, meter: Meter) -> None:
        """Both tips on each other, until the meter sees it: then leads and meter are right."""
        words = "Touch the meter's two tips together."
        self.person.prompt("together", words, TOUCH_KEYS)
        while True:
            key = self.person.pause()
            self.person.turned(key)
            ohms = touching_ohms(meter, 1.0)
            if ohms is not None and ohms <= TOGETHER:
                self.person.end("taken", show(ohms, "ohm", 3))
                return
            self.person.progress(OPEN_WORDS if ohms is None else show(ohms, "ohm", 3))

    # -- what all tips share --------------------------------------------------------------------------------------

    def asked(self, target: Target) -> None:
        """The prompt for the meter's tips."""
        words = f"Hold the meter's red tip on {target.point} and its black tip on {target.against}."
        self.held.pop(METER, None)
        self._said_open = None
        self.prompt(words, self.place(METER, target.net, target.point, target.against))

    def prompt(self, words: str, place: TouchPlace) -> None:
        """The prompt for any tip, with what is still to be said of the one before."""
        self.person.prompt("touch", words, TOUCH_KEYS, place=place)
        if self._remark:
            self.person.progress(self._remark)
        self._remark = ""

    def place(self, tip: str, net: str, point: str, against: str) -> TouchPlace:
        """Where a tip is wanted, in words."""
        spot = self.spot(point)
        expected_net, words = self._expected
        expected = words if expected_net in (None, net) else ""
        return TouchPlace(tip, point, against, spot.part, spot.pin, spot.where, net, expected)

    def key(self, target: Target) -> str | None:
        """A slice of waiting; `again` has been asked for once more when this returns."""
        key = self.person.pause()
        self.person.turned(key)
        if key == AGAIN:
            self.person.end("again")
            self.asked(target)
        return key

    def taken(self, target: Target, seen: float) -> float:
        """The tips are there."""
        self.held[METER] = (target.point, target.against)
        self.person.end("taken")
        return seen

    def lost(self, tip: str, why: str = SLIPPED) -> None:
        """The tip is no longer there; the next prompt says why it is asked for once more."""
        self.held.pop(tip, None)
        self._remark = why

    def nothing(self, point: str) -> NoContactError:
        """The error for a point where nothing shows a contact."""
        words = f"nothing shows that the tip touches {point}: no volts, and no way through for the meter's own current"
        self.person.end("refused", words)
        return NoContactError(words)

    def required_meter(self) -> Meter:
        """The meter; raises `NoContactError` on a bench whose hand holds none."""
        if self.meter is None:
            raise NoContactError("no meter's tips are held by hand on this bench")
        return self.meter


def still(seen: MeterReading, after: float | None) -> bool:
    """Whether the tips stood where they were: there is contact afterwards, at the volts that were read."""
    if after is None:
        return False
    if seen.estimate is None:
        return True  # an overload is told as one
    value = seen.estimate.value
    return abs(after - value) <= max(NOTHING, 0.02 * abs(value))
