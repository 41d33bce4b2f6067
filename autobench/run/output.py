"""One output of a run: its feed, its supply, its interlock, and what was seen of it since it came on. Plain data."""

from __future__ import annotations

from dataclasses import dataclass, field

from autobench.instruments.supply import Supply
from autobench.plan.steps import Feed
from autobench.run.interlock import Interlock
from autobench.run.supply_by_hand import SupplyByHand
from autobench.run.watch import Look


@dataclass
class Output:
    """One feed in action. Times are of the run's clock, s."""

    feed: Feed
    supply: Supply | SupplyByHand
    interlock: Interlock
    looks: list[Look] = field(default_factory=list)
    on_since: float = 0.0
    looked_at: float = 0.0
    set_volts: float = 0.0
    set_amps: float = 0.0
    retried: bool = False
    held_low: bool = False  # its limit is tried: it limits on purpose
    coming: bool = False  # told to switch on, and not yet known to be

    @property
    def watched(self) -> bool:
        """Whether it is on, so that somebody must look at it."""
        return self.interlock.state in ("on", "probing", "injecting") and not self.coming
