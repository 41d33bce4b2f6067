"""One output of a simulated supply: its setting, its protections, and what its own meters show.

The output is a voltage source with a current limit, put on the terminals through a port. Everything here is about one
output and speaks no SCPI; the supply's command set is `simulated_instruments.devices.supply_channel_list`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from autobench.clock import Clock
from simulated_instruments.devices.noise import ReadingNoise, trait
from simulated_instruments.devices.terminals import OutputPoint, OutputSetting, SupplyTerminals

MOST_VOLTS = 20.5
MOST_AMPS = 5.1
MOST_TRIP_VOLTS = 22.5
SPECIMEN = 0.6  # a specimen's own error, as a part of its class; noise and quantisation need the rest
READBACK_NOISE = 0.0005  # V or A; 1 mV or 1 mA, as two standard deviations
READBACK_TIME_CONSTANT = 0.03  # s; 96 % after 100 ms
FLAG_LAG = 0.1  # s from entering or leaving the current limit to the status register
OVER_CURRENT_TIME = 0.05  # s in the current limit until the over-current protection trips
TRIP_MARGIN = 0.001  # V above the level: an output set exactly to its level does not trip


@dataclass(frozen=True)
class Ratings:
    """What an output can be set to, and how well its own meters read: (part of the reading, V or A) and step (V or A).

    A `negative` output gives volts below its common terminal; everything inside counts its volts as positive.
    """

    volts: float = MOST_VOLTS
    amps: float = MOST_AMPS
    trip_volts: float = MOST_TRIP_VOLTS
    negative: bool = False
    volts_class: tuple[float, float] = (0.0005, 0.005)
    amps_class: tuple[float, float] = (0.0015, 0.005)
    volts_step: float = 0.001
    amps_step: float = 0.001

    @property
    def sign(self) -> float:
        """Of the volts at the terminals."""
        return -1.0 if self.negative else 1.0


RATINGS = Ratings()


@dataclass
class Settings:
    """What an output was told, as after `*RST`."""

    on: bool = False
    volts: float = 0.0
    amps: float = MOST_AMPS
    trip_volts: float = MOST_TRIP_VOLTS
    trip_on_volts: bool = True
    trip_on_amps: bool = False
    trip_amps: float = math.inf  # a level below the limit, where a supply has one
    rise_delay: float = 0.0
    fall_delay: float = 0.0


class SupplyOutput:
    """Output `number` of a supply; `refresh` must be called on every contact and after every change of `settings`."""

    def __init__(
        self,
        number: int,
        clock: Clock,
        terminals: SupplyTerminals,
        seed: int,
        name: str,
        ratings: Ratings = RATINGS,
    ) -> None:
        self.number = number
        self.clock = clock
        self.terminals = terminals
        self.ratings = ratings
        self.settings = self.fresh()
        self.tripped_on_volts = False
        self.tripped_on_amps = False
        self.live = False  # whether the output stage is on now: after its delay, and until a trip
        self._switch_at: float | None = None  # when a delayed switching is due
        self._applied: tuple[bool, float, float] | None = None  # the fields of the setting on the terminals
        self._seen: tuple[bool, float, float] | None = None  # what was applied at the last look
        self._point = OutputPoint(0.0, 0.0, False)
        self._looked_at = clock.now()
        self._shown = {"volts": 0.0, "amps": 0.0}  # what the low-pass before the output's meters has come to
        self._limiting_since: float | None = None
        self._flag = False
        self._differs_since: float | None = None  # since when the flag is not what it should be
        self._noise = ReadingNoise(seed)
        self._name = name
        self._errors = {
            what: (
                trait(seed, SPECIMEN * part, name, number, what),
                trait(seed, SPECIMEN * floor, name, number, what, 0),
            )
            for what, (part, floor) in (("volts", ratings.volts_class), ("amps", ratings.amps_class))
        }

    def fresh(self) -> Settings:
        """The settings after `*RST`: off, no volts, all the amps, the trip out of the way."""
        return Settings(amps=self.ratings.amps, trip_volts=self.ratings.trip_volts)

    @property
    def tripped(self) -> bool:
        return self.tripped_on_volts or self.tripped_on_amps

    @property
    def limiting(self) -> bool:
        """The current-limit flag, which lags."""
        return self.live and self._flag

    def reset(self) -> None:
        """Settings as after `*RST`: off, no volts, all the amps. A trip stays latched: nobody has seen to its cause."""
        self.settings = self.fresh()
        self._switch_at = None
        self.live = False
        self.refresh()

    def switch(self, on: bool) -> None:
        """Switch on or off, after this output's delay."""
        self.settings.on = on
        delay = self.settings.rise_delay if on else self.settings.fall_delay
        self._switch_at = self.clock.now() + delay if on != self.live else None
        self.refresh()

    def clear_trip(self) -> None:
        """Unlatch both protections; the output stays off."""
        self.tripped_on_volts = self.tripped_on_amps = False

    def refresh(self) -> None:
        """Bring the output up to now: delays that are over, settings, trips, and what the meters show."""
        now = self.clock.now()
        if self._switch_at is not None and now >= self._switch_at:
            self._switch_at = None
            self.live = self.settings.on
        self._apply()
        self._look(now)
        if self.live and self._over_volts():
            self._trip(on_volts=True)
        elif self.live and self._over_amps(now):
            self._trip(on_volts=False)

    def _apply(self) -> None:
        """Put the present setting on the terminals, if it differs from what is there."""
        volts = self.settings.volts
        if self.settings.trip_on_volts:
            volts = min(volts, self.settings.trip_volts)  # the trip is faster than the output rises
        wanted = (self.live, self.ratings.sign * volts + 0.0, self.settings.amps)
        if wanted != self._applied:
            self._look(self.clock.now())  # the old setting held until now
            self._applied = wanted
            self.terminals.apply(self.number, OutputSetting(*wanted))

    def _over_volts(self) -> bool:
        """Whether the terminals are above the trip level, or would be if the trip were not faster."""
        if not self.settings.trip_on_volts:
            return False
        level = self.settings.trip_volts
        return self.ratings.sign * self._point.volts > level + TRIP_MARGIN or (
            self.settings.volts > level + TRIP_MARGIN and not self._point.limiting
        )

    def _over_amps(self, now: float) -> bool:
        """Whether more flows than the level of the over-current protection, or the limit has held for too long."""
        if self._point.amps > self.settings.trip_amps:
            return True
        return self.settings.trip_on_amps and self._limited_for(now) > OVER_CURRENT_TIME

    def _trip(self, on_volts: bool) -> None:
        if on_volts:
            self.tripped_on_volts = True
        else:
            self.tripped_on_amps = True
        self.settings.on = self.live = False
        self._switch_at = None
        self._apply()
        self._look(self.clock.now())

    def _look(self, now: float) -> None:
        """Look at the operating point: move the low-pass on, and follow the current limit."""
        before, self._looked_at = self._looked_at, now
        if now == before and self._seen == self._applied:
            return  # no time has passed and nothing was set: what stood then stands
        self._seen = self._applied
        self._point = self.terminals.point(self.number)
        weight = -math.expm1(-(now - before) / READBACK_TIME_CONSTANT)
        for what, value in (("volts", self._point.volts), ("amps", self._point.amps)):
            self._shown[what] += weight * (value - self._shown[what])
        # A change is taken to have come right after the look before: nobody was there to see it.
        if not self._point.limiting:
            self._limiting_since = None
        elif self._limiting_since is None:
            self._limiting_since = before
        if self._point.limiting == self._flag:
            self._differs_since = None
        elif self._differs_since is None:
            self._differs_since = before
        if self._differs_since is not None and now - self._differs_since >= FLAG_LAG:
            self._flag, self._differs_since = self._point.limiting, None

    def _limited_for(self, now: float) -> float:
        """Seconds for which the output has been in its current limit."""
        return 0.0 if self._limiting_since is None else now - self._limiting_since

    def measured(self, what: str) -> float:
        """The next readback of `volts` (V) or `amps` (A): low-passed, with this specimen's errors, noise and steps.

        Volts have the sign they have at the terminals.
        """
        self.refresh()
        part, floor = self._errors[what]
        step = self.ratings.volts_step if what == "volts" else self.ratings.amps_step
        value = self._shown[what] * (1 + part) + floor
        value += READBACK_NOISE * self._noise.draw(self._name, self.number, what)
        return round(value / step) * step + 0.0  # no negative zero
