"""Whether a bench's wiring and the drivers of its instruments can go together. Pure; complaints point into the bench
file, and nothing is said here of any board."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from autobench.documents.bench import TIP, Bench, Feed
from autobench.documents.driver import Driver
from autobench.documents.rails import most_from_ground
from autobench.documents.section import Complaint
from autobench.documents.words import allowed_words, choice_text, quoted
from autobench.plan.acceptance import NO_GUARD, WHAT, lacking, why
from autobench.quantity import show

Drivers = Mapping[str, Driver]
Route = tuple[str | int, ...]
KINDS = {
    "supply": "a supply",
    "meter": "a meter",
    "relays": "a relay multiplexer",
    "scope": "a scope",
    "counter": "a counter",
}
METER_INPUTS = ("high", "low")
PROBED = ("scope", "counter")
PROBE_VOLTS = 0.3  # of the interlock's own polarity probe, which stands above this in the layers; a test compares them


def bench_complaints(bench: Bench, drivers: Drivers) -> Iterator[Complaint]:
    """What the instruments cannot be, or cannot do, where the bench file puts them; `drivers` by instrument.

    An instrument whose driver could not be read has none here, and nothing is said about it.
    """
    for rail, feed in bench.feeds.items():
        yield from feed_complaints(bench, drivers, rail, feed)
    yield from relay_complaints(bench, drivers)
    yield from tip_complaints(bench, drivers)
    for name, driver in drivers.items():
        if bench.instruments[name].probe is not None and driver.kind not in PROBED:
            text = f"'{driver.driver}' drives {KINDS[driver.kind]}; only a scope and a counter have probes"
            yield Complaint(("instruments", name, "probe"), text, at_key=True)


def feed_complaints(bench: Bench, drivers: Drivers, rail: str, feed: Feed) -> Iterator[Complaint]:
    """An output that is there, inside its ratings, and whose lacks are accepted by name."""
    missing: tuple[str, ...] = tuple(WHAT)
    if not feed.by_hand:
        driver = drivers.get(feed.supply)
        if driver is None:
            return
        if driver.kind != "supply" or driver.outputs is None:
            yield Complaint(("feeds", rail, "supply"), wrong_kind(feed.supply, driver, "supply"))
            return
        if feed.output not in driver.outputs.channels:
            known = allowed_words(str(channel) for channel in driver.outputs.channels)
            text = f"'{feed.supply}' has no output {feed.output}; its driver '{driver.driver}' knows {known}"
            yield Complaint(("feeds", rail, "output"), text)
        yield from rating_complaints(rail, feed, driver)
        missing = lacking(bench, driver, feed.supply)
    for name in missing:
        if name in feed.accept or (name == NO_GUARD and bench.simulated != "no"):
            continue
        text = f"{why(name, feed.by_hand)}; a person who takes that on writes 'accept: {name}' here"
        yield Complaint(("feeds", rail), text, at_key=True)


def rating_complaints(rail: str, feed: Feed, driver: Driver) -> Iterator[Complaint]:
    """Caps above what the output can give protect nothing."""
    if driver.outputs is None:
        return
    for key, cap, rating in (
        ("volts", most_from_ground(feed.volts, feed.negative) or 0.0, driver.outputs.volts),
        ("amps", feed.most_amps, driver.outputs.amps),
    ):
        most = rating.high or 0.0
        if cap > most * (1 + 1e-9):
            text = f"{show(cap, rating.unit)} is more than {show(most, rating.unit)}, all that '{driver.driver}' gives"
            yield Complaint(("feeds", rail, key), text)
    least = driver.outputs.volts.low or 0.0
    if least > PROBE_VOLTS:
        text = (
            f"'{driver.driver}' cannot be set below {show(least, 'V')}, and the way round of the leads is measured at "
            f"{show(PROBE_VOLTS, 'V')}, before a rail is on: this supply cannot feed a board here"
        )
        yield Complaint(("feeds", rail, "supply"), text)


def relay_complaints(bench: Bench, drivers: Drivers) -> Iterator[Complaint]:
    """Relays that are relays, slots whose inputs exist, and positions that have a channel."""
    routes = bench.routes
    if routes is None:
        return
    for slot in routes.slots:
        name, _, which = slot.rpartition(" ")
        yield from input_complaints(("routes", "slots", slot), name, which, drivers)
    relays = drivers.get(routes.relays)
    if relays is None:
        return
    if relays.kind != "relays" or relays.channels is None:
        yield Complaint(("routes", "relays"), wrong_kind(routes.relays, relays, "relays"))
        return
    yield from exclusion_complaints(bench, relays)
    for board, positions in bench.fixtures.items():
        for point, position in positions.items():
            numbers = [routes.channel(slot, position) for slot in routes.slots]
            lost = [number for number in numbers if number not in relays.channels.numbers]
            if lost:
                text = f"position {position} wants relay channel {lost[0]}, which '{relays.driver}' does not have"
                yield Complaint(("fixtures", board, point), text)


def exclusion_complaints(bench: Bench, relays: Driver) -> Iterator[Complaint]:
    """Both inputs of a meter need a relay closed at the same time."""
    slots = bench.routes.slots if bench.routes is not None else {}
    wanted = sum(slot.endswith(METER_INPUTS) for slot in slots)
    most = relays.channels.at_once if relays.channels is not None else None
    if most is not None and wanted > most:
        text = f"the meter needs {wanted} relays closed at once, but '{relays.driver}' keeps only {most} closed"
        yield Complaint(("routes", "slots"), text, at_key=True)


def tip_complaints(bench: Bench, drivers: Drivers) -> Iterator[Complaint]:
    """Tips for a hand are those of a meter or a scope."""
    for tip in bench.hand_probe.tips if bench.hand_probe is not None else ():
        channel = TIP.fullmatch(tip)
        if tip in bench.instruments:
            yield from input_complaints(("hand probe", "tips"), tip, "high", drivers, at_key=False)
        elif channel is not None:
            yield from input_complaints(
                ("hand probe", "tips"), channel[1], channel[2], drivers, at_key=False, hand=True
            )


def input_complaints(
    route: Route, name: str, which: str, drivers: Drivers, *, at_key: bool = True, hand: bool = False
) -> Iterator[Complaint]:
    """`high` and `low` are inputs of a meter, numbers are channels of a scope or inputs of a counter."""
    driver = drivers.get(name)
    if driver is None:
        return
    if which in METER_INPUTS:
        if driver.kind != "meter":
            yield Complaint(route, wrong_kind(name, driver, "meter"), at_key=at_key)
        return
    if driver.kind == "counter" and hand:
        yield Complaint(
            route, f"{quoted(name)} is a counter: relays lead to it, a hand holds no tip of one", at_key=at_key
        )
    elif driver.kind not in PROBED:
        yield Complaint(route, wrong_kind(name, driver, "scope"), at_key=at_key)
    elif int(which) not in driver.places:
        known = [str(channel) for channel in driver.places]
        text = f"'{name}' has no channel {which}; {choice_text('', known)}"
        yield Complaint(route, text, at_key=at_key)


def wrong_kind(name: str, driver: Driver, wanted: str) -> str:
    """Words for an instrument that is of another kind than its place needs."""
    return f"{quoted(name)} must be {KINDS[wanted]}, but its driver '{driver.driver}' is that of {KINDS[driver.kind]}"
