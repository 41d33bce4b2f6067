"""Steps that were not in the round: one more point, looked at because suspects have to be told apart. Pure.

What the board file says of a net decides how it is looked at; nothing found there is judged by limits, since what it
should show depends on what is broken.
"""

from __future__ import annotations

from autobench.documents.board import Board
from autobench.plan.envelope import target_of
from autobench.plan.limits import Limits
from autobench.plan.planner import Planner
from autobench.plan.scope_steps import LineJob, Sight
from autobench.plan.sights import LOGIC, SLOW_RATE, SLOW_SECONDS, Sights, is_fast
from autobench.plan.spots import Spot, spot_of
from autobench.plan.steps import PlannedStep
from autobench.plan.target import HAND_SECONDS, Target
from autobench.quantity import Span

UNLIMITED = Limits(Span(None, None, "Hz"), "for information")
FAMILY = "TTL"
SLOW_OUTPUTS = frozenset({"field"})  # what comes once a field is looked at with the slow sight


class ExtraLooks:
    """Makes looks at points of one board on one bench, and says where its meter gets to."""

    def __init__(self, planner: Planner) -> None:
        self.board: Board = planner.board
        self.sights: Sights = planner.sights

    def reach(self, point: str) -> str | None:
        """`fixture` or `hand` where the scope gets to `point` that way, None where it does not."""
        if self.sights.on_relays(point):
            return "fixture"
        return "hand" if self.sights.reaches(point) else None

    def look(self, net: str, point: str) -> PlannedStep:
        """One look at `point`, which is on `net`."""
        sight = self.sight(net, point)
        job = LineJob(net, point, sight, "any", self.family(net), UNLIMITED, side="output", shortest=self.shortest(net))
        seconds = 0.4 + sight.seconds + HAND_SECONDS * len(sight.by_hand)
        words = f"{net} at {point}"
        cannot = self.sights.lacking([point])
        return PlannedStep(f"look {net} at {point}", self.stage(net), job, words, seconds, cannot, required=False)

    def meter_reaches(self, point: str) -> bool:
        """Whether relays lead both inputs of the meter to `point`."""
        return bool(target_of(self.sights.bench, self.board.board, "", point, point).channels)

    def between(self, net: str, point: str, against: str) -> Target:
        """Where the meter is from `point` of `net` to a point of its neighbour, by relays wherever it can."""
        return target_of(self.sights.bench, self.board.board, net, point, against)

    def spot(self, point: str) -> Spot:
        """Where a point is, in words."""
        return spot_of(self.board, point)

    def sight(self, net: str, point: str) -> Sight:
        """A sight as fast as the net is."""
        if net in self.board.clocks:
            return self.sights.clock_sight_at(net, point)
        line = self.board.lines.get(net)
        slow = self.is_field(net) or (line is not None and line.state == "moving" and not is_fast(line))
        if slow:
            return self.sights.sight([(net, point, LOGIC)], SLOW_SECONDS, SLOW_RATE, peak=True)
        return self.sights.any_line(net, point)

    def is_field(self, net: str) -> bool:
        """Whether a net pulses once a field."""
        return any(out.how in SLOW_OUTPUTS for part in self.board.parts.values() for name, out in part.outs.items()
                   if name == net)  # fmt: skip

    def family(self, net: str) -> str:
        """The logic family whose levels count on a net."""
        line, clock = self.board.lines.get(net), self.board.clocks.get(net)
        return line.family if line is not None else clock.family if clock is not None else FAMILY

    def shortest(self, net: str) -> float | None:
        """The shortest pulse of a net, s, where the board file tells it."""
        line = self.board.lines.get(net)
        return line.shortest.value if line is not None and line.shortest is not None else None

    def stage(self, net: str) -> str:
        """The stage a net belongs to."""
        reset, video = self.board.reset, self.board.video
        if net in self.board.clocks:
            return "clocks"
        if reset is not None and net == reset.line:
            return "reset"
        if net in self.board.lines:
            return self.board.lines[net].stage
        sync = video.sync if video is not None else None
        if sync is not None and net in (sync.line_source.net, sync.field_source.net):
            return "video"
        return "bus"
