"""How long a sequence keeps a person: by hand as the trade works, with probes held for this program, on a fixture."""

from __future__ import annotations

from autobench.app import Prepared
from autobench.plan.steps import PlannedStep
from autobench.plan.target import HAND_SECONDS
from autobench.run.foresight import net_and_point

# Minutes an experienced person needs for a stage without a program, from paper to probe and back: middle of what is
# usual, good to a factor of two (common practice).
BY_HAND = {
    "ohms": 7.5, "power": 4.0, "rails": 7.5, "clocks": 4.0, "reset": 2.5, "video": 3.5, "cpu": 7.5, "bus": 15.0,
    "memory": 20.0,
}  # fmt: skip


def minutes_of(prepared: Prepared) -> dict[str, float]:
    """Minutes of a whole round, by way of working."""
    steps = prepared.plan.steps
    stages = dict.fromkeys(step.stage for step in steps)
    fixture = sum(step.seconds for step in steps)
    points = len({place for step in steps if (place := point_of(step)) is not None})
    return {
        "by hand": sum(BY_HAND.get(stage, 0.0) for stage in stages),
        "with probes held by hand": (fixture + HAND_SECONDS * points) / 60.0,
        "on the fixture": fixture / 60.0,
    }


def point_of(step: PlannedStep) -> str | None:
    """Where a step touches the board."""
    return net_and_point(step)[1]
