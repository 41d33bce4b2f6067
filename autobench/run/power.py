"""Power: the only place that sends output commands to supplies. Every one passes the interlock.

`Power` owns all outputs of a run. It sets, reads back, switches on and off, proves OFF by measurement and keeps the
watch while anything is on. It judges no readings; what it sees it returns or raises as `TrippedError`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from autobench.clock import Clock
from autobench.errors import BenchError, InterlockRefusedError, OutputNotOffError, StoppedError, TrippedError
from autobench.events import Event, Notice, PowerChanged, Watched
from autobench.instruments.supply import Supply
from autobench.plan.steps import Feed
from autobench.quantity import Estimate, show
from autobench.run.guard import Guard, NoGuard
from autobench.run.interlock import INJECTION, PROBE, PROBE_AMPS, PROBE_VOLTS, Interlock
from autobench.run.limit_steps import next_limit
from autobench.run.output import Output
from autobench.run.setting import set_and_read_back
from autobench.run.stop import StopSignals
from autobench.run.supply_by_hand import SupplyByHand
from autobench.run.switching_off import SwitchingOff
from autobench.run.touch import Touch
from autobench.run.watch import Look, bias_gone, held_back, limit_to_blame, low_beside, must_go_off, never_right, sagged

LOOK_EVERY = 0.2  # s; with what lies between two looks, at least twice a second while anything is on
CLOSE_SECONDS = 0.3
RETRY_SECONDS = 0.3
SETTLED = 1.0  # s after the last rail came on until leads are compensated


class Power:
    """All outputs of one run."""

    def __init__(
        self,
        feeds: tuple[Feed, ...],
        supplies: Mapping[str, Supply],
        touch: Touch | None,
        clock: Clock,
        emit: Callable[[Event], None],
        stop: StopSignals,
        guard: Guard | None = None,
        *,
        by_hand: Mapping[str, SupplyByHand] | None = None,
        alone: bool = False,
        lost: Callable[[], str | None] = lambda: None,
        quiet: Callable[[], None] = lambda: None,
    ) -> None:
        """`lost` names an instrument whose connection has broken; `by_hand` has the supplies people work, by rail;
        `quiet` ends what other threads do with instruments."""
        self._alone = alone  # supplies by themselves, and no board
        worked = by_hand or {}
        self.outputs = {
            feed.rail: Output(feed, worked.get(feed.rail) or supplies[feed.supply], Interlock(feed.rail, feed.envelope))
            for feed in feeds
        }
        self._touch = touch
        self._clock = clock
        self._emit = emit
        self._stop = stop
        self._guard = guard if guard is not None else NoGuard()
        self._off = SwitchingOff(self.outputs, touch, clock, emit, self._moved, quiet)
        self._lost = lost
        self._looking = False
        self.tripped: str | None = None  # the rail and why, once something tripped

    # -- off ------------------------------------------------------------------------------------------------------

    def make_off(self) -> None:
        """Every output off: told at once, one after another in reverse order, then each proved off.

        Goes through all outputs whatever happens to one of them; raises `OutputNotOffError` at the end if any could
        not be proved off, naming the supply a person must switch off. Wishes to stop wait meanwhile.
        """
        with self._stop.deferred():
            self._off.send()
            failed = self._off.prove(self._alone)
        if failed:
            raise OutputNotOffError(
                "NOT PROVED OFF – switch the supply off by hand now, at its own switch: " + "; ".join(failed)
            )
        self._guard.rest()

    def may_be_live(self, supply: str, output: int) -> bool:
        """Whether an output of a supply may carry volts now; one that this run does not know is not to be trusted."""
        known = [each for each in self.outputs.values() if (each.feed.supply, each.feed.output) == (supply, output)]
        return not known or any(each.interlock.live for each in known)

    def inlet_channels(self) -> tuple[int, ...]:
        """Relay channels of the meter's way to the first rail's inlet: where OFF will be proved."""
        first = next(iter(self.outputs.values()))
        return first.feed.inlet.channels if first.feed.inlet is not None else ()

    # -- ohms and polarity ----------------------------------------------------------------------------------------

    def ohms_judged(self, rail: str, passed: bool, *, near: bool = False) -> None:
        """The ohms gate of `rail` passed, or refused it for good; `near` leaves an injection as the only way on."""
        self._moved(self.outputs[rail], "ohms passed" if passed else "ohms low" if near else "ohms refused")

    def inject(self, rail: str, reason: str) -> None:
        """A rail that is nearly shorted on with 0.5 V and 0.5 A at most, for the `reason` a person gave.

        Raises `InterlockRefusedError` for any other rail, and without a reason. The caller makes it off again.
        """
        output = self.outputs[rail]
        if not reason.strip() or isinstance(output.supply, SupplyByHand):
            lacking = "a reason" if not reason.strip() else "a supply that is not worked by hand"
            raise InterlockRefusedError(f"{rail}: an injection refused: it wants {lacking}")
        self._moved(output, "overridden")
        self._emit(Notice(self._clock.now(), f"{rail}: the near-short is overridden for an injection: {reason}"))
        volts, amps = (
            min(most, ours)
            for most, ours in zip(INJECTION, (output.feed.envelope.volts, output.feed.amps), strict=True)
        )
        set_and_read_back(output, math.copysign(volts, output.feed.nominal), amps, INJECTION)
        self._moved(output, "set lowest")
        self._switch_on(output)

    def probe_polarity(self, rail: str) -> Estimate:
        """The one allowed ON before the polarity is settled; returns the volts measured at the board's inlet.

        The caller judges the sign and calls `polarity_judged`. Raises `InterlockRefusedError` when the gate before it
        has not passed, `BenchError` when the volts cannot be measured at the inlet.
        """
        output = self.outputs[rail]
        inlet = output.feed.inlet
        if self._touch is None or inlet is None:
            raise BenchError(f"{rail}: the polarity cannot be measured on this bench: no meter route to the inlet")
        if isinstance(output.supply, SupplyByHand):
            output.interlock.require("taken apart")
            self._moved(output, "taken apart")
            return output.supply.check_plug(output.feed.volts, output.feed.amps, output.feed.trip)
        output.interlock.require("set low")
        self._touch.hold(inlet)
        set_and_read_back(output, math.copysign(PROBE_VOLTS, output.feed.nominal), PROBE_AMPS, PROBE)
        self._moved(output, "set low")
        self._switch_on(output)
        self.wait(0.3)
        seen = self._touch.volts_there(inlet, PROBE_VOLTS)
        if seen.estimate is None:
            raise BenchError(f"{rail}: the meter shows overload at the inlet during the probe")
        return seen.estimate

    def alone(self, rail: str) -> SupplyByHand:
        """The supply of `rail`, worked by hand, off the board and on. Raises `InterlockRefusedError` for another."""
        output = self.outputs[rail]
        supply = output.supply
        if not isinstance(supply, SupplyByHand):
            raise InterlockRefusedError(f"{rail}: its supply is one of the bench's own")
        if output.interlock.state != "alone":
            self._moved(output, "stands alone")
            supply.stand_alone()
        return supply

    def polarity_judged(self, rail: str, right: bool) -> None:
        """The sign at the inlet was right, or wrong; either way the probe ends with OFF, proved."""
        self._moved(self.outputs[rail], "polarity right" if right else "polarity wrong")
        self.make_off()

    # -- on -------------------------------------------------------------------------------------------------------

    def power_up(self, collect: Callable[[], None] = lambda: None) -> None:
        """Every rail on, in the board's order: set, read back, switched on; then all settle under the watch.

        A supply that limits below 90 % of its volts for more than 150 ms is given 1.5 × the limit once, inside the
        envelope, before it counts as a fault (a tight limit makes shorts that are not there). `collect` is called when
        a capture armed before this must be over, while the route has not been moved yet. Raises `TrippedError`, with
        everything off.
        """
        for output in self.outputs.values():
            output.interlock.require("set")
            if isinstance(output.supply, SupplyByHand):
                output.supply.connect()  # every plug is in before anything is on
        for output in self.outputs.values():
            set_and_read_back(output, output.feed.volts, output.feed.amps)
            self._moved(output, "set")
            self._switch_on(output)
            self._watch_closely(output)
            self._bias_arrived(output)
        self.wait(SETTLED)
        collect()
        for output in self.outputs.values():
            if output.feed.compensate:
                self._compensate(output)
        ready = max(output.on_since + output.feed.settle for output in self.outputs.values())
        self.wait(ready - self._clock.now())
        for output in self.outputs.values():
            for look in output.looks[-1:]:
                self._trip(output, held_back(output.feed, look, output.set_amps), look.volts, limiting=True)

    def _bias_arrived(self, output: Output) -> None:
        """A bias rail is looked for on the board itself before its partners come on: a lead may be off."""
        inlet = output.feed.inlet
        if output.feed.nominal < 0 and self._touch is not None and inlet is not None:
            volts = self._touch.glance(inlet)
            if volts is not None:
                self.seen_on_board(output.feed.rail, volts)

    def seen_on_board(self, rail: str, volts: float) -> None:
        """Volts of a rail that the meter saw on the board itself, where the supply's own reading does not reach.

        Raises `TrippedError`, with everything off, where a bias rail is gone.
        """
        output = self.outputs.get(rail)
        if output is not None and output.interlock.state == "on":
            self._trip(output, bias_gone(output.feed, volts), volts)

    def _watch_closely(self, output: Output) -> None:
        """Look often while a board starts: that is when it limits, if it does."""
        while self._clock.now() - output.on_since < CLOSE_SECONDS:
            self._pause(0.05)
            self._look(output)
            self.tick()  # the rails that came on before it
        self._act_on(output)

    def _raise_limit(self, output: Output) -> bool:
        """The next current limit, for one that may be too tight; whether there was one left to try."""
        amps = next_limit(output.feed, output.set_amps, output.interlock.envelope.amps, output.retried)
        if isinstance(output.supply, SupplyByHand) or amps is None:
            return False
        output.retried = True
        self._emit(Notice(self._clock.now(), f"{output.feed.rail}: limiting; tried once more with {show(amps, 'A')}"))
        self.set_limit(output, amps)
        output.looks.clear()
        until = self._clock.now() + RETRY_SECONDS
        while self._clock.now() < until:
            self._pause(0.05)
            self._look(output)
        return True

    def set_limit(self, output: Output, amps: float) -> None:
        """Another current limit for a live output, inside the envelope."""
        set_and_read_back(output, output.set_volts, amps)
        self._moved(output, "set")

    def _compensate(self, output: Output) -> None:
        """Raise the output by the measured drop of its leads, never above what the board may get."""
        if self._touch is None or output.feed.inlet is None or not self._touch.glance(output.feed.inlet):
            return
        reading = self._touch.volts(output.feed.inlet, output.feed.nominal)
        if reading.estimate is None or output.looks[-1].limiting:
            return
        sign = -1.0 if output.feed.nominal < 0 else 1.0
        inlet, nominal, now = sign * reading.estimate.value, sign * output.feed.nominal, sign * output.set_volts
        drop = now - inlet
        wanted = min(nominal + drop, output.feed.top_volts, output.interlock.envelope.volts)
        if 0 < drop < 0.1 * nominal and wanted > now:
            set_and_read_back(output, sign * wanted, output.set_amps)
            self._moved(output, "set")

    def _switch_on(self, output: Output) -> None:
        # Required before it is sent, noted before it is sent: an ON that fails half-way counts as on.
        output.interlock.require("on")
        self._guard.ready()
        self._moved(output, "on")
        output.looks.clear()
        output.coming = True  # a person may take a while to reach the switch
        try:
            output.on_since = output.looked_at = self._clock.now()
            output.supply.on(output.feed.output)
        finally:
            output.coming = False
        if output.feed.by_hand:
            output.on_since = output.looked_at = self._clock.now()

    # -- the watch ------------------------------------------------------------------------------------------------

    def wait(self, seconds: float) -> None:
        """Let `seconds` pass, looking at every live output at least twice a second."""
        until = self._clock.now() + seconds
        while (left := until - self._clock.now()) > 1e-9:
            self._pause(min(left, LOOK_EVERY))
            self.tick()

    def tick(self) -> None:
        """Look at every live output whose last look is long enough ago.

        To be called between any two things that take time, exchanges with other instruments included. Raises
        `TrippedError` after switching off, `StoppedError` where the connection to an instrument has broken.
        """
        if self._looking or self._stop.making_safe:
            return
        before = self._clock.now() - LOOK_EVERY + 1e-9
        due = [output for output in self.outputs.values() if output.watched and output.looked_at <= before]
        if not due:
            return
        self._looking = True
        try:
            if (name := self._lost()) is not None:
                raise StoppedError(f"{name}: its connection broke while the board was on")
            for output in due:
                self._look(output)
            for output in due:
                self._act_on(output)
        finally:
            self._looking = False

    def _pause(self, seconds: float) -> None:
        self._stop.check()
        self._clock.sleep(seconds)
        self._stop.check()

    def _look(self, output: Output) -> None:
        seen = output.supply.look(output.feed.output)
        output.looked_at = self._clock.now()
        if seen is None:
            return  # a supply worked by hand, and the meter is elsewhere
        volts, amps, limiting, tripped = seen
        output.looks.append(Look(output.looked_at - output.on_since, volts, amps, limiting, tripped))
        self._emit(Watched(output.looked_at, output.feed.rail, volts, amps, limiting))

    def _act_on(self, output: Output) -> None:
        """Switch off and raise if the watch says so. Probe, injection and a limit that is tried may sag on purpose."""
        if not output.looks:
            return
        if output.interlock.state != "on" or output.held_low:
            reason = never_right(output.feed, output.looks[-1])
        else:
            if sagged(output.looks, output.set_volts) and self._raise_limit(output):
                output.looks[:] = output.looks[-1:]  # what counts is whether it still limits from here on
            reason = must_go_off(output.feed, output.looks) or low_beside(
                output.feed, output.looks, self._partners(output)
            )
        self._trip(output, reason, output.looks[-1].volts, limiting=sagged(output.looks, output.set_volts))

    def _trip(self, output: Output, reason: str | None, volts: float, *, limiting: bool = False) -> None:
        """Everything off for `reason`; nothing for None. Of one that was limiting it says if its limit is to blame."""
        if reason is None:
            return
        blamed = limit_to_blame(output.feed, output.looks, output.set_amps) if limiting else None
        reason = reason if blamed is None else f"{reason}; {blamed}"
        self._moved(output, "trip")
        amps = output.looks[-1].amps if output.looks else math.nan
        self.tripped = f"{output.feed.rail}: {reason}"
        self.make_off()
        known, words = None if math.isnan(amps) else amps, f"{reason}; switched off"
        raise TrippedError(output.feed.rail, words, volts=volts, amps=known, bench=blamed is not None)

    def _partners(self, output: Output) -> list[Feed]:
        """The other rails that are up."""
        return [other.feed for other in self.outputs.values() if other is not output and other.interlock.state == "on"]

    def _moved(self, output: Output, event: str) -> None:
        state = output.interlock.happened(event)
        self._emit(PowerChanged(self._clock.now(), output.feed.rail, state, output.set_volts, output.set_amps))
