"""What instruments of a bench lack for a plan, in words: a trip, a read-back, a guard, and what else a driver names.

Pure. Whether a run is refused for it is decided in `autobench.plan.acceptance`; here it is told beforehand.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from autobench.documents.bench import Bench
from autobench.documents.driver import Driver
from autobench.errors import UsageError
from autobench.plan.acceptance import WHAT, guard_words, lacking, require_accepted, why
from autobench.plan.steps import Plan


def lack_words(bench: Bench, drivers: Mapping[str, Driver], plan: Plan, unattended: bool) -> list[str]:
    """One line for the guard, one for everything that is missing, and why a run would be refused, if it would."""
    return [guard_words(bench, plan.rails), *missing(bench, drivers, plan), *refused(bench, drivers, plan, unattended)]


def missing(bench: Bench, drivers: Mapping[str, Driver], plan: Plan) -> Iterator[str]:
    """What feeds lack, with who takes it on; what else the drivers say they cannot do."""
    for feed in plan.feeds:
        wired = bench.feeds[feed.rail]
        names = tuple(WHAT) if feed.by_hand else lacking(bench, drivers[feed.supply], feed.supply)
        for name in names:
            taken = "accepted in the bench file" if name in wired.accept else "not accepted in the bench file"
            yield f"{feed.rail}: {why(name, feed.by_hand)}; {taken}"
    for instrument, driver in drivers.items():
        others = driver.missing()
        if others:
            yield f"{instrument} ({driver.driver}) lacks: {', '.join(others)}"


def refused(bench: Bench, drivers: Mapping[str, Driver], plan: Plan, unattended: bool) -> Iterator[str]:
    """Why a run of this plan would be refused before anything is opened."""
    if unattended and plan.needs_hand:
        yield "REFUSED as planned: this bench needs a person, and nobody is there with --unattended"
    try:
        require_accepted(bench, drivers, plan.rails, unattended)
    except UsageError as error:
        yield f"REFUSED as planned: {error}"
