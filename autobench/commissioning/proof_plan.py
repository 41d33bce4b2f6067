"""What of a bench can be proved, and with what: feeds at a safe level, ways of the meter, relays, scope channels.

Pure: bench file and drivers in, a plan out. What a bench file does not say is not proved, and said so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from autobench.documents.bench import Bench
from autobench.documents.bench import Feed as WiredFeed
from autobench.documents.driver import Driver
from autobench.documents.reference_plug import Plugged, ReferencePlug
from autobench.plan.envelope import meter_on_relays
from autobench.plan.limits import Limits
from autobench.plan.relay_paths import relay_paths
from autobench.plan.spots import Spot
from autobench.plan.steps import Envelope, Feed, Plan, PlannedStep, WaitJob
from autobench.plan.target import HAND_SECONDS, Target
from autobench.quantity import Span

SEQUENCE = "prove"  # what the record calls a proof
STAGE = "bench"
LEVEL = 2.5  # V of the reference: safe for whatever might be on the bench after all (common practice)
SPARE_AMPS = 1.5  # current limit over what the plug's resistor takes
LEAST_AMPS = 0.05
TRIP = 3.5  # V
SETTLE = 0.5  # s


@dataclass(frozen=True)
class Path:
    """One position of the plate and the two relays that bring the meter's inputs there."""

    position: int
    high: int
    low: int


@dataclass(frozen=True)
class ScopeWay:
    """A scope channel and how it gets to the reference: through a relay, or (0) by hand."""

    scope: str
    channel: int
    relay: int


@dataclass(frozen=True)
class ProofPlan:
    """One proof. `plan` is what the session shows and the interlock keeps to; the rest says what is measured."""

    plan: Plan
    plug: ReferencePlug | None
    paths: tuple[Path, ...]
    scope_ways: tuple[ScopeWay, ...]
    unsaid: tuple[str, ...]
    """What cannot be proved since the bench file does not say it; in words."""

    @property
    def reference(self) -> Feed | None:
        """The feed that gives the reference for the scope: the first one that counts up, else the first."""
        feeds = self.plan.feeds
        return next((feed for feed in feeds if feed.nominal > 0), feeds[0] if feeds else None)

    def plugged(self, rail: str) -> Plugged:
        """Where a rail comes out of the plug."""
        if self.plug is None:
            raise KeyError(rail)
        return self.plug.rails[rail]


def proof_plan(bench: Bench, drivers: Mapping[str, Driver]) -> ProofPlan:
    """The plan for a bench."""
    feeds = feeds_of(bench, drivers)
    by_hand = any(feed.inlet is not None and feed.inlet.by_hand for feed in feeds)
    plug = bench.reference_plug
    plan = Plan(
        board=f"bench {bench.bench}",
        options={},
        sequence=SEQUENCE,
        bench=bench.bench,
        feeds=feeds,
        steps=tuple(step(name) for name in step_names(bench, feeds)),
        instruments={name: f"{item.driver} at {item.address}" for name, item in bench.instruments.items()},
        line_frequency=bench.line_frequency.value,
        spots=spots_of(plug) if plug is not None else {},
        paths=relay_paths(bench, drivers, max((abs(feed.trip) for feed in feeds), default=0.0)),
        steady=bench.hand_probe.steady.value if by_hand and bench.hand_probe is not None else 0.0,
    )
    return ProofPlan(plan, plug, paths_of(bench), scope_ways(bench, drivers, plug), tuple(unsaid(bench, drivers)))


def feeds_of(bench: Bench, drivers: Mapping[str, Driver]) -> tuple[Feed, ...]:
    """The rails that come out of the reference plug, at the safe level; not those worked by hand.

    Without a meter nothing could be proved off, so there are none.
    """
    if bench.reference_plug is None or not any(driver.kind == "meter" for driver in drivers.values()):
        return ()
    return tuple(
        feed_of(bench, drivers[bench.feeds[rail].supply], rail, bench.feeds[rail], plugged)
        for rail, plugged in bench.reference_plug.rails.items()
        if not bench.feeds[rail].by_hand
    )


def feed_of(bench: Bench, driver: Driver, rail: str, wired: WiredFeed, plugged: Plugged) -> Feed:
    """One feed, within the least of what bench and driver allow."""
    outputs = driver.outputs
    rated_volts, rated_amps = (outputs.volts.high or 0.0, outputs.amps.high or 0.0) if outputs is not None else (0, 0)
    volts = min(LEVEL, wired.most_volts, rated_volts)
    taken = volts / plugged.load.value if plugged.load is not None else 0.0
    amps = min(max(SPARE_AMPS * taken, LEAST_AMPS), wired.most_amps, rated_amps)
    trip = min(TRIP, max(wired.most_volts, volts))
    sign = -1.0 if wired.negative else 1.0
    return Feed(
        rail=rail,
        supply=wired.supply,
        output=wired.output or 0,
        envelope=Envelope(volts, amps, trip),
        nominal=sign * volts,
        volts=sign * volts,
        amps=amps,
        trip=sign * trip,
        top_volts=volts,
        leads=wired.leads.value,
        isolated_when_off=wired.when_off == "isolated",
        compensate=False,
        settle=SETTLE,
        current=Limits(Span(0.0, max(taken, LEAST_AMPS), "A"), "reference plug"),
        inlet=target_of(bench, rail, plugged.point),
    )


def target_of(bench: Bench, net: str, point: str) -> Target | None:
    """Where the meter sees a pin of the plug, None where it does not get there."""
    plug = bench.reference_plug
    if plug is None:
        return None
    meter = meter_on_relays(bench)
    if meter is not None:
        high = bench.channel(plug.plug, point, f"{meter} high")
        low = bench.channel(plug.plug, plug.ground, f"{meter} low")
        if high is not None and low is not None:
            return Target(net, point, plug.ground, (high, low))
    by_hand = any(bench.hand_meter(name) for name in bench.instruments)
    return Target(net, point, plug.ground, (), by_hand=True) if by_hand else None


def paths_of(bench: Bench) -> tuple[Path, ...]:
    """Every position that some plate uses, with the relays of the meter's two inputs."""
    meter, routes = meter_on_relays(bench), bench.routes
    if meter is None or routes is None or f"{meter} low" not in routes.slots:
        return ()
    positions = sorted({position for plate in bench.fixtures.values() for position in plate.values()})
    ends = (f"{meter} high", f"{meter} low")
    return tuple(Path(position, *(routes.channel(end, position) for end in ends)) for position in positions)


def scope_ways(bench: Bench, drivers: Mapping[str, Driver], plug: ReferencePlug | None) -> tuple[ScopeWay, ...]:
    """Every scope channel that gets to the reference."""
    feeds = feeds_of(bench, drivers)
    if plug is None or not feeds:
        return ()
    point = next((plug.rails[feed.rail].point for feed in feeds if feed.nominal > 0), plug.rails[feeds[0].rail].point)
    found = []
    for name, driver in drivers.items():
        for channel in driver.places if driver.kind == "scope" else ():
            relay = bench.channel(plug.plug, point, f"{name} {channel}")
            if relay is not None or channel in bench.hand_channels(name):
                found.append(ScopeWay(name, channel, relay or 0))
    return tuple(found)


def spots_of(plug: ReferencePlug) -> dict[str, Spot]:
    """The plug's pins in words, for a hand."""
    points = [plug.ground, *(plugged.point for plugged in plug.rails.values())]
    return {point: Spot(point, "the reference plug", point.partition(".")[2], "", plug.ground) for point in points}


def step(name: str) -> PlannedStep:
    """A step for whoever shows how far the proof is; what is done in it, the prover knows."""
    return PlannedStep(name, STAGE, WaitJob(0.0), name, HAND_SECONDS)


def step_names(bench: Bench, feeds: tuple[Feed, ...]) -> list[str]:
    """The steps in their order."""
    names = [f"{name} speaks its dialect" for name in bench.instruments]
    names += ["relays"] if bench.routes is not None else []
    names += [f"{what} of {feed.rail}" for feed in feeds for what in ("plug", "polarity", "level", "leads", "limit")]
    names += ["scope"] if feeds else []
    return [*names, *(f"off of {feed.rail}" for feed in feeds)]


def unsaid(bench: Bench, drivers: Mapping[str, Driver]) -> list[str]:
    """What the bench file leaves open, and is therefore not proved."""
    found = []
    if not any(driver.kind == "meter" for driver in drivers.values()):
        found.append("no output is on: without a meter nothing can be proved off")
    if not bench.feeds:
        found.append("no output is on: the bench file says no 'feeds'")
    elif bench.reference_plug is None:
        found.append("no level and no scaling: the bench file says no 'reference plug'")
    for name, driver in drivers.items():
        if driver.kind == "counter":
            found.append(f"{name}: no known rate is at hand; in a round its rates are held against the scope's")
    for rail, feed in bench.feeds.items():
        plugged = bench.reference_plug is not None and rail in bench.reference_plug.rails
        if feed.by_hand and plugged:
            found.append(f"{rail}: its supply is worked by hand, and measured in every round")
        elif bench.reference_plug is not None and not plugged and feed.instead_of is None:
            found.append(f"{rail}: it is not in the reference plug")
    return found
