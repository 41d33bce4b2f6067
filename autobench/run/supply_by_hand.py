"""A supply with knobs and a switch only: a person is asked to work it, and the meter says what came of it.

Nothing a person says is believed about volts: they are measured at the plug before the board is connected, and at the
board's inlet when it is switched on and off. Current limit and trip cannot be read back; the bench file accepts that.
"""

from __future__ import annotations

import math

from autobench.errors import BenchError
from autobench.instruments.meter import Meter
from autobench.plan.plug_steps import plug_target
from autobench.plan.steps import Feed
from autobench.quantity import Estimate, show
from autobench.run.contact import Steadiness, quick, quick_volts, touching_volts
from autobench.run.hand import METER, Hand
from autobench.run.person import DONE_KEYS, OFF_KEY, SLICE, TAKE

NO_VOLTS = 0.5  # V
LIVE = 0.5  # share of nominal from which the supply counts as on
APART = 5.0  # ohm; tips with more between them are not both on 0 V
SET_WITHIN = 0.01  # share by which the set volts may differ from what was asked
ON_WITHIN = 60.0  # s for a person to reach a switch
SAID_WITHIN = 3.0  # s for the volts to show after somebody said that it is on
OFF_WITHIN = 60.0
PANEL_ERROR = 0.01  # share by which a supply's own ammeter is off (common practice)
SAGGED = 0.9
SET_KEYS = (("Enter", "done"), OFF_KEY)


class SupplyByHand:
    """One feed whose supply a person works."""

    fall = OFF_WITHIN

    def __init__(self, feed: Feed, hand: Hand) -> None:
        if feed.inlet is None:
            raise BenchError(f"{feed.rail}: a supply worked by hand needs the meter at the board's inlet")
        self.feed = feed
        self._hand = hand
        self._person = hand.person
        self._inlet = feed.inlet
        self._plug = plug_target(feed.rail)
        self._where = self._inlet
        self._volts = 0.0
        self._amps = 0.0
        self._trip = 0.0
        self._at_plug: Estimate | None = None
        self._load: float | None = None

    # -- before the board is connected ----------------------------------------------------------------------------

    def check_plug(self, volts: float, amps: float, trip: float) -> Estimate:
        """Have it set with the board not connected; the volts at the plug, as the meter shows them."""
        rail = self.feed.rail
        self._ask("plug", f"Take the plug of {rail} off the board.", on=False)
        self._where = self._plug
        self._volts, self._amps, self._trip = volts, amps, trip
        self._ask(
            "set",
            f"With the board NOT connected: set the supply of {rail} to {show(volts, 'V')}, its current limit to "
            f"{show(amps, 'A')}, and its over-voltage trip, if it has one, to {show(trip, 'V')}.",
            volts=volts,
            amps=amps,
        )
        self._ask("switch", f"Switch the supply of {rail} on. The board is still not connected.", on=True)
        self._hand.expect(None, show(volts, "V"))
        self._hand.touch(self._plug)
        self._at_plug = self._settled_at_plug(volts)
        return self._at_plug

    def stand_alone(self) -> None:
        """Have a supply that is to be tested by itself switched on, with nothing but the meter at its plug."""
        self._where = self._plug
        self._volts = self.feed.nominal
        self._ask("plug", f"The supply of {self.feed.rail} is tested by itself. Take its plug off the board.", on=False)
        words = f"Switch the supply of {self.feed.rail} on. Nothing but the meter touches its plug."
        self._ask("switch", words, on=True, volts=self.feed.nominal, amps=self.feed.amps)

    def load(self, ohms: float | None) -> None:
        """Have the dummy load put on or taken off, where it is not so already."""
        if ohms == self._load:
            return
        self._load = ohms
        if ohms is None:
            self._ask("load", f"Take the dummy load off the supply of {self.feed.rail}.")
            return
        watts = self.feed.nominal**2 / ohms
        words = f"Put the dummy load of {show(ohms, 'ohm')} on the supply of {self.feed.rail}. It gets hot: "
        self._ask("load", f"{words}{show(watts, 'W', 2)}.", ohms=ohms)

    def _settled_at_plug(self, volts: float) -> Estimate:
        """Volts at the plug once the person has them within 1 %, or of the wrong sign."""
        meter, steadiness = self._meter(), Steadiness(self._hand.steady, 0.02)
        self._person.prompt(
            "set", f"Turn the volts to {show(volts, 'V')}.", SET_KEYS, rail=self.feed.rail, volts=volts, amps=self._amps
        )
        while True:
            key = self._person.pause()
            seen = touching_volts(meter)
            near = seen is not None and (seen * volts < 0 or abs(seen - volts) <= SET_WITHIN * abs(volts))
            steadiness.add(self._person.now(), seen if near else None)
            if steadiness.enough or (key == TAKE and near):
                break
            self._person.progress("no contact at the plug" if seen is None else show(seen, "V", 4), steadiness.share)
        self._person.end("taken")
        reading = meter.volts(volts, repeats=3)
        if reading.estimate is None:
            raise BenchError(f"{self.feed.rail}: the meter shows overload at the plug")
        return reading.estimate

    def connect(self) -> None:
        """Have the board plugged in, with the supply off, and the meter at its inlet."""
        self._ask("plug", f"The supply is off. Plug {self.feed.rail} into the board.", on=True)
        self._where = self._inlet
        self._hand.let_go()
        self._hand.expect(None, "")
        self._hand.touch(self._inlet)

    # -- what power asks of every supply --------------------------------------------------------------------------

    def set_volts(self, _output: int, volts: float) -> None:
        """Nothing is sent: it was set before the board was connected. Raises `BenchError` for another value."""
        if volts != self._volts:
            raise BenchError(f"{self.feed.rail}: a supply worked by hand is not set while the board is connected")

    def set_amps(self, _output: int, amps: float) -> None:
        """The same for the limit."""
        if amps != self._amps:
            raise BenchError(f"{self.feed.rail}: a supply worked by hand is not set while the board is connected")

    def set_trip(self, _output: int, volts: float) -> None:
        """The trip as it was asked for."""
        self._trip = volts

    def can(self, action: str) -> bool:
        """Every setting can be asked for; what is set is known to the person only, save the volts."""
        return action in ("set trip", "set volts?", "set amps?", "set trip?")

    def set_volts_back(self, _output: int) -> float:
        """What the meter showed at the plug, V."""
        if self._at_plug is None:
            raise BenchError(f"{self.feed.rail}: its volts have not been measured at the plug")
        return self._at_plug.value

    def set_amps_back(self, _output: int) -> float:
        """What the person was asked to set, A: nothing reads it back."""
        return self._amps

    def set_trip_back(self, _output: int) -> float:
        """What the person was asked to set, V: nothing reads it back."""
        return self._trip

    def on(self, _output: int) -> None:
        """Have it switched on; returns when the meter at the inlet shows it, or when the person says so."""
        self._person.prompt(
            "switch", f"Switch the supply of {self.feed.rail} ON now.", SET_KEYS, rail=self.feed.rail, on=True
        )
        until, said = self._person.now() + ON_WITHIN, False
        while self._person.now() < until:
            if self._person.pause() == TAKE and not said:
                # A board that pulls the supply down never shows its volts: then it is on because a person says so.
                until, said = self._person.now() + SAID_WITHIN, True
            seen = self._hand.glance(self._inlet)
            if seen is not None and abs(seen) >= LIVE * abs(self.feed.nominal):
                self._person.end("taken")
                return
        self._person.end("taken" if said else "refused", "" if said else "nothing came on")
        if not said:
            raise BenchError(f"{self.feed.rail}: the supply was not switched on within {ON_WITHIN:g} s")

    def off(self, _output: int) -> None:
        """Ask for it to be switched off; `volts_off` shows whether it was."""
        where = self._where
        words = f"Switch the supply of {self.feed.rail} OFF now, at its own switch. Hold the meter's tips on "
        words += f"{where.point} and {where.against} until the volts are gone."
        # Tips that are there must stay there: only then do they see the volts fall.
        place = None if self._hand.holds(where) else self._hand.place(METER, where.net, where.point, where.against)
        self._person.prompt("switch", words, (("Enter", "it is off"),), place=place, rail=self.feed.rail, on=False)

    def volts_off(self) -> float | None:
        """Volts where it feeds, waited for until they are gone; None if nothing could be shown.

        Two tips on 0 V prove nothing: there must be the rail's own ohms between them. At a plug that is off the board
        there is nothing between them; there they must have seen the volts, and the person says that the switch is off.
        """
        until, last = self._person.now() + OFF_WITHIN, 0.0
        seen_live, said, arrived = False, False, self._hand.holds(self._where)
        while self._person.now() < until:
            said = self._person.bide(SLICE) == TAKE or said
            volts, contact = quick_volts(self._meter()), touching_volts(self._meter())
            arrived = arrived or contact is None  # tips that were elsewhere must be seen to leave
            last, seen_live = volts, arrived and (seen_live or abs(volts) >= NO_VOLTS)
            at_plug = self._where is self._plug and seen_live and said
            if abs(volts) < NO_VOLTS and (at_plug or (arrived and contact is not None and self._across_the_rail())):
                self._hand.held[METER] = (self._where.point, self._where.against)
                self._person.end("taken")
                return volts
            gone = "no contact: hold the tips there until the volts are shown to be gone"
            self._person.progress(gone if contact is None else f"{show(volts, 'V', 3)} is there")
        self._person.end("refused", "not shown to be off")
        return last if abs(last) >= NO_VOLTS else None

    def look(self, _output: int) -> tuple[float, float, bool, bool] | None:
        """Volts at the inlet where the tips are there, amps unknown; None where nobody looks."""
        volts = self._hand.glance(self._inlet)
        if volts is None:
            return None
        return volts, math.nan, abs(volts) < SAGGED * abs(self._volts), False

    def sent(self, _action: str, _output: int, value: float) -> float:
        """A knob is turned to what is asked for."""
        return value

    def amps_read(self) -> Estimate | None:
        """Amps as a person reads them off the supply's own display; None where they cannot."""
        read = self._person.number(f"What current does the supply of {self.feed.rail} show?", "A", rail=self.feed.rail)
        if read is None:
            return None
        own = math.hypot(self.feed.display / math.sqrt(12.0), PANEL_ERROR * read / math.sqrt(3.0))
        return Estimate(read, "A", own, how="read off the supply's display by the operator")

    def _across_the_rail(self) -> bool:
        """Whether the rail's own resistance is between the tips, and not a piece of 0 V."""
        seen = quick(self._meter(), "ohms", 1e3)
        return seen.estimate is not None and abs(seen.estimate.value) >= APART

    def _meter(self) -> Meter:
        return self._hand.required_meter()

    def _ask(self, kind: str, words: str, **more: float | bool | None) -> None:
        self._person.done(kind, words, DONE_KEYS, rail=self.feed.rail, **more)
