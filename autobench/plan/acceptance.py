"""What a bench lacks of its safety, and whether its file accepts that by name. Pure; refused before anything is opened.

A supply without an over-voltage trip, without read-back of its settings or without a guard can do harm that nobody
notices, so a person must have written down that they know, and must be there.
"""

from __future__ import annotations

import sys
from collections.abc import Collection, Mapping

from autobench.documents.address import can_be_guarded
from autobench.documents.bench import Bench
from autobench.documents.driver import Driver
from autobench.documents.words import quoted
from autobench.errors import UsageError

NO_GUARD, NO_TRIP, NO_READ_BACK = "no guard", "no trip", "no read-back"
WHAT: Mapping[str, str] = {
    NO_GUARD: "no guard can switch it off if this program dies (its connection belongs to one process)",
    NO_TRIP: "its driver has no over-voltage trip",
    NO_READ_BACK: "its driver cannot read back all of what was set",
}
UNGUARDED = "NO GUARD"  # how the words of a bench begin whose supply stays on if this program dies
PLATFORM = sys.platform


def lacking(bench: Bench, driver: Driver, supply: str) -> tuple[str, ...]:
    """What one supply lacks, in the words that `accept` of a feed takes."""
    missing = driver.missing()
    found = {
        NO_GUARD: supply in unguarded(bench),
        NO_TRIP: "trip" in missing,
        NO_READ_BACK: any(name.endswith("read-back") for name in missing),
    }
    return tuple(name for name, is_so in found.items() if is_so)


def unguarded(bench: Bench) -> tuple[str, ...]:
    """Supplies that no guard can reach. Those simulated inside this program end with it and need none."""
    if bench.simulated == "in-process":
        return ()
    supplies = {feed.supply for feed in bench.feeds.values()}
    return tuple(
        name
        for name, instrument in bench.instruments.items()
        if name in supplies and (PLATFORM != "linux" or not can_be_guarded(instrument.address))
    )


def require_accepted(bench: Bench, drivers: Mapping[str, Driver], rails: Collection[str], unattended: bool) -> None:
    """Raise `UsageError` unless all that the feeds of `rails` lack is accepted by name, and somebody is there then."""
    if PLATFORM != "linux" and bench.simulated == "no":
        raise UsageError(
            f"bench {quoted(bench.bench)} has real supplies; they are switched on Linux only, since the guard needs it"
        )
    for rail, feed in bench.feeds.items():
        if rail not in rails:
            continue
        missing = tuple(WHAT) if feed.by_hand else lacking(bench, drivers[feed.supply], feed.supply)
        for name in missing:
            lack = f"{rail}: {quoted(feed.supply)}: {why(name, feed.by_hand)}"
            if bench.simulated == "served" and name == NO_GUARD:
                continue  # nothing real is behind a served bench
            if name not in feed.accept:
                raise UsageError(
                    f"{lack}; to go on all the same, add 'accept: {name}' under feeds > {rail} of the bench file"
                )
            if unattended:
                raise UsageError(
                    f"{lack}; the bench file accepts it, but then a person must "
                    "be there: not with --unattended, which is implied where there is no terminal"
                )


def why(name: str, by_hand: bool) -> str:
    """What is lacking, in words."""
    return f"a supply worked by hand has {name}" if by_hand else WHAT[name]


def guard_words(bench: Bench, rails: Collection[str]) -> str:
    """What switches off if this program dies, in a line for the beginning of a run."""
    if bench.simulated == "in-process":
        return "no guard: the bench is simulated inside this program"
    without = unguarded(bench)
    fed = [(rail, feed) for rail, feed in bench.feeds.items() if rail in rails]
    lost = sorted({feed.supply for _, feed in fed if feed.supply in without})
    lost += [f"the supply of {rail}, worked by hand" for rail, feed in fed if feed.by_hand]
    if lost:
        return f"{UNGUARDED} for {', '.join(lost)}: if this program dies it stays on; keep a hand near its switch"
    return "guarded: a second process switches off if this one dies or hangs"
