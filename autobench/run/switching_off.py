"""Everything off: OFF to every output at once, in the rails' reverse order, then the proof of each. It never says ON.

Sending comes before everything else: a meter that does not answer, or a rail that falls slowly, must not hold up the
OFF of the next one. An OFF that shows nothing is sent again long before anybody waits for the proof.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from autobench.clock import Clock
from autobench.errors import BenchError
from autobench.events import Event, Notice
from autobench.instruments.supply import Supply
from autobench.quantity import show
from autobench.run.off_proof import PROVED_OFF, amps_when_off, level_of, volts_when_off
from autobench.run.output import Output
from autobench.run.supply_by_hand import SupplyByHand
from autobench.run.touch import Touch

FALL = 0.2  # s a rail is given to fall, by the supply's own reading, before its partners lose theirs


class SwitchingOff:
    """All outputs of a run, in the order they came on. `moved` tells the interlock what happened to one of them.

    `quiet` ends what other threads do with meter and relays, which the proof needs: OFF itself does not wait for that.
    """

    def __init__(
        self,
        outputs: Mapping[str, Output],
        touch: Touch | None,
        clock: Clock,
        emit: Callable[[Event], None],
        moved: Callable[[Output, str], None],
        quiet: Callable[[], None],
    ) -> None:
        self._outputs = outputs
        self._touch = touch
        self._clock = clock
        self._emit = emit
        self._moved = moved
        self._quiet = quiet

    def send(self) -> None:
        """OFF to every output that takes commands, in reverse order; nothing is believed yet.

        Whatever one of them raises, the next is told as well; what was no bench's error is raised at the end.
        """
        defect: Exception | None = None
        for output in self._reversed():
            if isinstance(output.supply, SupplyByHand):
                continue
            was_live = output.interlock.live
            try:
                self._moved(output, "off")
                self._tell(output, output.supply)
                if was_live and not self._falls(output.feed.output, output.supply):
                    self._tell(output, output.supply)
            except Exception as error:  # short of memory, say: the others must be told all the same
                defect = defect or error
        if defect is not None:
            raise defect

    def prove(self, alone: bool) -> list[str]:
        """The proof of each, in reverse order; the words of the alarm for those that could not be proved off.

        `alone`: supplies by themselves; one worked by hand that no board has met needs no proof.
        """
        self._quiet()
        self._rest_meter()
        return [words for output in self._reversed() for words in self._proved(output, alone)]

    def _reversed(self) -> list[Output]:
        return list(self._outputs.values())[::-1]

    def _tell(self, output: Output, supply: Supply) -> None:
        try:
            supply.off(output.feed.output)
        except BenchError as error:
            self._emit(Notice(self._clock.now(), f"OFF may not have reached the supply: {error}", urgent=True))

    def _falls(self, number: int, supply: Supply) -> bool:
        """Whether the output has fallen by the supply's own reading, within a moment."""
        until = self._clock.now() + FALL
        try:
            while abs(supply.volts(number).value) >= PROVED_OFF:
                if self._clock.now() >= until:
                    return False
                self._clock.sleep(0.02)
        except BenchError:
            return False
        return True

    def _proved(self, output: Output, alone: bool) -> list[str]:
        """The words of the alarm for one output, or nothing."""
        feed, supply = output.feed, output.supply
        if not isinstance(supply, SupplyByHand):
            return self._shown(output, lambda: self._tell(output, supply))
        if output.interlock.proved_off or (alone and output.interlock.state == "unknown"):
            return []  # nobody is asked to switch off what was shown to be off, or what no board has met
        for _ in range(2):
            self._moved(output, "off")
            supply.off(feed.output)
            failed = self._shown(output, lambda: None)
            if not failed:
                break
        return failed

    def _shown(self, output: Output, again: Callable[[], None]) -> list[str]:
        """Whether a measurement shows it off; `again` sends the OFF once more while it does not."""
        feed, supply, level = output.feed, output.supply, level_of(output.set_volts)
        if output.interlock.state == "ending wrong":
            # Nothing more is switched on at this connection, and a board's own capacitors keep for minutes what a probe
            # of the wrong sign left on them.
            level = PROVED_OFF
        volts = volts_when_off(feed, supply, self._touch, self._clock, self._emit, again, level)
        shown = "nothing could be measured" if volts is None else f"still {show(volts, 'V')}"
        if volts is not None and abs(volts) < level:
            amps = None if isinstance(supply, SupplyByHand) else amps_when_off(feed.output, supply, self._clock, again)
            if amps is None:
                self._moved(output, "proved off")
                return []
            shown = f"still {show(amps, 'A')}"
        self._moved(output, "not off")
        return [f"{feed.supply} output {feed.output} ({feed.rail}): {shown}"]

    def _rest_meter(self) -> None:
        """No ohms source on a rail whose volts are to be believed: a meter that was interrupted may still drive one."""
        if self._touch is not None:
            try:
                self._touch.rest()
            except BenchError as error:
                self._emit(Notice(self._clock.now(), f"the meter may still drive its ohms current: {error}"))
