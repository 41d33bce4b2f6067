"""Steps for a supply by itself: its plug is off the board, and a dummy load takes the board's place. Pure."""

from __future__ import annotations

from autobench.documents.bench import Bench
from autobench.documents.rails import Rail
from autobench.documents.sequence import Step
from autobench.plan.limits import Limits
from autobench.plan.scope_steps import Sight
from autobench.plan.sights import Sights
from autobench.plan.spots import Spot
from autobench.plan.steps import Feed, PlannedStep, PlugJob, PlugRippleJob
from autobench.plan.target import Target
from autobench.quantity import Span, show

SECONDS = 20.0  # a person plugs, switches and holds
RIPPLE_SECONDS, RIPPLE_RATE = 60e-3, 2e6
NOT_BY_HAND = (
    "the supply of {rail} is one of the bench's own: a supply by itself is tested on a bench whose feed says "
    "'supply: by hand'"
)


class PlugPlanner:
    """Makes the steps at the plugs of one bench for the rails of one board."""

    def __init__(self, bench: Bench, sights: Sights) -> None:
        self.bench = bench
        self.sights = sights

    def step(self, step: Step, name: str, rail: Rail, feed: Feed) -> PlannedStep:
        """Volts or ripple at the plug of one rail."""
        load = self.bench.dummy_loads.get(name) if step.load == "dummy" else None
        ohms = load.value if load is not None else None
        on = f"on {show(ohms, 'ohm')}" if ohms is not None else "without load"
        full = step.name({"rail": name})
        cannot = self.cannot(step, name, feed)
        if step.measure == "plug":
            job = PlugJob(name, plug_target(name), ohms, volts_limits(rail))
            return PlannedStep(full, step.stage, job, f"volts at the plug of {name}, {on}", SECONDS, cannot)
        point = plug_target(name).point
        ripple = rail.ripple
        limits = Limits(
            ripple.limits if ripple is not None else Span(None, None, "V"), "board file: ripple of the rail"
        )
        sight = self.sight(name, rail, point)
        cannot = cannot or (None if sight.points else "no probe of a scope is held by hand on this bench")
        work = PlugRippleJob(name, sight, point, ohms, limits)
        return PlannedStep(full, step.stage, work, f"ripple at the plug of {name}, {on}", SECONDS, cannot)

    def sight(self, name: str, rail: Rail, point: str) -> Sight:
        """A sight of the plug, around the rail's volts."""
        nominal = rail.nominal.value
        window = (nominal - 0.5, nominal + 0.5)
        return self.sights.sight([(name, point, window)], RIPPLE_SECONDS, RIPPLE_RATE, bandwidth_limit=True)

    def cannot(self, step: Step, name: str, feed: Feed) -> str | None:
        """Why this bench cannot, or None."""
        if not feed.by_hand:
            return NOT_BY_HAND.format(rail=name)
        if step.load == "dummy" and name not in self.bench.dummy_loads:
            return f"the bench file tells of no dummy load for {name}, under 'dummy loads'"
        return None


def plug_target(rail: str) -> Target:
    """Where the meter's tips go at the plug of a rail."""
    return Target(rail, f"{rail} plug +", f"{rail} plug -", (), by_hand=True)


def is_plug(point: str) -> bool:
    """Whether a point is at a plug, and not on the board."""
    return point.endswith((" plug +", " plug -"))


def plug_spot(rail: str) -> Spot:
    """The plug of a rail in words."""
    target = plug_target(rail)
    return Spot(target.point, f"the plug of {rail}", "+", "off the board", target.against)


def volts_limits(rail: Rail) -> Limits:
    """What a board may be fed with: from the least that its inlet wants to the most it takes."""
    inlet = next(iter(rail.places.values())).limits
    source = "board file: the least at the inlet, the most the board takes"
    if rail.negative:
        return Limits(Span(-rail.most_volts, inlet.high, "V"), source)
    return Limits(Span(inlet.low, rail.most_volts, "V"), source)
