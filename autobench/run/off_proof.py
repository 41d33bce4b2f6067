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
AGAIN_EVERY = 0.25  # s; a supply may be busy, or ignore an OFF
MOST_AGAIN = 4


def volts_when_off(
    feed: Feed,
    supply: Supply | SupplyByHand,
    touch: Touch | None,
    clock: Clock,
    emit: Callable[[Event], None],
    again: Callable[[], None],
) -> float | None:
    """Last volts seen while waiting for the fall; by the meter at the inlet, else by the supply itself.

    `again` is called now and then while the volts are still there: it sends the OFF once more.
    """
    if isinstance(supply, SupplyByHand):
        return supply.volts_off()
    began = clock.now()
    until, told = began + supply.fall + 2.0, 0
    seen: float | None = None
    readers: list[Callable[[], float | None]] = [lambda: supply.volts(feed.output).value]
    inlet = feed.inlet
    # A hand's tips may have slid to where there never were volts: they prove nothing against the supply itself.
    if touch is not None and inlet is not None and not inlet.by_hand:
        readers.insert(0, lambda: touch.glance(inlet))
    for reader in readers:
        try:
            while (volts := reader()) is not None:
                seen = volts
                if abs(seen) < PROVED_OFF or clock.now() >= until:
                    return seen
                if told < MOST_AGAIN and clock.now() - began >= (told + 1) * AGAIN_EVERY:
                    told += 1
                    again()
                clock.sleep(0.05)
        except BenchError as error:
            emit(Notice(clock.now(), f"cannot prove {feed.rail} off this way: {error}"))
    return seen
