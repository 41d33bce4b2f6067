"""The proof of OFF: what is left of the volts, waited for until they are gone. It switches nothing."""

from __future__ import annotations

from collections.abc import Callable

from autobench.clock import Clock
from autobench.errors import BenchError
from autobench.events import Event, Notice
from autobench.instruments.supply import Supply
from autobench.plan.steps import Feed
from autobench.run.supply_by_hand import SupplyByHand
from autobench.run.touch import Touch

PROVED_OFF = 0.5  # volts: below this no TTL or MOS part of the board is powered
LEAST_LEVEL = 0.05  # V; what is less is as good as none, and may be a supply's own offset
NO_AMPS = 0.02  # A; above a read-back's own offset
SURE = 3.0  # standard uncertainties of that read-back
AMPS_LAG = 1.0  # s that a supply's reading of its current may lag behind
AGAIN_EVERY = 0.25  # s; a supply may be busy, or ignore an OFF
MOST_AGAIN = 4


def volts_when_off(
    feed: Feed,
    supply: Supply | SupplyByHand,
    touch: Touch | None,
    clock: Clock,
    emit: Callable[[Event], None],
    again: Callable[[], None],
    level: float = PROVED_OFF,
) -> float | None:
    """Last volts seen while waiting for the fall; by the meter at the inlet, else by the supply itself.

    `again` is called now and then while more than `level` volts are still there: it sends the OFF once more.
    """
    if isinstance(supply, SupplyByHand):
        return supply.volts_off()
    began = clock.now()
    until, told = began + supply.fall + 2.0, 0
    seen: float | None = None
    # The supply is asked once more after a failure: one late reply is no reason for an alarm.
    readers: list[Callable[[], float | None]] = [lambda: supply.volts(feed.output).value] * 2
    inlet = feed.inlet
    # A hand's tips may have slid to where there never were volts: they prove nothing against the supply itself.
    if touch is not None and inlet is not None and not inlet.by_hand:
        readers.insert(0, lambda: touch.glance(inlet))
    for reader in readers:
        try:
            while (volts := reader()) is not None:
                seen = volts
                if abs(seen) < level or clock.now() >= until:
                    return seen
                if told < MOST_AGAIN and clock.now() - began >= (told + 1) * AGAIN_EVERY:
                    told += 1
                    again()
                clock.sleep(0.05)
        except BenchError as error:
            emit(Notice(clock.now(), f"cannot prove {feed.rail} off this way: {error}"))
    return seen


def level_of(volts_set: float) -> float:
    """Volts below which an output that was set to `volts_set` is off: half of a low setting would be no proof."""
    return max(LEAST_LEVEL, min(PROVED_OFF, abs(volts_set) / 2.0)) if volts_set else PROVED_OFF


def amps_when_off(number: int, supply: Supply, clock: Clock, again: Callable[[], None]) -> float | None:
    """Amps the supply still gives by its own reading, waited for until there are none; None for none, or none told.

    A shorted rail has no volts, on or off: there only the current shows that nothing is driven any more. What the
    reading itself may be off counts as none.
    """
    if not supply.can("amps?"):
        return None
    until = clock.now() + AMPS_LAG
    try:
        while True:
            amps = supply.amps(number)
            if abs(amps.value) < max(NO_AMPS, SURE * amps.uncertainty):
                return None
            if clock.now() >= until:
                return amps.value
            again()
            clock.sleep(0.1)
    except BenchError:
        return None
