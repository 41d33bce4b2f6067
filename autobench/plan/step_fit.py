"""Whether some bench has the instruments for what a sequence measures. Pure; complaints point into the sequence."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from autobench.documents.bench import Bench
from autobench.documents.driver import Driver
from autobench.documents.section import Complaint
from autobench.documents.sequence import AT_PLUG, Step
from autobench.documents.sequence import Sequence as SequenceFile

SEEN = (
    "ripple",
    "clock",
    "reset",
    "sync",
    "picture",
    "line",
    "ratio",
    "likeness",
    "driving",
    "delay",
    "refresh",
)  # with a scope
METERED = ("rail", "drop")

Wired = tuple[Bench, Mapping[str, Driver]]  # a bench with the drivers of its instruments


def step_complaints(sequence: SequenceFile, benches: Sequence[Wired]) -> Iterator[Complaint]:
    """Steps that no one of `benches` has an instrument for; with no benches nothing can be said."""
    for number, step in sequence.own:
        reasons = [(bench.bench, lack(step, bench, drivers)) for bench, drivers in benches]
        if not reasons or any(reason is None for _, reason in reasons):
            continue
        told = "; ".join(f"bench '{name}' {reason}" for name, reason in reasons)
        yield Complaint(("steps", number, step.kind), f"no instrument can do this: {told}")


def lack(step: Step, bench: Bench, drivers: Mapping[str, Driver]) -> str | None:
    """Why a bench cannot do a step at all, whatever the board; `None` where it can."""
    kinds = {driver.kind for driver in drivers.values()}
    meters = [driver.measures for driver in drivers.values() if driver.measures is not None]
    if step.measure in AT_PLUG:
        return lack_at_plug(step, bench)
    if (step.power in ("on", "polarity") or step.measure == "current") and not bench.feeds:
        return "feeds no rail"
    if step.measure == "ohms" and not any(meter.ohms is not None for meter in meters):
        return "has no meter that reads ohms"
    if step.measure in METERED and not meters:
        return "has no meter"
    if step.measure == "clock" and not {"scope", "counter"} & kinds:
        return "has neither a scope nor a counter"
    if step.measure in SEEN and step.measure != "clock" and "scope" not in kinds:
        return "has no scope"
    return None


def lack_at_plug(step: Step, bench: Bench) -> str | None:
    """Why a bench cannot test a supply by itself."""
    if not any(feed.by_hand for feed in bench.feeds.values()):
        return "has no supply worked by hand"
    if step.load == "dummy" and not bench.dummy_loads:
        return "has no dummy loads"
    return None
