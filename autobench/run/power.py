"""Power: the only place that sends output commands to supplies. Every one passes the interlock.

`Power` owns all outputs of a run. It sets, reads back, switches on and off, proves OFF by measurement and keeps the
watch while anything is on. It judges no readings; what it sees it returns or raises as `TrippedError`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from autobench.clock import Clock
from autobench.errors import BenchError, InterlockRefusedError, OutputNotOffError, TrippedError
from autobench.events import Event, Notice, PowerChanged, Watched
from autobench.instruments.supply import Supply
from autobench.plan.steps import Feed
from autobench.quantity import Estimate, show
from autobench.run.guard import Guard, NoGuard
from autobench.run.interlock import PROBE_AMPS, PROBE_VOLTS, Interlock
from autobench.run.off_proof import PROVED_OFF, volts_when_off
from autobench.run.stop import StopSignals
from autobench.run.supply_by_hand import SupplyByHand
from autobench.run.touch import Touch
from autobench.run.watch import Look, limit_to_blame, must_go_off, sagged

READ_BACK = 0.01  # share of the asked value by which a read-back may differ
LOOK_EVERY = 0.25  # s; at least twice a second while anything is on
CLOSE_SECONDS = 0.3
# Common practice: a limit that is too tight makes shorts that are not there, so it is raised once before it counts.
RETRY_FACTOR = 1.5
RETRY_SECONDS = 0.3
SETTLED = 1.0  # s after the last rail came on until leads are compensated


@dataclass
class Output:
    """One feed in action."""

    feed: Feed
    supply: Supply | SupplyByHand
    interlock: Interlock
    looks: list[Look] = field(default_factory=list)
    on_since: float = 0.0
    set_volts: float = 0.0
    set_amps: float = 0.0
    retried: bool = False
    coming: bool = False  # told to switch on, and not yet known to be


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
    ) -> None:
        self._alone = alone  # supplies by themselves, and no board
        worked = by_hand or {}  # by rail
        self.outputs = {
            feed.rail: Output(feed, worked.get(feed.rail) or supplies[feed.supply], Interlock(feed.rail, feed.envelope))
            for feed in feeds
        }
        self._touch = touch
        self._clock = clock
        self._emit = emit
        self._stop = stop
        self._guard = guard if guard is not None else NoGuard()
        self._looked = clock.now()

    # -- off ------------------------------------------------------------------------------------------------------

    def make_off(self) -> None:
        """Every output off, one after another in reverse order, each proved off.

        Goes through all outputs whatever happens to one of them; raises `OutputNotOffError` at the end if any could
        not be proved off, naming the supply a person must switch off. Wishes to stop wait meanwhile.
        """
        with self._stop.deferred():
            self._rest_meter()
            outputs = list(self.outputs.values())[::-1]
            failed = [words for output in outputs for words in self._end(output, tries=2)]
        if not failed:
            self._guard.rest()
        if failed:
            raise OutputNotOffError(
                "NOT PROVED OFF – switch the supply off by hand now, at its own switch: " + "; ".join(failed)
            )

    def _rest_meter(self) -> None:
        """No ohms source on a rail whose volts are to be believed: a meter that was interrupted may still drive one."""
        if self._touch is not None:
            try:
                self._touch.rest()
            except BenchError as error:
                self._emit(Notice(self._clock.now(), f"the meter may still drive its ohms current: {error}"))

    def _end(self, output: Output, tries: int) -> list[str]:
        """OFF and its proof for one output; the words of the alarm, or nothing. An ignored OFF is sent once more."""
        feed = output.feed
        if feed.by_hand and (output.interlock.proved_off or (self._alone and output.interlock.state == "unknown")):
            return []  # nobody is asked to switch off what was shown to be off, or what no board has met
        shown = ""
        for _ in range(tries):
            self._moved(output, "off")
            try:
                output.supply.off(feed.output)
            except BenchError as error:
                self._emit(Notice(self._clock.now(), f"OFF may not have reached the supply: {error}", urgent=True))
            volts = volts_when_off(output.feed, output.supply, self._touch, self._clock, self._emit)
            if volts is not None and abs(volts) < PROVED_OFF:
                self._moved(output, "proved off")
                return []
            self._moved(output, "not off")
            shown = "nothing could be measured" if volts is None else f"still {show(volts, 'V')}"
        return [f"{feed.supply} output {feed.output} ({feed.rail}): {shown}"]

    def inlet_channels(self) -> tuple[int, ...]:
        """Relay channels of the meter's way to the first rail's inlet: where OFF will be proved."""
        first = next(iter(self.outputs.values()))
        return first.feed.inlet.channels if first.feed.inlet is not None else ()

    # -- ohms and polarity ----------------------------------------------------------------------------------------

    def ohms_judged(self, rail: str, passed: bool) -> None:
        """The ohms gate of `rail` passed, or refused it for good."""
        self._moved(self.outputs[rail], "ohms passed" if passed else "ohms refused")

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
        self._set(output, math.copysign(PROBE_VOLTS, output.feed.nominal), PROBE_AMPS, probe=True)
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
            self._set(output, output.feed.volts, output.feed.amps)
            self._moved(output, "set")
            self._switch_on(output)
            self._watch_closely(output)
        self.wait(SETTLED)
        collect()
        for output in self.outputs.values():
            if output.feed.compensate:
                self._compensate(output)
        ready = max(output.on_since + output.feed.settle for output in self.outputs.values())
        self.wait(ready - self._clock.now())
        for output in self.outputs.values():
            self._require_enough(output)

    def _watch_closely(self, output: Output) -> None:
        """Look often while a board starts: that is when it limits, if it does."""
        while self._clock.now() - output.on_since < CLOSE_SECONDS:
            self._pause(0.05)
            self._look(output)
        self._act_on(output)

    def _raise_limit(self, output: Output) -> bool:
        """The single retry of a limit that may be too tight; whether it was left to try."""
        amps = min(RETRY_FACTOR * output.set_amps, output.interlock.envelope.amps)
        if isinstance(output.supply, SupplyByHand) or output.retried or amps <= 1.01 * output.set_amps:
            return False
        output.retried = True
        self._emit(Notice(self._clock.now(), f"{output.feed.rail}: limiting; tried once more with {show(amps, 'A')}"))
        self._set(output, output.set_volts, amps)
        self._moved(output, "set")
        output.looks.clear()
        until = self._clock.now() + RETRY_SECONDS
        while self._clock.now() < until:
            self._pause(0.05)
            self._look(output)
        return True

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
            self._set(output, sign * wanted, output.set_amps)
            self._moved(output, "set")

    def _set(self, output: Output, volts: float, amps: float, *, probe: bool = False) -> None:
        """Set volts, limit and trip inside the envelope and read all three back within 1 %."""
        feed, supply, trip = output.feed, output.supply, output.feed.trip
        output.interlock.require_inside(volts, amps, trip, probe=probe)
        supply.set_volts(feed.output, volts)
        supply.set_amps(feed.output, amps)
        if supply.can("set trip"):  # a bench whose supply has none accepts that by name, else nothing is planned
            supply.set_trip(feed.output, trip)
        for what, asked, action, back in (
            ("volts", volts, "set volts?", supply.set_volts_back),
            ("current limit", amps, "set amps?", supply.set_amps_back),
            ("over-voltage trip", trip, "set trip?", supply.set_trip_back),
        ):
            if not supply.can(action):
                continue
            got = back(feed.output)
            if abs(got - asked) > READ_BACK * abs(asked) + 1e-6:
                raise InterlockRefusedError(
                    f"{feed.rail}: {what} asked {asked:g}, but the supply says it is set to {got:g}"
                )
        output.set_volts, output.set_amps = volts, amps

    def _switch_on(self, output: Output) -> None:
        # Required before it is sent, noted before it is sent: an ON that fails half-way counts as on.
        output.interlock.require("on")
        self._guard.ready()
        self._moved(output, "on")
        output.looks.clear()
        output.coming = True  # a person may take a while to reach the switch
        try:
            output.on_since = self._clock.now()
            output.supply.on(output.feed.output)
        finally:
            output.coming = False
        if output.feed.by_hand:
            output.on_since = self._clock.now()

    # -- the watch ------------------------------------------------------------------------------------------------

    def wait(self, seconds: float) -> None:
        """Let `seconds` pass, looking at every live output at least twice a second."""
        until = self._clock.now() + seconds
        while (left := until - self._clock.now()) > 1e-9:
            self._pause(min(left, LOOK_EVERY))
            self.tick()

    def tick(self) -> None:
        """Look at every live output if the last look is long enough ago. Raises `TrippedError` after switching off."""
        if self._clock.now() - self._looked < LOOK_EVERY - 1e-9:
            return
        for output in self.outputs.values():
            if output.interlock.state in ("on", "probing") and not output.coming:
                self._look(output)
                self._act_on(output)

    def _pause(self, seconds: float) -> None:
        self._stop.check()
        self._clock.sleep(seconds)
        self._stop.check()

    def _look(self, output: Output) -> None:
        seen = output.supply.look(output.feed.output)
        self._looked = self._clock.now()
        if seen is None:
            return  # a supply worked by hand, and the meter is elsewhere
        volts, amps, limiting, tripped = seen
        look = Look(self._looked - output.on_since, volts, amps, limiting, tripped)
        output.looks.append(look)
        self._emit(Watched(self._looked, output.feed.rail, volts, amps, limiting))

    def _act_on(self, output: Output) -> None:
        """Switch off and raise if the watch says so. The probe limits on purpose: only its trips count."""
        if not output.looks:
            return
        if output.interlock.state == "probing":
            reason = "the supply's own protection tripped" if output.looks[-1].tripped else None
        else:
            if sagged(output.looks, output.set_volts) and self._raise_limit(output):
                output.looks[:] = output.looks[-1:]  # what counts is whether it still limits from here on
            reason = must_go_off(output.feed, output.looks)
        if reason is not None:
            self._trip(output, reason, limiting=sagged(output.looks, output.set_volts))

    def _trip(self, output: Output, reason: str, *, limiting: bool) -> None:
        """Everything off, and `TrippedError`; of an output that was limiting it says where its limit is to blame."""
        blamed = limit_to_blame(output.feed, output.looks, output.set_amps) if limiting else None
        self._moved(output, "trip")
        last = output.looks[-1]
        self.make_off()
        amps = None if math.isnan(last.amps) else last.amps
        words = f"{reason}; switched off" if blamed is None else f"{reason}; {blamed}; switched off"
        raise TrippedError(output.feed.rail, words, volts=last.volts, amps=amps, bench=blamed is not None)

    def _require_enough(self, output: Output) -> None:
        """A supply that limits though the board gets nearly its volts: if its limit is to blame, no reading counts."""
        last = output.looks[-1] if output.looks else None
        if last is None or not last.limiting or math.isnan(last.amps):
            return
        if limit_to_blame(output.feed, output.looks, output.set_amps) is not None:
            self._trip(output, f"the supply limits at {show(last.amps, 'A')}", limiting=True)

    def _moved(self, output: Output, event: str) -> None:
        state = output.interlock.happened(event)
        self._emit(PowerChanged(self._clock.now(), output.feed.rail, state, output.set_volts, output.set_amps))
