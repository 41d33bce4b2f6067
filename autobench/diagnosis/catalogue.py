"""The catalogue of faults: names, shares, words and repair times, from the knowledge file. It knows no board."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from autobench.diagnosis.knowledge_files import knowledge

NONE = "none"  # nothing is wrong
SOMETHING_ELSE = "something else"  # what no fault of the catalogue explains
SHARE_NONE = 0.04
SHARE_SOMETHING_ELSE = 0.02


@dataclass(frozen=True)
class Fault:
    """One fault of the catalogue.

    `share`: part of all repairs, 0 to 1. `at`: kind of place to what is allowed there. `weights`: share of a kind of
    part among the places. `by_net`: the net is named, not the part. `minutes`: time of the repair. `inside`: it sits in
    the part itself, so another part cures it.
    """

    name: str
    share: float
    at: Mapping[str, tuple[str, ...]]
    weights: Mapping[str, float]
    by_net: bool
    broken: str
    repair: str
    minutes: float
    inside: bool = False


@cache
def catalogue() -> dict[str, Fault]:
    """Every fault by its name, in the order of the file."""
    return {name: fault_of(name, entry) for name, entry in knowledge("faults").items()}


def fault_of(name: str, entry: Mapping[str, object]) -> Fault:
    """One entry of the file."""
    at, weights = entry["at"], entry.get("weights", {})
    assert isinstance(at, dict)
    assert isinstance(weights, dict)
    return Fault(
        name=name,
        share=float(str(entry["share"])) / 100.0,
        at={key: (value,) if isinstance(value, str) else tuple(value) for key, value in at.items()},
        weights={kind: float(weight) for kind, weight in weights.items()},
        by_net=entry["counts as"] == "net",
        broken=str(entry["broken"]),
        repair=str(entry["repair"]),
        minutes=float(str(entry["minutes"])),
        inside=str(entry.get("inside", "no")) == "yes",
    )
