"""Setting an output: volts, current limit and trip, inside the interlock's envelope, each read back. No ON here.

A supply with coarse steps is sent less than was asked for, never more: what it was sent is what must be read back.
"""

from __future__ import annotations

from autobench.errors import InterlockRefusedError
from autobench.run.output import Output

READ_BACK = 0.01  # share of what was sent by which a read-back may differ


def set_and_read_back(output: Output, volts: float, amps: float, low: tuple[float, float] | None = None) -> None:
    """Set volts, limit and trip inside the envelope and read all three back within 1 %.

    `low` are volts and amps that must not be passed either. Raises `InterlockRefusedError` before anything is sent that
    must not be, and where the supply says that it is set to something else.
    """
    feed, supply, trip = output.feed, output.supply, output.feed.trip
    output.interlock.require_inside(volts, amps, trip, low)
    supply.set_volts(feed.output, volts)
    supply.set_amps(feed.output, amps)
    if supply.can("set trip"):  # a bench whose supply has none accepts that by name, else nothing is planned
        supply.set_trip(feed.output, trip)
    for what, value, action, back in (
        ("volts", volts, "set volts", supply.set_volts_back),
        ("current limit", amps, "set amps", supply.set_amps_back),
        ("over-voltage trip", trip, "set trip", supply.set_trip_back),
    ):
        if not supply.can(f"{action}?"):
            continue
        asked, got = supply.sent(action, feed.output, value), back(feed.output)
        if not abs(got - asked) <= READ_BACK * abs(asked) + 1e-6:
            raise InterlockRefusedError(
                f"{feed.rail}: {what} asked {asked:g}, but the supply says it is set to {got:g}"
            )
    output.set_volts, output.set_amps = volts, amps
