"""The scope's probes held or clipped to the board by a person: asked for, looked at before and after every capture.

A probe that shows nothing is never taken for a line that is low: the meter is asked to the same point, and must show
both a contact and a low. It computes nothing from a capture and judges no board.
"""

from __future__ import annotations

from collections.abc import Callable

from autobench.instruments.scope import Capture, Scope, ScopeInput, Setup
from autobench.plan.plug_steps import is_plug
from autobench.plan.scope_steps import ScopePoint, Sight
from autobench.plan.target import Target
from autobench.quantity import show
from autobench.run.contact import FLAT, LOGIC_LOW, NoContactError, Steadiness, is_flat
from autobench.run.hand import STILL_THERE, Hand
from autobench.run.person import AGAIN, CLIP_KEYS, TAKE

# A look at a tip: long enough for a few pulses of anything fast, with the extremes of every interval.
LOOK_SECONDS, LOOK_POINTS = 1e-3, 1000
PATIENCE = 3.0  # s of nothing after which the meter is asked to the same point
SEEN_AGAIN = 0.6  # s in which a tip that touches a line of slow pulses shows one, as that of a reset that comes again
MOST_TURNS = 5  # captures that a tip may have slipped in, before nobody is asked to hold it once more
LOOK_PATIENCE = 0.02  # s until a look is forced: a hand that moves on is off the board for a moment only


class HeldProbes:
    """The hand's probes on one scope."""

    def __init__(self, hand: Hand, scope: Scope, wait: Callable[[float], None]) -> None:
        self._hand = hand
        self._scope = scope
        self._wait = wait
        self._low: set[str] = set()  # points that the meter showed to be low since the power changed

    def forget(self) -> None:
        """The power has changed: what was low may no longer be."""
        self._low.clear()

    def captured(self, sight: Sight, take: Callable[[], Capture]) -> Capture:
        """The capture `take` makes, with every probe of the sight seen to touch before it and after it.

        Raises `NoContactError` where nothing shows a contact.
        """
        for _ in range(MOST_TURNS):
            for point in sight.by_hand:
                if not self.holds(point):
                    self.touch(point)
            capture = take()
            slipped = [point for point in sight.by_hand if not self.stays(point)]
            if not slipped:
                return capture
            for point in slipped:
                self._hand.lost(tip_of(point))
        lost = " and ".join(f"{tip_of(point)} on {point.point}" for point in slipped)
        raise NoContactError(f"the probe of {lost} showed nothing after each of {MOST_TURNS} captures")

    def clip(self, sight: Sight) -> None:
        """Every probe of a sight put in place while the board has no power, which shows nothing yet."""
        for point in sight.by_hand:
            tip = tip_of(point)
            if self.holds(point):
                continue
            words = (
                f"Clip the probe of {tip} to {point.point}, its ground clip to {self._hand.spot(point.point).ground}."
            )
            self._hand.person.done("clip", words, CLIP_KEYS, place=self._hand.place(tip, point.net, point.point, ""))
            self._hand.held[tip] = (point.point, "")

    def holds(self, point: ScopePoint) -> bool:
        """Whether the probe was last put there."""
        return self._hand.held.get(tip_of(point)) == (point.point, "")

    def stays(self, point: ScopePoint) -> bool:
        """Whether the probe still touches, as far as can be seen without asking."""
        until = self._hand.person.now() + SEEN_AGAIN
        while not self.alive(point):
            if point.point in self._low and self._hand.glance(self.beside(point)) is not None:
                return True
            if self._hand.person.now() > until:
                return False
            self._wait(LOOK_PATIENCE)
        return True

    def alive(self, point: ScopePoint) -> bool:
        """Whether the probe shows more than one in the air would."""
        entry = ScopeInput(point.channel, min(point.low, -2.0 * FLAT), max(point.high, 2.0 * FLAT))
        setup = Setup((entry,), LOOK_SECONDS, LOOK_POINTS, trigger=None, before=0.0, peak=True, bandwidth_limit=False)
        capture = self._scope.capture(setup, self._wait, LOOK_PATIENCE)
        return not is_flat(capture.traces[point.channel])

    def touch(self, point: ScopePoint) -> None:
        """Ask for the probe at a point, until it shows something, or the meter shows that there is nothing to show."""
        self.asked(point)
        steadiness, since = Steadiness(self._hand.steady, 1.0), self._hand.person.now()
        while True:
            key = self._hand.person.pause()
            self._hand.person.turned(key)
            if key == AGAIN:
                self._hand.person.end("again")
                self.asked(point)
                steadiness = Steadiness(self._hand.steady, 1.0)
                since = self._hand.person.now()
                continue
            alive, now = self.alive(point), self._hand.person.now()
            steadiness.add(now, 0.0 if alive else None)
            if alive and (steadiness.enough or key == TAKE):
                self.taken(point)
                return
            if not alive and (key == TAKE or now - since > PATIENCE):
                self._hand.person.end("again", "the probe shows 0 V, as one in the air does: the meter is asked")
                if self.shown_low(point):
                    return
                self.asked(point)
                since = self._hand.person.now()
            words = "nothing seen yet" if not alive else "touching" if steadiness.arrived else STILL_THERE
            self._hand.person.progress(words, steadiness.share)

    def shown_low(self, point: ScopePoint) -> bool:
        """Whether the meter, held to the same point, shows that the line is really low. Raises `NoContactError`."""
        volts = self._hand.touch(self.beside(point))
        if abs(volts) >= LOGIC_LOW:
            seen = f"the meter sees {show(volts, 'V', 3)} at {point.point}: the probe of {tip_of(point)} does not touch"
            self._hand.lost(tip_of(point), seen)
            return False
        self._low.add(point.point)
        self._hand.held[tip_of(point)] = (point.point, "")
        return True

    def prove_low(self, point: ScopePoint) -> None:
        """Raise `NoContactError` unless the meter shows that a line that a capture found at 0 V is low."""
        if point.point not in self._low and not self.shown_low(point):
            raise NoContactError(
                f"the probe of {tip_of(point)} did not touch {point.point}: the meter sees volts there"
            )

    def beside(self, point: ScopePoint) -> Target:
        """Where the meter is held to see the same point."""
        return Target(point.net, point.point, self._hand.spot(point.point).ground, (), by_hand=True)

    def asked(self, point: ScopePoint) -> None:
        """The prompt for a probe."""
        tip = tip_of(point)
        self._hand.held.pop(tip, None)
        ground = self._hand.spot(point.point).ground
        clip = f", its ground clip on {ground}" if is_plug(point.point) else ""  # else it stays on the board's 0 V
        words = f"Hold the probe of {tip} on {point.point}{clip}."
        self._hand.prompt(words, self._hand.place(tip, point.net, point.point, ""))

    def taken(self, point: ScopePoint) -> None:
        """The probe is there."""
        self._low.discard(point.point)
        self._hand.held[tip_of(point)] = (point.point, "")
        self._hand.person.end("taken")


def tip_of(point: ScopePoint) -> str:
    """`scope 1`: how a probe is called at the bench."""
    return f"scope {point.channel}"
