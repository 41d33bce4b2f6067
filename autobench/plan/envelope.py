"""The envelope of each output: what it may ever do, and what it will be set to. Refused here, before anything moves."""

from __future__ import annotations

from collections.abc import Mapping

from autobench.documents.bench import Bench
from autobench.documents.bench import Feed as BenchFeed
from autobench.documents.board import Board
from autobench.documents.driver import Driver
from autobench.documents.rails import Rail
from autobench.errors import UsageError
from autobench.plan.limits import Limits
from autobench.plan.steps import Envelope, Feed
from autobench.plan.target import Target
from autobench.quantity import show

# Common practice: 1.3 times what a good board draws. Taken over every choice of the options, so that a board declared
# with the wrong option shows its current instead of limiting.
LIMIT_FACTOR = 1.3


def feeds_of(bench: Bench, drivers: Mapping[str, Driver], board: Board, options: Mapping[str, str]) -> tuple[Feed, ...]:
    """One feed for each rail, in the order the board switches them on; raises `UsageError` for what cannot be fed."""
    feeds = tuple(feed_of(bench, drivers, board, options, name, rail) for name, rail in board.fed(options).items())
    seen: dict[tuple[str, int], str] = {}
    for feed in feeds:
        other = seen.setdefault((feed.supply, feed.output), feed.rail)
        if other != feed.rail and not feed.by_hand:
            raise UsageError(
                f"{board.board} needs {other} and {feed.rail} at once; bench '{bench.bench}' has one output for both"
            )
    return feeds


def feed_of(
    bench: Bench,
    drivers: Mapping[str, Driver],
    board: Board,
    options: Mapping[str, str],
    name: str,
    rail: Rail,
) -> Feed:
    """The feed of one rail."""
    wired = bench.feeds.get(name)
    if wired is None:
        raise UsageError(f"bench '{bench.bench}' does not feed {name} of {board.board}: add it under 'feeds'")
    envelope = envelope_of(None if wired.by_hand else drivers[wired.supply], wired, rail, name)
    sign = -1.0 if rail.negative else 1.0
    band = board.band(name, options)
    expected = max(choice.limits.high or 0.0 for choice in rail.current)
    if abs(rail.nominal.value) > envelope.volts:
        raise UsageError(
            f"{name}: {show(abs(rail.nominal.value), 'V')} is wanted, but bench, board and driver together allow "
            f"{show(envelope.volts, 'V')}"
        )
    return Feed(
        rail=name,
        supply=wired.supply,
        output=wired.output or 0,
        envelope=envelope,
        nominal=rail.nominal.value,
        volts=rail.nominal.value,
        amps=min(LIMIT_FACTOR * expected, envelope.amps),
        trip=sign * envelope.trip,
        top_volts=rail.most_volts,
        leads=wired.leads.value,
        isolated_when_off=wired.when_off == "isolated",
        compensate=wired.compensate_leads,
        settle=rail.settle.value,
        current=Limits(band.limits, "board file", band.usual),
        inlet=inlet_of(bench, board, rail, name),
        by_hand=wired.by_hand,
        display=wired.display.value,
    )


def envelope_of(driver: Driver | None, wired: BenchFeed, rail: Rail, name: str) -> Envelope:
    """The least of bench, board and driver ratings; a supply worked by hand has no driver."""
    if driver is None:
        volts = min(rail.most_volts, wired.most_volts)
        return Envelope(volts, min(rail.most_amps, wired.most_amps), min(abs(rail.trip.value), wired.most_volts))
    outputs = driver.outputs
    if outputs is None or wired.output not in outputs.channels:
        raise UsageError(f"feeds > {name}: '{wired.supply}' has no output {wired.output} in its driver file")
    rated_volts, rated_amps = outputs.volts.high or 0.0, outputs.amps.high or 0.0
    volts = min(rail.most_volts, wired.most_volts, rated_volts)
    trip = min(abs(rail.trip.value), max(wired.most_volts, volts))
    return Envelope(volts=volts, amps=min(rail.most_amps, wired.most_amps, rated_amps), trip=trip)


def inlet_of(bench: Bench, board: Board, rail: Rail, name: str) -> Target | None:
    """The first place of the rail, if the meter gets there."""
    place = next(iter(rail.places.values()))
    target = target_of(bench, board.board, name, place.point, place.ground)
    return target if target.reachable else None


def target_of(bench: Bench, board: str, net: str, point: str, ground: str) -> Target:
    """Where the meter touches: through relays where they lead there, else by hand where a hand holds its tips."""
    relays = meter_on_relays(bench)
    high, low = (
        bench.channel(board, point, f"{relays} high") if relays else None,
        bench.channel(board, ground, f"{relays} low") if relays else None,
    )
    if high is not None and low is not None:
        return Target(net, point, ground, (high, low))
    return Target(net, point, ground, (), by_hand=any(bench.hand_meter(name) for name in bench.instruments))


def meter_on_relays(bench: Bench) -> str | None:
    """The instrument whose two inputs the relays lead to."""
    slots = bench.routes.slots if bench.routes is not None else {}
    return next((slot.removesuffix(" high") for slot in slots if slot.endswith(" high")), None)
