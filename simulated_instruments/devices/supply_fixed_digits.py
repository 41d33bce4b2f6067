"""A simulated one-output supply told in fixed digits, as in `VOLT050` for 5.0 V: the dialect PS-6.

Every line ends with a carriage return. What it takes it acknowledges with a line `OK`; what it does not take or does
not understand it leaves without a word. It has no identity and no error queue, and its word for ON is 0. It must not
know what is connected.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import ClassVar

from autobench.clock import Clock
from simulated_instruments.devices.command_tree import CommandTree
from simulated_instruments.devices.instrument import Device, Pending
from simulated_instruments.devices.supply_output import Ratings, SupplyOutput
from simulated_instruments.devices.terminals import SupplyTerminals

RATINGS = Ratings(
    volts=18.0,
    amps=2.0,
    trip_volts=20.0,
    volts_class=(0.005, 0.03),
    amps_class=(0.005, 0.02),
    volts_step=0.01,
    amps_step=0.01,
)
LEAST_VOLTS = 0.2  # V; less is not taken (models differ, many begin near 1 V)
VOLTS_STEP = 0.1  # V of the last digit of a set voltage
AMPS_STEP = 0.01  # A of the last digit of a current limit; 0.1 A on larger models
MOST_SHOWN = 9999  # of the four digits of a reading
DONE = "OK"
ON, OFF = "0", "1"  # the words of `SOUT`, which stand for what one would not expect
SLACK = 1e-9  # of what is counted in steps


class FixedDigitsSupply(Device):
    """One output of 18 V and 2 A.

    `least_volts`: what is less is not taken. `amps_step`: of the last digit of a limit, with which the most amps go as
    well. `ignores_off`: a fault; switching off is acknowledged and not done.
    """

    model = "PS-6"
    latency = 0.03
    returns = True

    def __init__(self, name: str, clock: Clock, terminals: SupplyTerminals, seed: int = 0) -> None:
        super().__init__(name, clock, seed)
        self.identity = ""
        self.terminator = b"\r"
        self.least_volts = LEAST_VOLTS
        self.amps_step = AMPS_STEP
        self.ignores_off = False
        self.output = SupplyOutput(1, clock, terminals, seed, name, RATINGS)
        self.reset()

    @property
    def most_amps(self) -> float:
        """The highest current limit: 200 steps of whatever a step is."""
        return RATINGS.amps * self.amps_step / AMPS_STEP

    def reset(self) -> None:
        """As switched on at the mains: off, and a trip is forgotten."""
        self.output.reset()
        self.output.clear_trip()
        self.output.settings.volts = self.least_volts

    def progress(self) -> None:
        self.output.refresh()

    def receive(self, data: bytes, end: bool) -> None:
        """A carriage return ends a line; a line feed means nothing."""
        super().receive(data.replace(b"\n", b"").replace(b"\r", b"\n"), end)

    def _execute(self, message: str) -> None:
        """Perform one line; an answer is its data and `OK`, each on a line of its own."""
        self.free_at += self.latency
        for pattern, perform in COMMANDS:
            if found := re.fullmatch(pattern, message):
                answer = perform(self, *found.groups())
                if answer is not None:
                    lines = f"{answer}\r{DONE}" if answer else DONE
                    self._replies.append(Pending([lines], self.free_at + self.late, self.terminator))
                return

    # Each returns its data, "" for a bare acknowledgement, None where the line is not taken.

    def set_volts(self, digits: str) -> str | None:
        volts = int(digits) * VOLTS_STEP
        if not self.least_volts - SLACK <= volts <= RATINGS.volts + SLACK:
            return None
        self.output.settings.volts = volts
        return self.done()

    def set_amps(self, digits: str) -> str | None:
        amps = int(digits) * self.amps_step
        if not SLACK < amps <= self.most_amps + SLACK:
            return None
        self.output.settings.amps = amps
        return self.done()

    def set_trip(self, digits: str) -> str | None:
        volts = int(digits) * VOLTS_STEP
        if not self.least_volts - SLACK <= volts <= RATINGS.trip_volts + SLACK:
            return None
        self.output.settings.trip_volts = volts
        return self.done()

    def protect_amps(self, digits: str) -> str | None:
        """Its over-current protection trips in the current limit; the level is the limit's own."""
        self.output.settings.trip_on_amps = int(digits) > 0
        return self.done()

    def switch(self, word: str) -> str | None:
        """After a trip it comes on no more until it is switched off at the mains."""
        if word == ON and self.output.tripped:
            return None
        if word == ON or not self.ignores_off:
            self.output.switch(word == ON)
        return self.done()

    def done(self) -> str:
        self.output.refresh()
        return ""

    def shown(self) -> str:
        """Four digits of volts, four of amps, and 1 in constant current."""
        self.output.refresh()
        volts, amps = (self.output.measured(what) for what in ("volts", "amps"))
        return f"{hundredths(volts):04d}{hundredths(amps):04d}{int(self.output.limiting)}"

    def most(self) -> str:
        """The highest volts and amps it can be set to, three digits each, in the steps they are set in."""
        return f"{round(RATINGS.volts / VOLTS_STEP):03d}{round(self.most_amps / self.amps_step):03d}"

    def status_byte(self) -> int:
        return 0  # no serial poll

    def _watch_summary(self) -> None:
        """It requests no service."""

    tree: ClassVar[CommandTree] = CommandTree()


def hundredths(value: float) -> int:
    """A reading as four digits show it: never below nothing, never more than they hold."""
    return min(max(round(100.0 * value), 0), MOST_SHOWN)


COMMANDS: tuple[tuple[str, Callable[..., str | None]], ...] = (
    (r"VOLT(\d{3})", FixedDigitsSupply.set_volts),
    (r"CURR(\d{3})", FixedDigitsSupply.set_amps),
    (r"SOVP(\d{3})", FixedDigitsSupply.set_trip),
    (r"SOCP(\d{3})", FixedDigitsSupply.protect_amps),
    (rf"SOUT([{ON}{OFF}])", FixedDigitsSupply.switch),
    (r"GETD", FixedDigitsSupply.shown),
    (r"GMAX", FixedDigitsSupply.most),
)
